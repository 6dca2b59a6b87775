"""How often the pages that watch are told."""

from __future__ import annotations

import asyncio
from unittest import mock

import pytest

from oralquiz.web.connection import Connection
from oralquiz.web.live_messages import Front, Live, Wall
from oralquiz.web.publisher import SETTLE_S, Publisher


@pytest.mark.parametrize(("takes_s", "waits_s"), [(0.0001, SETTLE_S), (0.01, 0.2)])
def test_news_that_takes_long_is_told_less_often(takes_s: float, waits_s: float) -> None:
    now_s = 0.0

    def live() -> Live:
        nonlocal now_s
        now_s += takes_s
        return Live(None, "", Front(False, False, False), (), ())

    async def story() -> None:
        publisher = Publisher(live, lambda: Wall(None), lambda: now_s)
        connection = Connection()
        publisher.watch(connection, wall=False)
        loop = asyncio.get_running_loop()
        for wanted in (SETTLE_S, waits_s):
            with mock.patch.object(loop, "call_later") as later:
                publisher.changed()
                publisher.changed()  # told together with the first
            (waits, tell), _ = later.call_args
            assert (later.call_count, waits) == (1, pytest.approx(wanted))
            tell()
        assert connection.out.qsize() == 3

    asyncio.run(story())
