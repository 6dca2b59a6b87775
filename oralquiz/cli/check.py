"""`oralquiz check`: is this computer fit for a round?"""

from __future__ import annotations

from dataclasses import asdict

import click

from oralquiz.cli.common import FAILED, OK, echo, json_option, print_json, visible


@click.group()
def check() -> None:
    """Try out what a round needs before the children arrive."""


@check.command()
@click.option("--speaker", metavar="NAME", help="Name or number of the loudspeaker.")
@click.option("--microphone", metavar="NAME", help="Name or number of the microphone.")
@click.option("--voice", metavar="NAME", help="The voice that reads; see `voice list`.")
@click.option("--say", is_flag=True, help="Also ask you to say a number, and measure your voice.")
@click.option("--devices", "only_list", is_flag=True, help="Only list the devices.")
@json_option
@click.pass_context
def sound(
    ctx: click.Context,
    speaker: str | None,
    microphone: str | None,
    voice: str | None,
    say: bool,
    only_list: bool,
    as_json: bool,
) -> None:
    """Measure loudspeaker, microphone, their delay and the room, and say what to change.

    A chirp and a short sum are played: please stay quiet meanwhile. Exit status 1 when something
    must be changed first.
    """
    from oralquiz.audio import SoundCard, findings, measure, sound_devices
    from oralquiz.beads import Sum
    from oralquiz.sound import SESSION_RATE
    from oralquiz.speak import dictate, open_voice

    there = sound_devices()
    if not as_json:
        for device in there:
            uses = [
                *(["loudspeaker"] if device.outputs else []),
                *(["microphone"] if device.inputs else []),
            ]
            chosen = " (system default)" if device.is_default_output else ""
            echo(f"{device.index:>3}  {device.name}, {device.host}: {', '.join(uses)}{chosen}")
    if only_list:
        if as_json:
            print_json({"devices": [asdict(device) for device in there]})
        return
    reading = dictate(
        Sum((34, 13, -22)), open_voice(voice, pace=1.6), pace=1.6, sample_rate=SESSION_RATE
    )

    def prompt() -> None:
        echo("Now say: forty-two", err=as_json)

    with SoundCard(speaker, microphone) as card:
        echo(f"{card.output_name} and {card.input_name}: please stay quiet", err=True)
        measured = measure(card, reading.samples, prompt if say else None)
    found = findings(measured)
    fit = all(finding.fit for finding in found)
    if as_json:
        print_json(
            {
                "fit": fit,
                "devices": [asdict(device) for device in there],
                "measured": asdict(measured),
                "findings": [asdict(finding) for finding in found],
            }
        )
    else:
        for finding in found:
            echo(("   " if finding.fit else "!  ") + finding.sentence)
        echo("Fit for a round." if fit else "First put right what is marked with !.")
    ctx.exit(OK if fit else FAILED)


@check.command()
@json_option
@click.pass_context
def sessions(ctx: click.Context, as_json: bool) -> None:
    """List what crashes left among the sessions kept here, and what is still to be done.

    `pupils erase` and `pupils forget-voices` remove leftovers; `enter` enters what is waiting
    and finishes an erasure. Exit status 1 when the list is not empty.
    """
    from oralquiz.folders import sessions_folder
    from oralquiz.records import open_records, unfinished, unrecorded_sessions
    from oralquiz.session import leftovers

    db, folder = open_records(), sessions_folder()
    found = {
        "leftovers": leftovers(folder),
        "waiting": unrecorded_sessions(db, folder),
        "erasing": [path for _, path in unfinished(db)],
    }
    if as_json:
        print_json({kind: [str(path) for path in paths] for kind, paths in found.items()})
    else:
        for kind, what in (
            ("leftovers", "left by a crash, may contain voices"),
            ("waiting", "not in the records yet (oralquiz enter)"),
            ("erasing", "an erasure has not reached it yet (oralquiz enter)"),
        ):
            for path in found[kind]:
                echo(visible(f"{path}: {what}"))
        if not any(found.values()):
            echo("Nothing is left over, and nothing is waiting.")
    ctx.exit(FAILED if any(found.values()) else OK)
