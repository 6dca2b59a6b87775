"""`oralquiz dictate`: a sum read aloud into a sound file, with the place of every word."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from oralquiz.beads import Sum
from oralquiz.cli.common import SUM_ARGUMENT, echo, json_option, pace_option, print_json
from oralquiz.errors import BadInput
from oralquiz.sound import wav_bytes
from oralquiz.speak import GAP_S, STYLES, Dictation, Reading, SpokenTerm, open_voice
from oralquiz.speak import dictate as render


def spoken_as_json(spoken: SpokenTerm) -> dict[str, Any]:
    return {
        "text": spoken.text,
        "onset": spoken.onset,
        "offset": spoken.offset,
        "compression": round(spoken.compression, 4),
    }


def dictation_as_json(dictation: Dictation) -> dict[str, Any]:
    """Positions are samples, offsets exclusive."""
    return {
        "sum": str(dictation.sum),
        "answer": dictation.sum.answer,
        "voice": dictation.voice,
        "pace_s": dictation.pace_s,
        "sample_rate": dictation.sample_rate,
        "samples": len(dictation.samples),
        "start": dictation.start,
        "offset": dictation.offset,
        "terms": [spoken_as_json(term) for term in dictation.terms],
        "opening": [spoken_as_json(spoken) for spoken in dictation.opening],
        "closing": spoken_as_json(dictation.closing) if dictation.closing else None,
    }


@click.command(context_settings=SUM_ARGUMENT)
@click.argument("text", metavar="SUM")
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    required=True,
    help="The WAV file to write; a JSON file of the same name is written beside it.",
)
@pace_option
@click.option("--voice", metavar="NAME", help="A name from `oralquiz voice list`.")
@click.option(
    "--rate",
    type=click.IntRange(60, 400),
    help="How fast the voice itself speaks, in words a minute. Default: as the pace requires.",
)
@click.option(
    "--gap",
    type=float,
    default=GAP_S,
    show_default=True,
    help="Shortest silence between two terms, in seconds.",
)
@click.option(
    "--language",
    default="en",
    show_default=True,
    help="The language to read in, such as de or en-IN.",
)
@click.option(
    "--signs",
    type=click.Choice(STYLES),
    default=STYLES[0],
    show_default=True,
    help="The words for plus and minus.",
)
@click.option("--digits", is_flag=True, help="Say 34 as three, four.")
@click.option(
    "--lead-in", is_flag=True, help="First say a word that calls for attention, such as 'listen'."
)
@click.option("--count-in", is_flag=True, help="Count in, a word a second, before the first term.")
@click.option("--closing", is_flag=True, help="Say 'equals' after the last term.")
@click.option(
    "--sample-rate",
    type=click.IntRange(8_000, 192_000),
    help="Sample rate of the WAV file, in hertz. Default: the voice's own.",
)
@json_option
def dictate(
    text: str,
    out: Path,
    pace: float,
    voice: str | None,
    rate: int | None,
    gap: float,
    language: str,
    signs: str,
    digits: bool,
    lead_in: bool,
    count_in: bool,
    closing: bool,
    sample_rate: int | None,
    as_json: bool,
) -> None:
    """Read SUM, such as "34 + 13 - 22", aloud into a WAV file."""
    dictation = render(
        Sum.parse(text),
        open_voice(voice, rate=rate, pace=pace, language=language),
        pace=pace,
        sample_rate=sample_rate,
        reading=Reading(language, signs, digits, lead_in, count_in, closing),
        gap=gap,
    )
    facts = dictation_as_json(dictation)
    beside = out.with_suffix(".json")
    if beside == out:
        raise BadInput(f"{out}: the name of a sound file must not end in .json")
    try:
        out.write_bytes(wav_bytes(dictation.samples, dictation.sample_rate))
        beside.write_text(json.dumps(facts, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
    except OSError as error:
        raise BadInput(f"{out}: cannot be written ({error.strerror})") from error
    if as_json:
        print_json(facts)
        return
    for term in dictation.terms:
        echo(f"{term.onset / dictation.sample_rate:8.3f} s  {term.text}", nl=False)
        squeezed = f"  (shortened {term.compression:.2f} times)" if term.compression > 1 else ""
        echo(squeezed)
    echo(f"{out} and {beside.name}: {len(dictation.terms)} terms, answer {facts['answer']}")
