"""The command line: one module a group of commands, each thin over a room's function."""

from __future__ import annotations

import importlib

import click

from oralquiz import __version__
from oralquiz.cli.common import OneLineErrors

# command -> module of oralquiz.cli that defines a click command under the same name;
# imported only when it is called for, so that `oralquiz --help` stays quick
COMMANDS = {
    "demo": ("demo", "A whole round without microphone or loudspeaker."),
    "round": ("round", "A round with this computer's loudspeaker and microphone."),
    "practice": ("practice", "Practice for one pupil, with sums and a pace that adapt."),
    "explain": ("explain", "Every correct move of a sum, column by column."),
    "diagnose": ("diagnose", "The slips that may explain a wrong answer, with probabilities."),
    "dictate": ("dictate", "A sum read aloud, as a sound file with its onsets."),
    "voice": ("voice", "The voices that read sums aloud; record your own."),
    "hear": ("hear", "The numbers said in recordings."),
    "models": ("models", "The recognition models on this computer, each tested."),
    "compose": ("compose", "Sums that drill the rule of a lesson, with how many there are."),
    "homework": ("homework", "A page that goes home with a pupil: it reads, hears and judges."),
    "sheet": ("sheet", "A set of sums on paper: sheet, key with the rules, reading script."),
    "syllabus": ("syllabus", "The steps of a course and the rules each adds."),
    "correct": ("correct", "Listen again to answers that were not clear."),
    "enter": ("enter", "Enter interrupted rounds and sessions from elsewhere into the records."),
    "pupils": ("pupils", "Pupils: scores, progress, consent, erasing."),
    "check": ("check", "Is this computer, in this room, fit for a round?"),
    "serve": ("serve", "The web app: teacher's page, tablets, practice at home."),
    "replay": ("replay", "Step through a session, every move of every sum."),
}


class Commands(OneLineErrors):
    """A group that imports a command's module when the command is used."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"oralquiz.cli.{COMMANDS[cmd_name][0]}")
        command: click.Command = getattr(module, cmd_name.replace("-", "_"))
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, about) for name, (_, about) in COMMANDS.items()])


@click.command(cls=Commands)
@click.version_option(__version__, prog_name="oralquiz")
def main() -> None:
    """Oral rounds of bead-frame mental arithmetic.

    Sums are composed for a rule, read aloud at a steady pace, answered aloud, heard, judged and
    replayed move by move. Start with `oralquiz demo`.
    """
