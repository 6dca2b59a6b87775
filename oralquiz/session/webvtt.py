"""captions.vtt: what is said and heard, as WebVTT cues (W3C WebVTT, section 4)."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from oralquiz.listen import readable
from oralquiz.rounds import Dictated, Entry, Heard


@dataclass(frozen=True)
class Cue:
    """``who`` ("teacher" or "pupil") said ``text`` from sample ``onset`` to ``offset``."""

    who: str
    text: str
    onset: int
    offset: int


def timestamp(sample: int, rate: int) -> str:
    """``HH:MM:SS.mmm``, rounded to the nearest millisecond."""
    ms = milliseconds(sample, rate)
    return f"{ms // 3_600_000:02}:{ms // 60_000 % 60:02}:{ms // 1000 % 60:02}.{ms % 1000:03}"


def _escape(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def milliseconds(sample: int, rate: int) -> int:
    """The time of ``sample``, rounded to the nearest millisecond."""
    return (sample * 1000 + rate // 2) // rate


def cues(entries: Iterable[Entry]) -> Iterator[Cue]:
    """Each dictated term and each answer heard, in the order in which they became known."""
    for entry in entries:
        event = entry.event
        if isinstance(event, Dictated):
            for term in event.terms:
                yield Cue("teacher", term.text, term.onset, term.offset)
        elif isinstance(event, Heard) and event.onset is not None and event.offset is not None:
            words = readable(event.words) or "(not clear)"
            yield Cue("pupil", words, event.onset, event.offset)


def captions(entries: Iterable[Entry], rate: int) -> str:
    """The cues of a session as WebVTT. Ends with a newline."""
    lines = ["WEBVTT", ""]
    for cue in cues(entries):
        # a cue must last: at least one millisecond
        end = max(cue.offset, cue.onset + rate // 1000)
        lines += [
            f"{timestamp(cue.onset, rate)} --> {timestamp(end, rate)}",
            f"<v {cue.who}>{_escape(cue.text)}",
            "",
        ]
    return "\n".join(lines)
