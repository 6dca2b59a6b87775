"""`oralquiz voice`: the voices that dictate, a teacher's own, and those lent to the training."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from oralquiz.cli.common import FAILED, agreed, echo, json_option, print_json
from oralquiz.compose import counted
from oralquiz.errors import BadInput, SessionFileError
from oralquiz.listen import readable

if TYPE_CHECKING:
    from oralquiz.audio import SoundCard
    from oralquiz.listen import AnswerRecognizer
    from oralquiz.records import Pupil
    from oralquiz.session import Session
    from oralquiz.sound import Clip

TAKES = 5
"""How often one word is asked for before it is left for later."""


@click.group()
def voice() -> None:
    """The voices that read sums aloud: list them, try them, record your own."""


@voice.command(name="list")
@click.option("--language", metavar="CODE", help="Only voices of this language, such as de.")
@click.option("--all", "every", is_flag=True, help="List every voice.")
@json_option
def list_(language: str | None, every: bool, as_json: bool) -> None:
    """The voices to try first, by the name that --voice takes; with --all, all of them.

    The column "understood" is the share of terms that an unrelated recogniser understood at a
    pace of 2.5 s, where that was measured. --json lists every voice.
    """
    from rich.table import Column, Table

    from oralquiz.cli.console import console_for
    from oralquiz.speak import list_voices

    wanted = (language or "").replace("_", "-").casefold()

    def fits(tags: tuple[str, ...]) -> bool:
        plain = [tag.replace("_", "-").casefold() for tag in tags]
        return not wanted or any(t == wanted or t.startswith(wanted + "-") for t in plain)

    found = [entry for entry in list_voices() if fits(entry.languages)]
    if as_json:
        print_json({"voices": [asdict(entry) for entry in found]})
        return
    if not found:
        raise BadInput(f"no voice speaks '{language}'")
    shown = found if every else [entry for entry in found if entry.suggested] or found
    # a name that is cut off cannot be typed
    name = Column("name", no_wrap=True, min_width=max(len(entry.name) for entry in shown))
    table = Table(name, "language", "understood", "description")
    for entry in shown:
        share = "" if entry.understood is None else f"{entry.understood:.0%}"
        what = f"{entry.about}; the default" if entry.usual else entry.about
        table.add_row(entry.name, ", ".join(entry.languages), share, what)
    console_for().print(table)
    if len(shown) < len(found):
        echo(f"{len(found) - len(shown)} more: oralquiz voice list --all")


@voice.command(name="try")
@click.argument("name", required=False)
@click.option("--text", help="What it says. Default: a short sum in its language.")
@click.option("--language", default=None, metavar="CODE", help="The language of the sum.")
@click.option("--rate", type=click.IntRange(60, 400), help="Words a minute.")
@click.option("--speaker", metavar="NAME", help="Name or number of the loudspeaker.")
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write a WAV file instead of playing.",
)
def try_(
    name: str | None,
    text: str | None,
    language: str | None,
    rate: int | None,
    speaker: str | None,
    out: Path | None,
) -> None:
    """Hear the voice NAME, or the default voice, say something."""
    from oralquiz.audio import say_aloud
    from oralquiz.beads import Sum
    from oralquiz.sound import Clip, wav_bytes
    from oralquiz.speak import Reading, dictate, language_of, open_voice

    spoken = language or language_of(name)
    reader = open_voice(name, rate=rate, language=spoken)
    if text is None:
        dictation = dictate(Sum((34, 13, -22)), reader, pace=2.0, reading=Reading(spoken))
        clip = Clip(dictation.samples, dictation.sample_rate)
    else:
        clip = reader.say(text)
    if out is None:
        say_aloud(clip, speaker)
        return
    try:
        out.write_bytes(wav_bytes(clip.samples, clip.sample_rate))
    except OSError as error:
        raise BadInput(f"{out}: cannot be written ({error.strerror})") from error
    echo(f"{out}: {clip.seconds:.2f} s")


@voice.command()
@click.option("--language", default="en", show_default=True, metavar="CODE", help="The language.")
@json_option
def phrases(language: str, as_json: bool) -> None:
    """Show the words said around the numbers, and the file in which you can change them."""
    from oralquiz.speak import own_table
    from oralquiz.speak import phrases as row_of

    row = asdict(row_of(language))
    if as_json:
        print_json({"file": str(own_table()), "phrases": row})
        return
    echo(f"[{row.pop('language')}]")
    for key, value in row.items():
        shown = ", ".join(f'"{v}"' for v in value) if isinstance(value, tuple) else f'"{value}"'
        echo(f"{key} = [{shown}]" if isinstance(value, tuple) else f"{key} = {shown}")
    echo(f"# to change it: copy this table into {own_table()} and edit it there")


@voice.command()
@click.argument("name")
@click.option("--language", default="en", show_default=True, metavar="CODE", help="Its language.")
@click.option(
    "--from",
    "folder",
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="Take sound files named after the words, such as thirty.wav, instead of recording.",
)
@click.option(
    "--word", "only", multiple=True, help="Record only this word again; repeat it for several."
)
@click.option("--highest", default=99, show_default=True, help="The highest number to dictate.")
@click.option("--microphone", metavar="NAME", help="Name or number of the microphone.")
@click.option("--speaker", metavar="NAME", help="Name or number of the loudspeaker.")
@click.option("--no-check", is_flag=True, help="Do not have the recogniser check the numbers.")
@click.pass_context
def record(
    ctx: click.Context,
    name: str,
    language: str,
    folder: Path | None,
    only: tuple[str, ...],
    highest: int,
    microphone: str | None,
    speaker: str | None,
    no_check: bool,
) -> None:
    """Record your own voice as NAME: a few dozen words, each checked; then it can dictate.

    Words that are already recorded are not asked for again. Exit status 1 while words are missing.
    """
    from oralquiz.audio import SoundCard
    from oralquiz.speak import OwnVoice, keep_word, needed_words, own_voices

    have = set(OwnVoice(name).words) if name in own_voices() else set()
    wanted = list(only) or [w for w in needed_words(language, highest) if w not in have]
    checker = None if no_check else _recognizer(language)
    if checker is None and not no_check:
        echo(f"there is no recognition model for '{language}': words are not checked")
    refused: list[str] = []
    if folder is not None:
        refused = _from_folder(name, language, wanted, folder, checker)
    elif wanted:
        echo(f"{len(wanted)} words. Say each one clearly when it appears; Ctrl-C stops.")
        with SoundCard(speaker, microphone) as card:
            for index, word in enumerate(wanted):
                echo(f"{index + 1}/{len(wanted)}   {word}")
                take = _good_take(card, language, word, checker)
                if take is None:
                    refused.append(word)
                else:
                    keep_word(name, language, word, take)
    missing = OwnVoice(name).missing(highest)
    if missing or refused:
        left = ", ".join(dict.fromkeys([*refused, *missing]))
        echo(f"still missing: {left}; run this command again")
        ctx.exit(FAILED)
    echo(f"own:{name} is complete: oralquiz voice try own:{name}")


def _recognizer(language: str) -> AnswerRecognizer | None:
    from oralquiz.errors import ModelError
    from oralquiz.listen import open_recognizer

    try:
        return open_recognizer(language=language.split("_")[0].split("-")[0])
    except ModelError:
        return None


def _misheard(checker: AnswerRecognizer | None, word: str, language: str, clip: Clip) -> str | None:
    """What the recogniser heard instead of a number word, or None when it agrees or cannot say."""
    from oralquiz.sound import at_rate
    from oralquiz.speak import number_words, words_of
    from oralquiz.speak import phrases as row_of

    if checker is None:
        return None
    numbers = row_of(language).numbers
    meant = [n for n in range(100) if words_of(number_words(n, numbers)) == words_of(word)]
    if not meant:
        return None  # a sign, a hundred: no number of its own
    hearing = checker.hear(at_rate(clip, checker.sample_rate).samples, 0, 99)
    if hearing.value == meant[0]:
        return None
    return str(hearing.value) if hearing.value is not None else readable(hearing.words) or "nothing"


def _from_folder(
    name: str, language: str, wanted: list[str], folder: Path, checker: AnswerRecognizer | None
) -> list[str]:
    """Keep every wanted word that has a good file; returns the words whose file is refused."""
    from oralquiz.sound import read_clip
    from oralquiz.speak import complaint, keep_word

    files = {path.stem.casefold().replace("_", " "): path for path in sorted(folder.iterdir())}
    refused = []
    for word in wanted:
        path = files.get(word.casefold())
        if path is None:
            continue
        try:
            clip = read_clip(path)
        except BadInput as error:
            raise BadInput(f"{path}: cannot be read as sound: {error}") from error
        trouble = complaint(clip.samples, clip.sample_rate)
        heard = None if trouble else _misheard(checker, word, language, clip)
        if heard is not None:
            trouble = f"it was heard as {heard}"
        if trouble:
            echo(f"{path.name}: {trouble}")
            refused.append(word)
        else:
            keep_word(name, language, word, clip)
    return refused


def _good_take(
    card: SoundCard, language: str, word: str, checker: AnswerRecognizer | None
) -> Clip | None:
    """Ask for ``word`` until a take is good; None when none was."""
    from oralquiz.audio import record_one_word
    from oralquiz.sound import SESSION_RATE, Clip
    from oralquiz.speak import complaint

    heard_twice = None
    for _ in range(TAKES):
        take = Clip(record_one_word(card), SESSION_RATE)
        trouble = complaint(take.samples, SESSION_RATE)
        if trouble is None:
            heard = _misheard(checker, word, language, take)
            if heard is None or heard == heard_twice:
                # whoever speaks may well have an accent that the recogniser does not know
                return take
            heard_twice = heard
            trouble = f"that was heard as {heard}; say it once more"
        echo(f"       {trouble}")
    return None


TO_LEND = """\
{name} lends this voice to the training of the model that hears numbers:
- the numbers recorded here, and answers from rounds that a teacher has listened to;
- they stay on this computer until you copy them (oralquiz voice lent --to FOLDER) and take the
  copy somewhere yourself; no name goes with them;
- they are removed with the pupil, and when consent is withdrawn; copies are yours to delete."""


@voice.command("lend")
@click.argument("pupil")
@click.option(
    "--yes", is_flag=True, help="Do not ask first: a parent, or the adult pupil, has agreed."
)
@click.option(
    "--answers-only", is_flag=True, help="Lend only answers from rounds; record nothing now."
)
@click.option("--microphone", metavar="NAME", help="Name or number of the microphone.")
@click.option("--speaker", metavar="NAME", help="Name or number of the loudspeaker.")
@click.pass_context
def lend_(
    ctx: click.Context,
    pupil: str,
    yes: bool,
    answers_only: bool,
    microphone: str | None,
    speaker: str | None,
) -> None:
    """Record PUPIL saying 0 to 99, for the training of the model that hears numbers.

    About three minutes. Numbers already recorded are not asked for again. Exit status 1
    while some are missing.
    """
    from oralquiz import records

    lender = records.find_pupil(records.open_records(), pupil)
    if not records.lends(lender.name):
        echo(TO_LEND.format(name=lender.name))
        if not yes and not agreed("Has a parent (or the adult pupil) agreed to this?"):
            raise click.Abort
    records.agree_to_lend(lender, datetime.now(UTC).isoformat(timespec="seconds"))
    have = records.lent_numbers(lender.name)
    wanted = [] if answers_only else [n for n in records.NUMBERS if n not in have]
    if wanted and not _lend_numbers(lender, wanted, microphone, speaker):
        echo("some numbers are still missing; run this command again")
        ctx.exit(FAILED)
    echo(f"{lender.name} has lent {counted(len(records.lent_numbers(lender.name)), 'number')}")


def _lend_numbers(
    lender: Pupil, wanted: list[int], microphone: str | None, speaker: str | None
) -> bool:
    """Record the numbers in mixed order; returns whether all were."""
    from oralquiz.audio import SoundCard
    from oralquiz.records import lend
    from oralquiz.speak import number_words

    random.shuffle(wanted)
    checker, missed = _recognizer("en"), 0
    echo(f"{counted(len(wanted), 'number')}. Say each one when it appears; Ctrl-C stops.")
    with SoundCard(speaker, microphone) as card:
        for index, value in enumerate(wanted):
            echo(f"{index + 1}/{len(wanted)}   {value}")
            take = _good_take(card, "en", number_words(value), checker)
            if take is None:
                missed += 1
            else:
                lend(lender, value, take.samples)
    return not missed


@voice.command("lent")
@click.option(
    "--to",
    "folder",
    required=True,
    type=click.Path(file_okay=False, path_type=Path),
    help="A new or empty folder, or an earlier set, which is replaced.",
)
@json_option
def lent(folder: Path, as_json: bool) -> None:
    """Copy what pupils have lent into a set for training the model.

    That is what they recorded with `oralquiz voice lend`, and those of their answers in the rounds
    kept here that a teacher has listened to. The files name nobody.
    """
    from oralquiz.folders import sessions_folder
    from oralquiz.records import open_records, pupils, write_set
    from oralquiz.session import open_session

    def sessions() -> Iterator[Session]:
        for path in sorted(sessions_folder().glob("*.zip")):
            try:
                yield open_session(path)
            except SessionFileError as error:
                echo(str(error), err=True)

    recordings, speakers = write_set(folder, pupils(open_records()), sessions())
    if as_json:
        print_json({"folder": str(folder), "recordings": recordings, "speakers": speakers})
    else:
        echo(f"{folder}: {counted(recordings, 'recording')} of {counted(speakers, 'speaker')}")
