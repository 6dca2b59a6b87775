"""Rounds that are answered aloud, from the plan to the replay.

The pupils' microphones are fed with a synthetic voice when the lamp is lit; the recogniser, the
judge, the recorder and the records are the real ones.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from playwright.sync_api import expect

from oralquiz.rounds.planning import RoundPlan, Way
from oralquiz.session.file import open_session
from oralquiz.session.reruns import rerun
from oralquiz.web.class_round import ClassRound
from tests.browser.lesson import (
    answers,
    five_off,
    hold,
    join,
    next_round,
    on_loop,
    remotes,
    right_value,
    rows,
    until,
)
from tests.browser.running_server import RunningServer, Visitor, say
from tests.sizes import size


def test_a_class_round_from_the_plan_to_the_replay(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    windows: list[Visitor] = []

    def window(url: str, **more: Any) -> Visitor:
        windows.append(visitors(url, **more))
        return windows[-1]

    asha = join(room, window, "Asha Rao", viewport=(820, 1180))
    ben = join(room, visitors, "Ben Okoro", viewport=(390, 844))
    teacher = visitors(f"{room.url}/plan", microphone=False).page
    count = size(1, 2)
    teacher.fill("#count", f"{count}")
    teacher.fill("#terms", "2")
    teacher.fill("#pace", "1.5")
    teacher.fill("#within", "60")  # pupils driven by a busy machine are late
    teacher.click("#listen")
    expect(teacher.locator("#sample")).to_contain_text("such sums")
    teacher.click("text=To the round")
    expect(teacher.locator("#here li")).to_have_count(2)
    wall = visitors(f"{room.url}/wall", microphone=False).page

    teacher.click("#begin")
    expect(asha.locator("#say")).to_have_text("Listen")
    class_round = room.classroom.class_round
    assert class_round is not None
    expect(teacher.locator("#rows .saying").first).to_be_visible(timeout=30_000)
    expect(wall.locator("#where")).to_have_text(f"Sum 1 of {count}")
    hold(room, class_round, {"Asha Rao": asha, "Ben Okoro": ben}, mistaken="Ben Okoro")

    judged = {(a.pupil, a.turn): a for a in answers(room, class_round)}
    assert len(judged) == 2 * count
    for (name, _), answer in judged.items():
        off = name == "Ben Okoro"
        assert answer.value == (five_off if off else int)(answer.right_value), answer
        assert answer.verdict in ("wrong" if off else "right", "unclear")
    expect(wall.locator("#answer")).to_be_hidden()
    assert wall.locator("#answer").text_content() == ""
    expect(asha.locator("#say")).to_have_text("Well done! The round is over.")
    expect(ben.locator("#look")).to_be_visible(timeout=10_000)

    # the teacher's ear: one key, the voice, one key
    teacher.keyboard.press("c")
    expect(teacher.locator("#ear")).to_be_visible()
    expect(teacher.locator("#ear-sound")).to_be_visible()
    teacher.keyboard.press("4")
    expect(teacher.locator("#ear")).to_be_hidden()
    expect(teacher.locator("#answers")).to_contain_text("corrected by you")

    # nothing was lost on the way, and the files run again to the same bytes
    for run in remotes(class_round):
        assert (run.stream.blocks.lost, run.stream.blocks.doubled) == (0, 0)
        file = until(lambda run=run: run.file)  # type: ignore[misc]
        assert rerun(open_session(file)).difference == ""
    sent = windows[0].packets
    assert set(sent) <= set(range(3, 13)) and sent[3] > 10 * count and sent[12] >= 2 * count, sent

    # the pupil looks at what went wrong, step by step
    ben.click("#look")
    expect(ben.locator("#player")).to_be_visible()
    before = ben.inner_text("#player .words")
    ben.click("#next")
    ben.click("#next")
    assert ben.inner_text("#player .words") != before
    ben.click("text=Back")
    expect(ben.locator("#ready")).to_be_enabled()


def test_the_room_hears_this_computer_and_tablets_only_listen(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    asha = join(room, visitors, "Asha Rao")
    room.classroom.plan = RoundPlan(
        "direct", Way.ROOM, count=1, terms=2, pace_s=1.5, answer_within_s=60.0
    )
    room.classroom.chosen = frozenset()
    teacher = visitors(f"{room.url}/live", microphone=False).page
    teacher.click("#sound")
    expect(teacher.locator("#sound")).to_have_text("Sound is on")
    before = room.classroom.class_round
    teacher.click("#begin")
    class_round = next_round(room, before)
    hold(room, class_round, {"Asha Rao": asha})
    assert [(a.value, a.verdict) for a in answers(room, class_round)] in (
        [(answers(room, class_round)[0].right_value, "right")],
        [(answers(room, class_round)[0].right_value, "unclear")],
    )


def test_the_connection_breaks_while_the_answer_is_said(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    asha = join(room, visitors, "Asha Rao")
    room.classroom.plan = RoundPlan(
        "direct", Way.OWN, count=1, terms=2, pace_s=1.5, answer_within_s=60.0
    )

    async def begin() -> ClassRound:
        return await room.classroom.begin()

    class_round = on_loop(room, begin())
    until(lambda: rows(room, class_round)["Asha Rao"].phase == "speak")
    device = next(d for d in room.classroom.roster.devices.values() if d.name == "Asha Rao")
    cut = partial(device.cut, "cut by the test", 1013)

    blocks = remotes(class_round)[0].stream.blocks
    say(asha, right_value(room, class_round, "Asha Rao"), 0, 0.3)
    for _ in range(3):
        wanted = blocks.next + 12  # another 240 ms of the pupil's sound
        until(lambda wanted=wanted: blocks.next >= wanted)  # type: ignore[misc]
        room.loop.call_soon_threadsafe(cut)
    until(lambda: rows(room, class_round)["Asha Rao"].phase in ("done", "over", "again"))
    row = rows(room, class_round)["Asha Rao"]
    assert row.value == right_value(room, class_round, "Asha Rao")
    run = remotes(class_round)[0]
    assert run.stream.blocks.lost == 0
    room.loop.call_soon_threadsafe(class_round.do, "stop")
    until(lambda: class_round.phase == "over")
