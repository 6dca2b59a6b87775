"""Serving for real: ports, TLS, two entrances to one classroom."""

from __future__ import annotations

import asyncio
import json
import socket
import ssl
import zipfile
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import httpx2 as httpx
import pytest
import websockets
from click.testing import CliRunner

from oralquiz.cli import main
from oralquiz.errors import BadInput
from oralquiz.records.pupil_list import pupils
from oralquiz.records.round_list import held
from oralquiz.session.folder_lock import locked
from oralquiz.web import server, timed_protocol
from oralquiz.web.assembly import Tools
from oralquiz.web.classroom import Classroom
from oralquiz.web.credentials import Passphrases
from oralquiz.web.hearing_processes import HearingProcesses
from oralquiz.web.server import listen_on, open_classroom, serve
from tests.session.room import PulseReader, PulseRecognizer, make_round, run
from tests.web.room import make_pupils

pytestmark = pytest.mark.slow

TOOLS = Tools(lambda: HearingProcesses(PulseRecognizer), lambda voice, pace_s: PulseReader(), list)


async def served(
    folder: Path, story: Any, network: bool, entered: Callable[[str], None] = print
) -> None:
    """Serve from ``folder``, hand ``story`` the classroom and the URLs, and stop."""
    told: asyncio.Future[tuple[Classroom, list[str]]] = asyncio.get_running_loop().create_future()
    serving = asyncio.create_task(
        serve(
            lambda: open_classroom(TOOLS, folder=folder),
            port=0,
            network_port=0 if network else None,
            names=["127.0.0.1", "class.local"],
            ready=lambda classroom, urls: told.set_result((classroom, urls)),
            entered=entered,
        )
    )
    while not told.done():
        if serving.done():
            await serving
        await asyncio.sleep(0.01)
    try:
        await story(*told.result())
    finally:
        serving.cancel()
        await asyncio.gather(serving, return_exceptions=True)


def test_a_class_joins_over_tls_and_this_computer_without(tmp_path: Path) -> None:
    async def story(classroom: Classroom, urls: list[str]) -> None:
        here, network = urls
        assert here.startswith("http://127.0.0.1:")
        assert network.startswith("https://127.0.0.1:")
        await make_pupils(classroom, "Asha")
        code, _ = classroom.codes.for_class("3B")
        trust = ssl.create_default_context(cafile=tmp_path / "web" / "certificate.pem")
        origin = {"origin": network}
        async with httpx.AsyncClient(base_url=network, verify=trust, headers=origin) as tablet:
            came = await tablet.post("/join", data={"code": code, "name": "Asha"})
            assert came.headers["location"] == "/me"
            assert "; secure" in came.headers["set-cookie"].lower()
            assert "Hello Asha!" in (await tablet.get("/me")).text
            # the teacher's pages are not open there, even from this computer's own address
            assert (await tablet.get("/class")).status_code == 403
            cookie = "; ".join(f"{k}={v}" for k, v in tablet.cookies.items())
        async with websockets.connect(
            network.replace("https", "wss") + "/ws/me",
            ssl=trust,
            origin=websockets.Origin(network),
            additional_headers={"cookie": cookie},
        ) as live:
            await live.send('{"t": "hello", "mic": false, "run": "", "first": 0, "play": 0}')
            assert '"welcome"' in str(await live.recv() + await live.recv())  # type: ignore[operator]
        with pytest.raises(websockets.InvalidStatus):
            await websockets.connect(
                network.replace("https", "wss") + "/ws/me",
                ssl=trust,
                origin=websockets.Origin("https://evil.example"),
            )
        async with httpx.AsyncClient(base_url=here, headers={"origin": here}) as teacher:
            assert (await teacher.get("/class")).headers["location"] == "/enter"
            opened = await teacher.post("/enter", data={"passphrase": "a lamp on the table"})
            assert opened.headers["location"] == "/class"
            page = (await teacher.get("/about")).text
            assert classroom.fingerprint in page

    server.keys_in(tmp_path).set_passphrase("a lamp on the table", Passphrases())
    asyncio.run(served(tmp_path, story, network=True))


def test_no_class_network_without_a_passphrase(tmp_path: Path) -> None:
    async def story(classroom: Classroom, urls: list[str]) -> None:
        raise AssertionError("it must not open")

    with pytest.raises(BadInput, match="passphrase"):
        asyncio.run(served(tmp_path, story, network=True))


def test_only_loopback_listens_by_default(tmp_path: Path) -> None:
    async def story(classroom: Classroom, urls: list[str]) -> None:
        (url,) = urls
        assert url.startswith("http://127.0.0.1:")
        port = int(url.rsplit(":", 1)[1])
        for address in {i[4][0] for i in socket.getaddrinfo(socket.gethostname(), None)}:
            if not str(address).startswith(("127.", "::1")):
                with pytest.raises(OSError):
                    socket.create_connection((str(address), port), timeout=1).close()

    asyncio.run(served(tmp_path, story, network=False))


@pytest.mark.parametrize(
    "begun",
    [
        b"",
        b"POST /join HTTP/1.1\r\nhost: 127.0.0.1\r\n",
        b"POST /join HTTP/1.1\r\nhost: 127.0.0.1\r\norigin: http://127.0.0.1\r\n"
        b"content-type: application/x-www-form-urlencoded\r\ncontent-length: 99\r\n\r\ncode=",
    ],
)
def test_requests_that_are_never_finished_block_nobody(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, begun: bytes
) -> None:
    monkeypatch.setattr(timed_protocol, "ARRIVAL_S", 0.3)
    monkeypatch.setattr(server, "CONNECTIONS", 100)

    async def story(classroom: Classroom, urls: list[str]) -> None:
        host, port = urls[0].removeprefix("http://").split(":")
        half = [await asyncio.open_connection(host, int(port)) for _ in range(120)]
        for _, writer in half:
            writer.write(begun)
        for reader, writer in half:
            with suppress(ConnectionResetError):
                await reader.read()  # what the server says about it, and the end
            writer.close()
        async with httpx.AsyncClient(base_url=urls[0]) as teacher:
            assert (await teacher.get("/class")).status_code == 200

    asyncio.run(served(tmp_path, story, network=False))


def test_a_slow_answer_and_a_kept_connection_are_not_cut_off(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The limit is on what the page sends."""
    monkeypatch.setattr(timed_protocol, "ARRIVAL_S", 0.2)

    async def story(classroom: Classroom, urls: list[str]) -> None:
        slow = classroom.assembly.voices

        async def voices() -> Sequence[tuple[str, str]]:
            await asyncio.sleep(0.6)  # longer than a request may take to arrive
            return await slow()

        monkeypatch.setattr(classroom.assembly, "voices", voices)
        async with httpx.AsyncClient(base_url=urls[0]) as teacher:
            assert (await teacher.get("/plan")).status_code == 200
            assert (await teacher.get("/class")).status_code == 200
        async with websockets.connect(
            urls[0].replace("http", "ws") + "/ws/teacher", origin=websockets.Origin(urls[0])
        ) as live:
            await asyncio.sleep(0.6)
            await live.send('{"t": "do", "name": "begin"}')
            while '"note"' not in str(await live.recv()):
                pass

    asyncio.run(served(tmp_path, story, network=False))


def test_a_port_in_use_gives_one_clear_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path))
    with listen_on("127.0.0.1", 0) as taken:
        port = taken.getsockname()[1]
        result = CliRunner().invoke(main, ["serve", "--port", str(port)])
    assert result.exit_code == 2
    assert result.stderr.startswith(f"oralquiz: 127.0.0.1:{port} cannot be used")
    assert len(result.stderr.splitlines()) == 1


def test_an_unknown_course_is_refused_at_once() -> None:
    result = CliRunner().invoke(main, ["serve", "--syllabus", "nothing"])
    assert result.exit_code == 2
    assert "there is no syllabus 'nothing'" in result.stderr


def test_a_teacher_chooses_among_the_available_voices() -> None:
    found = server.voices()
    assert found[0] == ("", "Default voice")
    assert len({name for name, _ in found}) == len(found)
    assert all(name.startswith(("engine:", "neural:", "own:")) for name, _ in found[1:])


def test_rounds_cut_short_reach_the_results_when_the_server_starts(tmp_path: Path) -> None:
    sessions = tmp_path / "sessions"
    kept, _, _ = run(sessions / "kept", make_round("1 + 2"), [3])  # the records were locked
    with zipfile.ZipFile(kept) as parts:
        for name in ("cut", "held"):
            parts.extractall(sessions / name)
    for name in ("cut", "held"):
        head = sessions / name / "session.json"
        data = json.loads(head.read_text())
        head.write_text(json.dumps({**data, "id": {"cut": "c", "held": "d"}[name] * 32}))
    (sessions / "notes.zip").write_text("no session")
    said: list[str] = []

    async def story(classroom: Classroom, urls: list[str]) -> None:
        for _ in range(1000):
            if said:
                break
            await asyncio.sleep(0.01)
        assert [p.name for p in await classroom.records.do(pupils)] == ["Asha"]
        files = {Path(h.file).name for h in await classroom.records.do(held)}
        assert files == {"kept.zip", "cut.zip"}

    with locked(sessions / "held"):
        asyncio.run(served(tmp_path, story, network=False, entered=said.append))
        assert said == [
            "2 sessions had not reached the records; now in the results. "
            "1 session cannot be entered: `oralquiz enter` says why."
        ]
    assert (sessions / "held").is_dir()
    (sessions / "notes.zip").unlink()
    said.clear()

    async def again(classroom: Classroom, urls: list[str]) -> None:
        await classroom.background.done()

    asyncio.run(served(tmp_path, again, network=False, entered=said.append))
    assert said == ["1 session had not reached the records; now in the results."]
    asyncio.run(served(tmp_path, again, network=False, entered=said.append))
    assert len(said) == 1  # nothing is said when there is nothing
