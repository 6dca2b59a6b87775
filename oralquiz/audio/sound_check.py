"""Is this room, with this loudspeaker and microphone, fit for a round? Measured, in plain words.

What is measured: the noise of the quiet room, a chirp's way from loudspeaker to microphone, a sum
read aloud as the microphone hears it, and, if somebody is there to say one, a spoken number.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from oralquiz.audio.delay_chirp import Echo
from oralquiz.audio.echo_canceller import EchoCanceller
from oralquiz.listen import VoiceDetector
from oralquiz.rounds import AudioIn, AudioOut, Clock
from oralquiz.sound import BLOCK, SESSION_RATE, Block, Samples

QUIET_S = 1.5
SAY_S = 5.0

NOISY_DBFS = -45.0
"""A voice at arm's length reaches about -25 dB re full scale: 20 dB above this."""

SILENT_DBFS = -100.0
"""No real microphone is quieter: 16 bits end at -96 dB, and every room hisses."""

FULL = 0.985
"""Samples from here on are taken for overload."""

CLIPPED_SHARE = 1e-4
FAR_S = 0.5
VOICE_LOW_DBFS = -40.0
CLEAR_DB = 15.0


class MeasurableCard(AudioIn, AudioOut, Clock, Protocol):
    """The part of a sound card that is used here: see sound_card.SoundCard."""

    output_name: str
    input_name: str
    xruns: int
    gaps: int
    lost: int

    @property
    def lag_s(self) -> float: ...

    def read(self) -> Block: ...

    def measure_lag(self) -> Echo | None: ...


@dataclass(frozen=True)
class Measured:
    """Levels are decibels re full scale (RMS), times seconds; None: not measured.

    ``left_voices`` counts the stretches of voice that remain of the sum read aloud after the
    echo canceller; ``said_*`` belong to the number that somebody said.
    """

    output: str
    input: str
    noise_dbfs: float
    lag_s: float
    chirp_heard: bool
    chirp_db: float | None
    reading_dbfs: float
    reading_clipped: float
    left_voices: int
    said_dbfs: float | None
    said_clipped: float | None
    xruns: int
    gaps: int
    lost: int


@dataclass(frozen=True)
class Finding:
    """One sentence for the teacher; ``fit`` is False for what must be changed first."""

    fit: bool
    sentence: str


def measure(
    card: MeasurableCard, reading: Samples, prompt: Callable[[], None] | None = None
) -> Measured:
    """Measure ``card``, opened. ``reading`` (n,) is a sum at SESSION_RATE.

    With a ``prompt`` somebody is expected to say a number once it returns. Raises AudioError as
    the card does.
    """
    echo = card.measure_lag()
    quiet = _listen(card, round(QUIET_S * SESSION_RATE))[1]
    echo_filter = EchoCanceller()
    begin = card.now() + SESSION_RATE // 5
    at = card.play(reading, begin)
    echo_filter.played(reading, at)
    first, heard = _listen(card, at + len(reading) + SESSION_RATE // 2 - card.now())
    # the filter first learns the quiet room, as in a round; the blocks follow without a gap
    room = np.concatenate([quiet, heard])
    offset = first - len(quiet)
    cleaned = [
        echo_filter.clean(offset + k, room[k : k + BLOCK]) for k in range(0, len(room), BLOCK)
    ]
    detector = VoiceDetector(SESSION_RATE)
    detector.feed(np.concatenate(cleaned))
    detector.close()
    during = heard[max(0, at - first) :]
    said = None
    if prompt is not None:
        prompt()
        said = _listen(card, round(SAY_S * SESSION_RATE))[1]
    return Measured(
        output=card.output_name,
        input=card.input_name,
        noise_dbfs=dbfs(quiet),
        lag_s=card.lag_s,
        chirp_heard=echo is not None,
        chirp_db=None if echo is None else echo.level_db,
        reading_dbfs=dbfs(during),
        reading_clipped=clipped(during),
        left_voices=len(detector.segments),
        said_dbfs=None if said is None else _loudest(said),
        said_clipped=None if said is None else clipped(said),
        xruns=card.xruns,
        gaps=card.gaps,
        lost=card.lost,
    )


def findings(measured: Measured) -> list[Finding]:
    """What the measures mean and what to change, worst first."""
    m = measured
    found: list[Finding] = []

    def note(fit: bool, sentence: str) -> None:
        found.append(Finding(fit, sentence))

    if m.noise_dbfs < SILENT_DBFS and not m.chirp_heard and m.reading_dbfs < SILENT_DBFS:
        note(
            False,
            f"'{m.input}' hears nothing at all: switch the microphone on, or allow its use "
            "in the system's settings.",
        )
    elif m.noise_dbfs > NOISY_DBFS:
        note(
            False,
            f"The room is loud ({m.noise_dbfs:.0f} dB re full scale): close door and window,"
            " switch fans off, or turn the microphone down and speak close to it.",
        )
    else:
        note(True, f"The room is quiet enough ({m.noise_dbfs:.0f} dB re full scale).")
    if m.chirp_heard:
        note(
            True,
            f"Sound takes {1000 * m.lag_s:.0f} ms from '{m.output}' to '{m.input}'; "
            "latencies are corrected by that.",
        )
        if m.lag_s > FAR_S:
            note(
                True,
                "That is long, as wireless loudspeakers are; a cable makes the round feel quicker.",
            )
    else:
        note(
            True,
            "The chirp was not heard back. With headphones that is as it should be; with a "
            "loudspeaker turn it up. Until then the delay is the system's own figure "
            f"({1000 * m.lag_s:.0f} ms).",
        )
    if m.reading_clipped > CLIPPED_SHARE:
        note(
            False,
            "The reading overloads the microphone: turn the loudspeaker down, or the "
            "microphone, or move them apart.",
        )
    if m.left_voices:
        note(
            False,
            "Part of the reading would be taken for a voice: turn the loudspeaker down, or "
            "use headphones.",
        )
    elif m.chirp_heard:
        note(True, "The reading is kept apart from answers.")
    if m.said_dbfs is not None and m.said_clipped is not None:
        if m.said_clipped > CLIPPED_SHARE:
            note(False, "The voice overloads the microphone: turn it down or move back.")
        elif m.said_dbfs < m.noise_dbfs + CLEAR_DB:
            note(
                False, "No voice stood out from the noise: come closer, or turn the microphone up."
            )
        elif m.said_dbfs < VOICE_LOW_DBFS:
            note(
                False,
                f"The voice is weak ({m.said_dbfs:.0f} dB re full scale): come closer, or "
                "turn the microphone up.",
            )
        else:
            note(
                True,
                f"The voice is clear ({m.said_dbfs:.0f} dB re full scale, "
                f"{m.said_dbfs - m.noise_dbfs:.0f} dB above the room).",
            )
    if m.gaps or m.lost:
        note(
            False,
            f"The sound broke off: {m.gaps} gaps in what was played, {m.lost} samples of the "
            "microphone lost. Close other programs, or use a cable instead of wireless.",
        )
    return sorted(found, key=lambda finding: finding.fit)


def dbfs(samples: Samples) -> float:
    """RMS in decibels re full scale; -120 at least."""
    return 10 * float(np.log10(np.mean(np.square(samples, dtype=np.float64)) + 1e-12))


def clipped(samples: Samples) -> float:
    """The share of samples at full scale."""
    return float(np.mean(np.abs(samples) >= FULL)) if len(samples) else 0.0


def _loudest(samples: Samples) -> float:
    """The level of the loudest 0.4 s, in decibels re full scale."""
    length = round(0.4 * SESSION_RATE)
    starts = range(0, max(1, len(samples) - length), BLOCK)
    return max(dbfs(samples[at : at + length]) for at in starts)


def _listen(card: MeasurableCard, samples: int) -> tuple[int, Samples]:
    """At least ``samples`` of what comes next, and the position of the first."""
    blocks = [card.read()]
    while sum(len(block.samples) for block in blocks) < samples:
        blocks.append(card.read())
    return blocks[0].start, np.concatenate([block.samples for block in blocks])
