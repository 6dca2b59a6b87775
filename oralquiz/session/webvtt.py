"""captions.vtt: what is said and heard, as WebVTT cues (W3C WebVTT, section 4)."""

from __future__ import annotations

from collections.abc import Iterable

from oralquiz.listen import readable
from oralquiz.rounds import Event


def timestamp(sample: int, rate: int) -> str:
    """``HH:MM:SS.mmm``, rounded to the nearest millisecond."""
    ms = (sample * 1000 + rate // 2) // rate
    return f"{ms // 3_600_000:02}:{ms // 60_000 % 60:02}:{ms // 1000 % 60:02}.{ms % 1000:03}"


def _escape(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def captions(events: Iterable[Event], rate: int) -> str:
    """The cues of a session: each dictated term, each answer heard. Ends with a newline."""
    cues: list[tuple[int, int, str, str]] = []
    for event in events:
        if event.type == "dictated":
            for term in event.data["terms"]:
                cues.append((term["onset"], term["offset"], "teacher", term["text"]))
        elif event.type == "heard" and event.data["onset"] is not None:
            words = readable(event.data["words"]) or "(not clear)"
            cues.append((event.data["onset"], event.data["offset"], "pupil", words))
    lines = ["WEBVTT", ""]
    for onset, offset, who, text in cues:
        # a cue must last: at least one millisecond
        end = max(offset, onset + rate // 1000)
        lines += [
            f"{timestamp(onset, rate)} --> {timestamp(end, rate)}",
            f"<v {who}>{_escape(text)}",
            "",
        ]
    return "\n".join(lines)
