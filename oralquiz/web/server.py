"""Serving this computer over loopback and, if wanted, the class network over TLS."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import uvicorn
from starlette.applications import Starlette

from oralquiz.errors import AudioError, BadInput
from oralquiz.folders import data_folder
from oralquiz.records import Cards
from oralquiz.session import RoundReader
from oralquiz.web.app import create_app
from oralquiz.web.assembly import Tools
from oralquiz.web.certificate import own_addresses, own_certificate
from oralquiz.web.classroom import Classroom
from oralquiz.web.credentials import Codes, Keys, load_keys
from oralquiz.web.hearing_processes import HearingProcesses
from oralquiz.web.packets import PACKET_BYTES
from oralquiz.web.patient_socket import PatientSocket
from oralquiz.web.protocol import MESSAGE_BYTES
from oralquiz.web.records_thread import RecordsThread
from oralquiz.web.round_host import RoundHost
from oralquiz.web.timed_protocol import TimedProtocol

CONNECTIONS = 1_000
"""Connections at once to each address: those of 400 pupils, and the sounds that they fetch."""

LOOPBACK = ("127.0.0.1", "localhost", "::1")


@dataclass(frozen=True)
class ListeningAddress:
    """One address to listen on: the app's URL for people, and the socket for the server."""

    url: str
    app: Starlette
    sock: socket.socket
    cert: Path | None = None
    key: Path | None = None


class _Server(uvicorn.Server):
    """Two servers share one loop: only the first may take the signals."""

    takes_signals = True

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        if self.takes_signals:
            with super().capture_signals():
                yield
        else:
            yield


def listen_on(host: str, port: int) -> socket.socket:
    """A listening socket. Raises BadInput when the port cannot be used."""
    sock = socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        sock.bind((host, port))
        sock.listen(256)  # whoever comes before the server runs waits, and is not turned away
    except OSError as error:
        sock.close()
        raise BadInput(f"{host}:{port} cannot be used ({error.strerror}); try --port") from None
    return sock


def open_classroom(
    tools: Tools, *, folder: Path | None = None, course: str = "two-hands"
) -> Classroom:
    """The state behind the pages, over the data in ``folder`` (None: this user's own).

    Needs a running event loop.
    """
    folder = folder or data_folder()
    return Classroom(
        load_keys(folder / "web" / "keys.json"),
        RecordsThread(folder / "records.db"),
        folder / "sessions",
        tools,
        course=course,
        codes=Codes(cards=Cards(folder / "records.db")),
    )


def keys_in(folder: Path | None = None) -> Keys:
    """The web app's keys in ``folder``, made on first use."""
    return load_keys((folder or data_folder()) / "web" / "keys.json")


def usual_tools(model: str | None) -> Tools:
    """The voices and the recogniser of this machine."""

    def hearing() -> RoundHost:
        from oralquiz.listen import open_recognizer

        return HearingProcesses(partial(open_recognizer, model))

    def reader(voice: str, pace_s: float) -> RoundReader:
        from oralquiz.rounds import VoiceReader
        from oralquiz.speak import open_voice

        voice_ = open_voice(voice or None, pace=pace_s)
        return VoiceReader(voice_, pace_s, keeps=False)  # an AheadReader keeps what is next

    return Tools(hearing, reader, voices)


def voices() -> list[tuple[str, str]]:
    """Names and labels of the voices that a teacher can choose, in the language that answers are
    heard in; the usual one first."""
    from oralquiz.speak import list_voices

    found = [("", "Default voice")]
    try:
        for voice in list_voices():
            if any(language.startswith("en") for language in voice.languages):
                found.append((voice.name, f"{voice.name.partition(':')[2]} ({voice.about})"))
    except AudioError:
        pass  # the usual voice says what is missing when it is asked to speak
    return found


async def serve(
    make_classroom: Callable[[], Classroom],
    *,
    port: int,
    network_port: int | None,
    names: Sequence[str],
    ready: Callable[[Classroom, list[str]], None],
    entered: Callable[[str], None] = lambda said: None,
) -> None:
    """Serve until stopped. ``names`` are what this machine is called in the class network;
    ``ready`` is told the classroom and the URLs once both are open, ``entered`` in one line
    which sessions have reached the records only now, if any. Raises BadInput."""
    classroom = make_classroom()
    addresses: list[ListeningAddress] = []
    servers: list[_Server] = []
    running: list[asyncio.Task[None]] = []
    try:
        addresses.append(_here(classroom, port))
        if network_port is not None:
            addresses.append(_network(classroom, network_port, names))
        ready(classroom, [address.url for address in addresses])
        classroom.background.run(_enter(classroom, entered))
        for address in addresses:
            servers.append(_server(address, takes_signals=not servers))
            running.append(asyncio.create_task(servers[-1].serve(sockets=[address.sock])))
        await asyncio.wait(running, return_when=asyncio.FIRST_COMPLETED)
    finally:
        for server in servers:
            server.should_exit = True
        await asyncio.gather(*running, return_exceptions=True)
        for address in addresses:
            address.sock.close()
        await classroom.close()


async def _enter(classroom: Classroom, entered: Callable[[str], None]) -> None:
    if said := await classroom.bookkeeper.enter_waiting():
        entered(said)


def _server(address: ListeningAddress, takes_signals: bool) -> _Server:
    config = uvicorn.Config(
        address.app,
        http=TimedProtocol,
        log_level="warning",
        access_log=False,
        ws=PatientSocket,
        ws_max_size=max(MESSAGE_BYTES * 4, PACKET_BYTES),
        ws_per_message_deflate=False,  # sound does not compress, and it would cost memory
        server_header=False,
        proxy_headers=False,
        lifespan="off",
        limit_concurrency=CONNECTIONS,
        timeout_graceful_shutdown=3,
        ssl_certfile=address.cert,
        ssl_keyfile=address.key,
    )
    server = _Server(config)
    server.takes_signals = takes_signals
    return server


def _here(classroom: Classroom, port: int) -> ListeningAddress:
    sock = listen_on("127.0.0.1", port)
    chosen = sock.getsockname()[1]
    return ListeningAddress(f"http://127.0.0.1:{chosen}", create_app(classroom, LOOPBACK), sock)


def _network(classroom: Classroom, port: int, names: Sequence[str]) -> ListeningAddress:
    if not classroom.keys.passphrase:
        raise BadInput("a class network needs a teacher's passphrase first")
    if not names:
        raise BadInput("this computer has no address on a network: is it connected?")
    sock = listen_on("0.0.0.0", port)
    certificate = own_certificate(classroom.keys.path.parent, names)
    classroom.fingerprint = certificate.fingerprint
    classroom.network_url = f"https://{names[0]}:{sock.getsockname()[1]}"
    app = create_app(classroom, names, secure=True)
    return ListeningAddress(classroom.network_url, app, sock, certificate.cert, certificate.key)


def network_names() -> list[str]:
    """What tablets can call this machine: its addresses, then its name."""
    name = socket.gethostname().split(".")[0]
    return [*own_addresses(), name, f"{name}.local"]
