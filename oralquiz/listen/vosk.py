"""Numbers heard by Vosk: our own model, or any other in Vosk's on-disk layout."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from oralquiz.errors import ModelError
from oralquiz.listen.hearing import Candidate, Hearing
from oralquiz.listen.models import Graph, Model, find_model, loadable
from oralquiz.listen.pauses import ends_open, parted, weighed
from oralquiz.listen.posterior import Calibration, any_number, candidates
from oralquiz.listen.spoken import EnglishNumbers, Growth, NumberWords
from oralquiz.listen.voice_detector import (
    Levels,
    Segment,
    VoiceDetector,
    room_of,
    silent_room,
    spread_db,
)
from oralquiz.listen.voskapi import Hypothesis, LoadedModel
from oralquiz.sound import Samples

if TYPE_CHECKING:
    from oralquiz.listen.spelled import SpelledNumbers

ALTERNATIVES = 20
"""Readings that are asked for: with strings of digits among them, ten would crowd numbers out."""
LEAD_S = 0.3
"""Seconds before and after the voice that the recogniser hears too."""

AROUND_S = 0.2
"""Seconds of a faint room that are put before and after what the recogniser hears."""
ROOM_DB = -60.0
LOUD_DB = -15.0
"""The level of that room and of the loudest 20 ms of the voice, in decibels re full scale."""
LEAST_GAIN_DB, MOST_GAIN_DB = -20.0, 30.0
APART_S = 0.15
"""A pause this long parts what was said; within a word they are shorter."""
WORD_SLACK_S = 0.1
"""A stretch of voice that ends this soon after the number's first word is not the number's."""
RUN_ON_S = 0.25
"""Other speech this long before the number in one stretch of voice is not taken for its onset."""
NOTHING = Hearing((), "", None, None)
UNBROKEN_S = 3.0
"""Seconds that a voice can last without a pause in which the room would be heard."""
STEADY_DB = 5.5
"""A sound whose level moves less than this is a noise."""
STEP_S = 0.02
"""Seconds between two looks at whether the answer is complete."""


DOUBTFUL = 0.5
"""Below this confidence more voice is waited for, whatever the number."""


@dataclass(frozen=True)
class EndRule:
    """Seconds of quiet after the voice that end an answer, by what was heard until then."""

    closed_s: float = 0.15
    digits_s: float = 0.22
    open_s: float = 0.5
    other_s: float = 2.0

    def quiet_s(self, heard: Hearing, growth: Growth) -> float:
        if heard.value is None:
            return self.other_s
        if heard.confidence < DOUBTFUL:
            return self.open_s
        return {
            Growth.CLOSED: self.closed_s,
            Growth.DIGITS: self.digits_s,
            Growth.OPEN: self.open_s,
        }[growth]


def open_recognizer(
    model: str | Path | None = None, language: str | None = None, rule: EndRule | None = None
) -> VoskRecognizer:
    """The recogniser of a model: its name, its folder, or None for the one that comes with us.

    Raises ModelError.
    """
    return VoskRecognizer(find_model(model, language), rule or EndRule())


_loaded: dict[tuple[Path, Graph | None], LoadedModel] = {}
_loading = threading.Lock()


def _load(model: Model, graph: Graph | None) -> LoadedModel:
    """The model with this graph, loaded once in this process. Raises ModelError."""
    key = (model.path.resolve(), graph)
    with _loading:
        if key not in _loaded:
            with loadable(model, graph) as folder:
                try:
                    _loaded[key] = LoadedModel(folder)
                except ModelError as error:
                    raise ModelError(f"model {model.path}: Vosk cannot load it") from error
        return _loaded[key]


@lru_cache(maxsize=8)
def _spelled(language: str, lowest: int, highest: int) -> SpelledNumbers:
    from oralquiz.listen.spelled import SpelledNumbers

    return SpelledNumbers(language, lowest, highest)


class VoskRecognizer:
    """Hears answers with one model; what it loads is shared within the process."""

    def __init__(self, model: Model, rule: EndRule) -> None:
        self.model = model
        self.rule = rule
        self.calibration = Calibration(**model.calibration)
        self._phrases: dict[tuple[int, int], list[str]] = {}

    def numbers(self, lowest: int, highest: int) -> NumberWords:
        """The number words of the model's language."""
        if self.model.language == "en":
            return EnglishNumbers()
        return _spelled(self.model.language, lowest, highest)

    @property
    def name(self) -> str:
        return f"{self.model.name} {self.model.version}".strip()

    @property
    def sample_rate(self) -> int:
        return self.model.sample_rate

    @property
    def limits(self) -> tuple[int, int]:
        """All that the model can hear; two hands for a model that does not say."""
        lowest, highest = self.model.lowest, self.model.highest
        return (0, 99) if lowest is None or highest is None else (lowest, highest)

    def load(self, lowest: int, highest: int) -> None:
        """Load now what hearing this range needs. Raises ModelError."""
        self._limited(lowest, highest)

    def listen(self, lowest: int, highest: int) -> VoskListener:
        return VoskListener(self, lowest, highest)

    def hear(self, samples: Samples, lowest: int, highest: int) -> Hearing:
        """What is said in a whole recording (n,), to its end."""
        stretches = self._stretches(samples, room_of(samples, self.sample_rate))
        short = len(samples) <= UNBROKEN_S * self.sample_rate
        if stretches:
            return self.read(samples, stretches, lowest, highest, whole=short)
        if not short:
            return NOTHING
        if spread_db(samples, self.sample_rate) < STEADY_DB:
            return NOTHING
        # a clip that is cut to the voice, so that nothing in it is quiet
        heard = self.read(samples, self._stretches(samples, silent_room()), lowest, highest)
        return heard if heard.candidates else NOTHING

    def _stretches(self, samples: Samples, room: Levels) -> tuple[Segment, ...]:
        detector = VoiceDetector(self.sample_rate, room)
        detector.feed(samples)
        detector.close()
        return detector.stretches

    def read(
        self,
        samples: Samples,
        stretches: Sequence[Segment],
        lowest: int,
        highest: int,
        whole: bool = False,
    ) -> Hearing:
        """The hearing of a stream (n,) up to now and the stretches of voice in it.

        ``whole``: read all of it. In a short recording cut to the voice hardly anything is room,
        and a weaker last word would be taken for it.
        """
        if not stretches:
            return NOTHING
        last = stretches[-1].offset
        end = len(samples) if last is None else last
        around = round(LEAD_S * self.sample_rate)
        first, stop = max(0, stretches[0].onset - around), end + around
        if whole:
            first, stop = 0, len(samples)
        readings = self.readings(samples[first:stop], lowest, highest)
        found = self._guesses(readings, lowest, highest)
        parts = parted(stretches, round(APART_S * self.sample_rate))
        if len(parts) > 1:
            found = self._weighed(samples, parts[-2], parts[-1], found, lowest, highest)
        text = found[0].words if found else readings[0].text if readings else ""
        onset_s = stretches[0].onset / self.sample_rate
        if found:
            reading = next((reading for reading in readings if reading.text == text), None)
            if reading is not None:
                onset_s = self._onset_s(reading, first / self.sample_rate, stretches)
            else:  # it was heard in the last part only
                onset_s = parts[-1][0].onset / self.sample_rate
        return Hearing(found, text, onset_s, end / self.sample_rate)

    def _guesses(
        self, readings: Sequence[Hypothesis], lowest: int, highest: int
    ) -> tuple[Candidate, ...]:
        numbers = self.numbers(lowest, highest)
        return candidates(readings, numbers, lowest, highest, self.calibration)

    def _weighed(
        self,
        samples: Samples,
        before: Sequence[Segment],
        last: Sequence[Segment],
        whole: tuple[Candidate, ...],
        lowest: int,
        highest: int,
    ) -> tuple[Candidate, ...]:
        """The candidates of the ``whole``, weighed against those of its ``last`` part alone."""
        around = round(LEAD_S * self.sample_rate)
        parted_at = before[-1].offset or 0
        stop = len(samples) if last[-1].offset is None else last[-1].offset + around
        sound = samples[max(parted_at, last[0].onset - around) : stop]
        alone = self._guesses(self.readings(sound, lowest, highest), lowest, highest)
        if not alone:
            return whole
        sound = samples[max(0, before[0].onset - around) : min(last[0].onset, parted_at + around)]
        readings = self.readings(sound, lowest, highest)
        going_on = any_number(readings, self.numbers(lowest, highest), self.calibration)
        if readings and ends_open(readings[0].text):
            going_on = 1.0
        return weighed(whole, alone, going_on)

    def _onset_s(self, reading: Hypothesis, start_s: float, stretches: Sequence[Segment]) -> float:
        """Where the number that stands begins; ``start_s``: the start of what was read.

        The voice's own onset, unless other speech runs into the number without a pause: then the
        recogniser's time of the number's first word, which is coarse.
        """
        standing = len(reading.words)
        while standing > 0 and reading.words[standing - 1].text in self.model.unknown:
            standing -= 1
        while standing > 0 and reading.words[standing - 1].text not in self.model.unknown:
            standing -= 1
        word_s = start_s + reading.words[standing].start_s
        rate = self.sample_rate
        late = [s for s in stretches if s.offset is None or s.offset / rate > word_s + WORD_SLACK_S]
        onset_s = (late or list(stretches[-1:]))[0].onset / rate
        run_on = standing > 0 and word_s - onset_s > RUN_ON_S
        return word_s if run_on else onset_s

    def readings(self, samples: Samples, lowest: int, highest: int) -> list[Hypothesis]:
        """The likeliest readings of ``samples`` (n,), best first, numbers or not."""
        loaded, phrases = self._limited(lowest, highest)
        sound = evened(samples, self.sample_rate)
        found = loaded.read(sound, self.sample_rate, ALTERNATIVES, phrases)
        return [reading.earlier(AROUND_S) for reading in found]

    def _limited(self, lowest: int, highest: int) -> tuple[LoadedModel, Sequence[str] | None]:
        """The model, loaded, and the phrases that limit it if its graph does not."""
        loaded = _load(self.model, self.model.graph(lowest, highest))
        if not self.model.runtime_grammar:
            return loaded, None
        key = (lowest, highest)
        if key not in self._phrases:
            spelled = _spelled(self.model.language, lowest, highest)
            others = [word for word in sorted(self.model.unknown) if loaded.knows(word)]
            self._phrases[key] = [*spelled.phrases(loaded.knows), *others]
        return loaded, self._phrases[key]


class VoskListener:
    """One answer being heard."""

    def __init__(self, recognizer: VoskRecognizer, lowest: int, highest: int) -> None:
        self._recognizer = recognizer
        self._lowest = lowest
        self._highest = highest
        self._detector = VoiceDetector(recognizer.sample_rate)
        self._step = round(STEP_S * recognizer.sample_rate)
        self._parts: list[Samples] = []
        self._read: tuple[int, Hearing] | None = None

    @property
    def speaking(self) -> bool:
        """Whether a voice has begun and not yet ended."""
        return self._detector.on

    def feed(self, samples: Samples) -> Hearing | None:
        """Take the next samples (n,); the final hearing as soon as the answer is complete."""
        at = 0
        while at < len(samples):  # steps on the stream's own grid, however it comes in
            stop = at + self._step - self._detector.position % self._step
            part = samples[at:stop]
            self._parts.append(part)
            self._detector.feed(part)
            at = stop
            if self._detector.position % self._step == 0:
                final = self._ended()
                if final is not None:
                    return final
        return None

    def finish(self) -> Hearing:
        """The stream is over: what was heard so far."""
        self._detector.close()
        quiet_since = self._detector.quiet_since
        if self._read is not None and self._read[0] == quiet_since:
            return self._read[1]
        return self._hearing()

    def _hearing(self) -> Hearing:
        stretches = self._detector.stretches
        heard = np.concatenate(self._parts) if self._parts else np.zeros(0, np.float32)
        if not stretches:  # unless the voice fills the stream from its first moment on
            return self._recognizer.hear(heard, self._lowest, self._highest)
        return self._recognizer.read(heard, stretches, self._lowest, self._highest)

    def _ended(self) -> Hearing | None:
        quiet_since, rule = self._detector.quiet_since, self._recognizer.rule
        if quiet_since is None:
            return None
        quiet_s = (self._detector.position - quiet_since) / self._recognizer.sample_rate
        if quiet_s < rule.closed_s:
            return None
        if self._read is None or self._read[0] != quiet_since:
            self._read = (quiet_since, self._hearing())
        heard = self._read[1]
        numbers = self._recognizer.numbers(self._lowest, self._highest)
        growth = numbers.growth(heard.words, self._lowest, self._highest)
        return heard if quiet_s >= rule.quiet_s(heard, growth) else None


def evened(samples: Samples, sample_rate: int) -> Samples:
    """``samples`` (n,) as every recording should sound: one level, a faint room around it.

    A clip that is cut to the voice leaves a recogniser nothing to begin and end with, and one that
    is quiet or digitally silent sounds like none it was trained on.
    """
    around = round(AROUND_S * sample_rate)
    frame = round(0.02 * sample_rate)
    power = np.convolve(samples**2, np.ones(frame, np.float32) / frame, "same")
    level_db = 10 * np.log10(float(power.max(initial=0.0)) + 1e-12)
    gain_db = min(max(LOUD_DB - level_db, LEAST_GAIN_DB), MOST_GAIN_DB)
    room = np.random.default_rng(0).normal(0, 10 ** (ROOM_DB / 20), len(samples) + 2 * around)
    room[around : around + len(samples)] += samples * 10 ** (gain_db / 20)
    return room.astype(np.float32)
