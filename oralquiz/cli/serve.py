"""`oralquiz serve`: the web app on this computer, and for a class on its network."""

from __future__ import annotations

import asyncio
import gc
import webbrowser
from typing import TYPE_CHECKING

import click

from oralquiz.cli.common import echo, json_option, print_json

if TYPE_CHECKING:
    from oralquiz.web import Classroom


@click.command()
@click.option(
    "--port",
    type=click.IntRange(0, 65_535),
    default=8765,
    show_default=True,
    help="The port on this computer (0: any free one).",
)
@click.option(
    "--network",
    is_flag=True,
    help="Also let in tablets on the class network, over TLS, with a code.",
)
@click.option(
    "--network-port",
    type=click.IntRange(0, 65_535),
    default=8766,
    show_default=True,
    help="The port for the class network.",
)
@click.option(
    "--name",
    "names",
    multiple=True,
    help="A name or address of this computer on the network, if the right one is not found.",
)
@click.option("--model", default=None, help="A model of `models`, or its folder.")
@click.option(
    "--syllabus",
    "course",
    default="two-hands",
    show_default=True,
    help="The course whose steps are offered.",
)
@click.option("--open", "browse", is_flag=True, help="Open the page in this computer's browser.")
@json_option
def serve(
    port: int,
    network: bool,
    network_port: int,
    names: tuple[str, ...],
    model: str | None,
    course: str,
    browse: bool,
    as_json: bool,
) -> None:
    """Serve the teacher's and the pupils' pages until stopped with Ctrl-C.

    Without --network only this computer can open them. With --network for the first time, it asks
    for a passphrase and makes a certificate. Rounds that a crash cut short are entered into the
    records meanwhile.
    """
    from oralquiz.cli.screen import CAUTION
    from oralquiz.compose import load_syllabus
    from oralquiz.web import PASSPHRASE_LENGTH, few_heaps, server

    few_heaps()
    load_syllabus(course)  # so that a wrong name is reported at once
    tools = server.usual_tools(model)
    keys = server.keys_in()
    if network and not keys.passphrase:
        echo(
            "Tablets join with a code, the teacher logs in with a passphrase: choose one of "
            f"{PASSPHRASE_LENGTH} characters or more.",
            err=True,
        )
        keys.set_passphrase(
            click.prompt("Passphrase", hide_input=True, confirmation_prompt=True, err=True)
        )
    called = [*names, *server.network_names()] if network else []

    def ready(classroom: Classroom, urls: list[str]) -> None:
        if as_json:
            print_json({"urls": urls, "fingerprint": classroom.fingerprint})
        else:
            echo(f"Teacher: {urls[0]}")
            if network:
                echo(f"Tablets: {urls[1]}  (certificate {classroom.fingerprint[:23]}...)")
            echo(f"{CAUTION} Stop with Ctrl-C.")
        if browse:
            webbrowser.open(urls[0])
        gc.freeze()  # what is there now stays: it is not searched for garbage after each round

    asyncio.run(
        server.serve(
            lambda: server.open_classroom(tools, course=course),
            port=port,
            network_port=network_port if network else None,
            names=called,
            ready=ready,
            entered=lambda said: echo(said, err=as_json),
        )
    )
