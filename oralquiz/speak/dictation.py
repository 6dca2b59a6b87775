"""A dictation: one buffer in which a sum is read aloud, each term's onset known to the sample."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from oralquiz.beads import Sum
from oralquiz.errors import BadInput
from oralquiz.sound import Clip, Samples, at_rate, faded
from oralquiz.speak.loudness import LOUDNESS_LUFS, level
from oralquiz.speak.reading import Reading, term_texts
from oralquiz.speak.stretch import compress
from oralquiz.speak.voice import Voice
from oralquiz.speak.worked_out import once_a_clip

MAX_COMPRESSION = 1.4
GAP_S = 0.15
"""The least quiet between two terms, so that they stay apart in the ear."""

START_S = 0.25
"""Quiet before the first word: some speakers swallow the first tenth of a second."""

COUNT_PACE_S = 1.0
FADE_S = 0.002


@dataclass(frozen=True)
class SpokenTerm:
    """What was said for one term, and where in the dictation (samples, offset exclusive).

    ``compression`` is the factor by which the clip was shortened to fit the pace (1: not at all).
    """

    text: str
    onset: int
    offset: int
    compression: float = 1.0


@dataclass(frozen=True, eq=False)
class Dictation:
    """One buffer that reads a whole sum aloud.

    ``samples`` (n,) float32 at ``sample_rate`` hertz; term k starts exactly at
    ``start + k * pace_s`` (rounded to a sample). ``pace_s`` is seconds from onset to onset.
    ``opening`` is what was said before the first term, ``closing`` what was said after the last.
    """

    sum: Sum
    pace_s: float
    sample_rate: int
    samples: Samples
    terms: tuple[SpokenTerm, ...]
    voice: str = ""
    opening: tuple[SpokenTerm, ...] = ()
    closing: SpokenTerm | None = None

    @property
    def start(self) -> int:
        """Sample at which the first term starts."""
        return self.terms[0].onset

    @property
    def offset(self) -> int:
        """Sample at which the last term ends: where a pupil's latency begins."""
        return self.terms[-1].offset


def dictate(
    terms: Sum,
    voice: Voice,
    *,
    pace: float = 2.5,
    sample_rate: int | None = None,
    reading: Reading | None = None,
    gap: float = GAP_S,
    loudness: float = LOUDNESS_LUFS,
) -> Dictation:
    """Read ``terms`` aloud: term k starts at the sample ``start + round(k * pace * rate)``.

    ``pace`` is seconds from onset to onset, ``gap`` the least seconds of quiet between two terms;
    how fast the voice itself speaks is the voice's own setting. A term that does not fit is
    compressed by up to MAX_COMPRESSION. ``sample_rate`` None means the voice's own rate.
    ``loudness`` in LUFS. Raises BadInput, naming the shortest pace that works, when a term cannot
    be said in time; AudioError when the voice fails.
    """
    if not math.isfinite(pace) or pace <= 0:
        raise BadInput(f"the pace must be more than 0 seconds, not {pace:g}")
    if not math.isfinite(gap) or gap < 0:
        raise BadInput(f"the gap must be 0 seconds or more, not {gap:g}")
    reading = reading or Reading()
    table = reading.phrases()
    texts = term_texts(terms, reading)
    before = [*([table.lead_in] if reading.lead_in else []), *(table.count_in * reading.count_in)]
    after = [table.closing] if reading.closing else []

    spoken = [_at(voice.say(text), sample_rate) for text in texts]
    rate = spoken[0].sample_rate
    factors = _compressions(texts, spoken, pace, gap)
    clips = [_compressed(clip, factor) for clip, factor in zip(spoken, factors, strict=True)]
    clips += [_at(voice.say(text), rate) for text in [*before, *after]]
    clips = [faded(clip, FADE_S) for clip in level(clips, loudness)]
    lengths = [len(clip.samples) for clip in clips]

    quiet = round(gap * rate)
    at = round(START_S * rate)
    opening = []
    for text, length in zip(before, lengths[len(texts) :], strict=False):
        opening.append(SpokenTerm(text, at, at + length))
        at += max(round(COUNT_PACE_S * rate), length + quiet)
    said = []
    for k, (text, length, factor) in enumerate(zip(texts, lengths, factors, strict=False)):
        onset = at + round(k * pace * rate)
        said.append(SpokenTerm(text, onset, onset + length, factor))
    closing = [
        SpokenTerm(text, said[-1].offset + quiet, said[-1].offset + quiet + lengths[-1])
        for text in after
    ]

    placed = [*said, *opening, *closing]
    samples = np.zeros(max(where.offset for where in placed), np.float32)
    for where, clip in zip(placed, clips, strict=True):
        samples[where.onset : where.offset] = clip.samples
    return Dictation(
        terms,
        pace,
        rate,
        samples,
        tuple(said),
        voice.name,
        tuple(opening),
        closing[0] if closing else None,
    )


def _at(clip: Clip, rate: int | None) -> Clip:
    """``clip`` at ``rate`` (None: its own)."""
    return clip if rate is None or rate == clip.sample_rate else _resampled(clip, rate)


_resampled = once_a_clip(at_rate)
_compressed = once_a_clip(compress)


def _compressions(
    texts: tuple[str, ...], clips: list[Clip], pace: float, gap: float
) -> list[float]:
    """How much each clip must be shortened; the last may take the time it needs."""
    factors = []
    for clip in clips[:-1]:
        room = pace - gap
        factors.append(max(1.0, clip.seconds / room) if room > 0 else math.inf)
    if factors and max(factors) > MAX_COMPRESSION:
        worst = max(range(len(factors)), key=lambda index: clips[index].seconds)
        # rounded up to a twentieth of a second
        shortest = math.ceil(20 * (clips[worst].seconds / MAX_COMPRESSION + gap) - 1e-9) / 20
        raise BadInput(
            f"'{texts[worst]}' cannot be said within a pace of {pace:g} s: "
            f"the shortest pace that works is {shortest:.2f} s"
        )
    return [*factors, 1.0]
