"""Hearing answers with a decoder: where the voice is, its pauses, how sure the number is, when it
is over."""

from __future__ import annotations

import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from oralquiz.listen.band_levels import spread_db, voice_levels
from oralquiz.listen.decoder import Decoder
from oralquiz.listen.end_of_speech import EndRule
from oralquiz.listen.hearing import Candidate, Hearing
from oralquiz.listen.hypothesis import Hypothesis
from oralquiz.listen.language import NumberWords
from oralquiz.listen.models import find_model
from oralquiz.listen.onset import number_onset_s
from oralquiz.listen.pauses import interpolated, split_at_pauses
from oralquiz.listen.posterior import candidates, number_probability
from oralquiz.listen.room_noise import quietest, silent_room
from oralquiz.listen.voice_detector import Segment, VoiceDetector
from oralquiz.sound import Samples

LEAD_S = 0.3
"""Seconds before and after the voice that are decoded too."""
PAUSE_S = 0.15
"""A pause this long divides an answer; within a word they are shorter."""
UNBROKEN_S = 3.0
"""Seconds that a voice can last without a pause in which the room would be heard."""
STEADY_DB = 5.5
"""A sound whose level varies less than this is a noise."""
STEP_S = 0.02
"""Seconds between two checks whether the answer is complete."""
ANSWER_S, ANSWERS = 1.4, 5
"""Seconds of sound that are usually decoded for an answer; how many times that is timed."""
NOTHING = Hearing((), "", None, None)
NEVER = sys.maxsize


def open_recognizer(
    model: str | Path | None = None, language: str | None = None, rule: EndRule | None = None
) -> AnswerRecognizer:
    """The recogniser of a model: its name, its folder, or None for the one that comes with us.

    Raises ModelError.
    """
    from oralquiz.listen.vosk import VoskDecoder

    return AnswerRecognizer(VoskDecoder(find_model(model, language)), rule)


class AnswerRecognizer:
    """Hears answers with one decoder. Used by several threads at once."""

    def __init__(self, decoder: Decoder, rule: EndRule | None = None) -> None:
        self.decoder = decoder
        self.rule = rule or EndRule()

    @property
    def name(self) -> str:
        return self.decoder.name

    @property
    def sample_rate(self) -> int:
        return self.decoder.sample_rate

    @property
    def limits(self) -> tuple[int, int]:
        """The lowest and the highest number that can be heard."""
        return self.decoder.limits

    def load(self, lowest: int, highest: int) -> None:
        """Load now what hearing this range needs. Raises ModelError."""
        self.decoder.load(lowest, highest)

    def answer_s(self, lowest: int, highest: int) -> float:
        """Seconds of a core that decoding an answer takes on this computer: the least of a few."""
        length = round(ANSWER_S * self.sample_rate)
        sound = np.random.default_rng(0).normal(0, 0.03, length).astype(np.float32)
        took_s = []
        for _ in range(ANSWERS):
            began_s = time.thread_time()
            self.decoder.decode(sound, lowest, highest)
            took_s.append(time.thread_time() - began_s)
        return min(took_s)

    def numbers(self, lowest: int, highest: int) -> NumberWords:
        """The number words of the decoder's language."""
        return self.decoder.language.numbers(lowest, highest)

    def listen(self, lowest: int, highest: int) -> AnswerListener:
        return AnswerListener(self, lowest, highest)

    def hear(self, samples: Samples, lowest: int, highest: int) -> Hearing:
        """What is said in a whole recording (n,), to its end."""
        levels = voice_levels(samples, self.sample_rate)
        segments = VoiceDetector.of_recording(levels, quietest(levels), self.sample_rate)
        short = len(samples) <= UNBROKEN_S * self.sample_rate
        if segments:
            return self.hear_segments(samples, segments, lowest, highest, whole=short)
        if not short or spread_db(levels) < STEADY_DB:
            return NOTHING
        # a clip that is cut to the voice, so that nothing in it is quiet
        segments = VoiceDetector.of_recording(levels, silent_room(), self.sample_rate)
        heard = self.hear_segments(samples, segments, lowest, highest)
        return heard if heard.candidates else NOTHING

    def hear_segments(
        self,
        samples: Samples,
        segments: Sequence[Segment],
        lowest: int,
        highest: int,
        whole: bool = False,
    ) -> Hearing:
        """The hearing of a stream (n,) up to now, given the segments of voice in it.

        ``whole``: decode all of it. In a short recording cut to the voice hardly anything is room,
        and a weaker last word would be taken for it.
        """
        if not segments:
            return NOTHING
        last = segments[-1].offset
        end = len(samples) if last is None else last
        around = round(LEAD_S * self.sample_rate)
        first, stop = max(0, segments[0].onset - around), end + around
        if whole:
            first, stop = 0, len(samples)
        answer = _Answer(self, samples, lowest, highest)
        hypotheses = answer.hypotheses(first, stop)
        found = answer.candidates(hypotheses)
        parts = split_at_pauses(segments, round(PAUSE_S * self.sample_rate))
        if len(parts) > 1:
            found = answer.with_last_part(found, parts[-2], parts[-1])
        words = found[0].words if found else hypotheses[0].text if hypotheses else ""
        onset_s = segments[0].onset / self.sample_rate
        if found:
            best = next((one for one in hypotheses if one.text == words), None)
            if best is None:  # it was heard in the last part only
                onset_s = parts[-1][0].onset / self.sample_rate
            else:
                start_s = first / self.sample_rate
                unknown = self.decoder.unknown
                onset_s = number_onset_s(best, start_s, segments, self.sample_rate, unknown)
        return Hearing(found, words, onset_s, end / self.sample_rate)


class _Answer:
    """One sound that is decoded, whole and in parts, for an answer in lowest .. highest."""

    def __init__(
        self, recognizer: AnswerRecognizer, samples: Samples, lowest: int, highest: int
    ) -> None:
        self._decoder = recognizer.decoder
        self._samples = samples
        self._limits = lowest, highest
        self._numbers = recognizer.numbers(lowest, highest)
        self._around = round(LEAD_S * recognizer.sample_rate)

    def hypotheses(self, first: int, stop: int) -> Sequence[Hypothesis]:
        return self._decoder.decode(self._samples[first:stop], *self._limits)

    def candidates(self, hypotheses: Sequence[Hypothesis]) -> tuple[Candidate, ...]:
        calibration = self._decoder.calibration
        return candidates(hypotheses, self._numbers, *self._limits, calibration)

    def with_last_part(
        self, whole: tuple[Candidate, ...], before: Sequence[Segment], last: Sequence[Segment]
    ) -> tuple[Candidate, ...]:
        """The candidates of the ``whole``, interpolated with those of its ``last`` part alone."""
        pause = before[-1].offset or 0
        first = max(pause, last[0].onset - self._around)
        stop = len(self._samples) if last[-1].offset is None else last[-1].offset + self._around
        alone = self.candidates(self.hypotheses(first, stop))
        if not alone:
            return whole
        first = max(0, before[0].onset - self._around)
        stop = min(last[0].onset, pause + self._around)
        return interpolated(whole, alone, self._continues(self.hypotheses(first, stop)))

    def _continues(self, before: Sequence[Hypothesis]) -> float:
        """The probability that what follows the part ``before`` continues a number."""
        if before and self._numbers.expects_more(before[0].text):
            return 1.0
        return number_probability(before, self._numbers, self._decoder.calibration)


class AnswerListener:
    """One answer being heard."""

    def __init__(self, recognizer: AnswerRecognizer, lowest: int, highest: int) -> None:
        self._recognizer = recognizer
        self._lowest = lowest
        self._highest = highest
        self._numbers = recognizer.numbers(lowest, highest)
        self._detector = VoiceDetector(recognizer.sample_rate)
        self._step = round(STEP_S * recognizer.sample_rate)
        self._closed = int(recognizer.rule.closed_s * recognizer.sample_rate)
        self._parts: list[Samples] = []
        self._looked = 0  # parts that the detector has
        self.position = 0
        """Samples taken."""
        self._heard: _Heard | None = None

    @property
    def speaking(self) -> bool:
        """Whether a voice has begun and not yet ended."""
        self._look()
        return self._detector.speaking

    @property
    def at_once(self) -> int:
        """Samples up to the next step at which the answer could be complete. (Looking for a voice
        at every step would cost several times as much.)"""
        due = max(self.position + 1, min(self._over_at(), self._detector.wants(self._closed)))
        return -(-due // self._step) * self._step - self.position

    def _over_at(self) -> int:
        """The position at which what was heard becomes an answer if no more voice comes; NEVER if
        that was told already, or nothing was heard."""
        quiet_since = self._detector.quiet_since
        if quiet_since is None:
            return NEVER
        if self._heard is None or self._heard.quiet_since != quiet_since:
            return quiet_since + self._closed
        if self._heard.told:
            return NEVER
        return quiet_since + int(self._heard.quiet_s * self._recognizer.sample_rate)

    def feed(self, samples: Samples) -> Hearing | None:
        """Take the next samples (n,); the final hearing as soon as the answer is complete."""
        at = 0
        while at < len(samples):  # steps on the stream's own grid, however it comes in
            at_once = self.at_once
            part = samples[at : at + at_once]
            self._parts.append(part)
            self.position += len(part)
            at += at_once
            if len(part) == at_once:
                self._look()
                final = self._ended()
                if final is not None:
                    return final
        return None

    def finish(self) -> Hearing:
        """The stream is over: what was heard so far."""
        self._look()
        self._detector.close()
        quiet_since = self._detector.quiet_since
        if self._heard is not None and self._heard.quiet_since == quiet_since:
            return self._heard.hearing
        return self._hearing()

    def _look(self) -> None:
        """Give the detector what it has not had yet."""
        parts, self._looked = self._parts[self._looked :], len(self._parts)
        if parts:
            self._detector.feed(np.concatenate(parts))

    def _hearing(self) -> Hearing:
        segments = self._detector.segments
        sound = np.concatenate(self._parts) if self._parts else np.zeros(0, np.float32)
        if not segments:  # unless the voice fills the stream from its first moment on
            return self._recognizer.hear(sound, self._lowest, self._highest)
        return self._recognizer.hear_segments(sound, segments, self._lowest, self._highest)

    def _ended(self) -> Hearing | None:
        quiet_since, rule = self._detector.quiet_since, self._recognizer.rule
        if quiet_since is None:
            return None
        quiet_s = (self._detector.position - quiet_since) / self._recognizer.sample_rate
        if quiet_s < rule.closed_s:
            return None
        if self._heard is None or self._heard.quiet_since != quiet_since:
            hearing = self._hearing()
            growth = self._numbers.growth(hearing.words)
            self._heard = _Heard(quiet_since, hearing, rule.quiet_s(hearing, growth))
        self._heard.told = quiet_s >= self._heard.quiet_s
        return self._heard.hearing if self._heard.told else None


@dataclass
class _Heard:
    """What was heard up to ``quiet_since``, and the seconds of quiet that make it an answer;
    ``told``: it was given as one."""

    quiet_since: int
    hearing: Hearing
    quiet_s: float
    told: bool = False
