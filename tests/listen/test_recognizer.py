"""The recogniser around a scripted decoder: its clock and its end rule; and the shipped model."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from oralquiz.listen.decoder import Decoder
from oralquiz.listen.end_of_speech import EndRule
from oralquiz.listen.hearing import Hearing
from oralquiz.listen.hypothesis import Hypothesis, Word
from oralquiz.listen.language import find_language
from oralquiz.listen.models import find_model
from oralquiz.listen.posterior import Calibration
from oralquiz.listen.recognizer import AnswerRecognizer, open_recognizer
from oralquiz.listen.voice_detector import VoiceDetector
from oralquiz.sound.sound_files import read_recording
from tests.listen.rooms import RATE, Samples, noise

RULE = EndRule(closed_s=0.16, digits_s=0.26, open_s=0.5, other_s=2.0)


class ScriptedDecoder:
    """Hears the first of ``texts`` in whatever is said, then the next each time it decodes.

    ``times``: when the words start, in seconds. This is all that a new recogniser needs.
    """

    name = "scripted 1"
    sample_rate = RATE
    language = find_language("en")
    limits = (0, 99)
    unknown = frozenset({"[unk]"})
    calibration = Calibration()

    def __init__(self, *texts: str, times: tuple[float, ...] = ()) -> None:
        self.texts = list(texts)
        self.times = times
        self.lengths: list[int] = []

    def load(self, lowest: int, highest: int) -> None:
        self.loaded = (lowest, highest)

    def decode(self, samples: Samples, lowest: int, highest: int) -> list[Hypothesis]:
        self.lengths.append(len(samples))
        words = (self.texts.pop(0) if len(self.texts) > 1 else self.texts[0]).split()
        starts = self.times or (0.3,) * len(words)
        timed = (Word(word, at, at + 0.2) for word, at in zip(words, starts, strict=False))
        return [Hypothesis(tuple(timed), 0.0)]


def scripted(*texts: str, times: tuple[float, ...] = ()) -> AnswerRecognizer:
    return AnswerRecognizer(ScriptedDecoder(*texts, times=times), RULE)


def test_any_decoder_makes_a_recogniser() -> None:
    decoder = ScriptedDecoder("forty two")
    anything: Decoder = decoder
    recognizer = AnswerRecognizer(anything)
    recognizer.load(0, 20)
    assert decoder.loaded == (0, 20)
    assert (recognizer.name, recognizer.sample_rate) == ("scripted 1", RATE)
    assert recognizer.limits == (0, 99)
    assert recognizer.hear(say((1.0, 1.5)), 0, 99).value == 42


def say(*spans_s: tuple[float, float], seconds: float = 6.0) -> Samples:
    """A quiet room with a buzz during each of the spans (start, end), in seconds."""
    sound = noise(seconds, -70)
    for begin, end in spans_s:
        first, last = round(begin * RATE), round(end * RATE)
        phase = np.arange(last - first) * 150 / RATE % 1
        sound[first:last] += ((phase - 0.5) * 0.3).astype(np.float32)
    return sound


def hear(recognizer: AnswerRecognizer, sound: Samples, block: int = 320) -> tuple[float, Hearing]:
    """When the final hearing came, in seconds, and what it was."""
    listener = recognizer.listen(0, 99)
    for at in range(0, len(sound), block):
        final = listener.feed(sound[at : at + block])
        if final is not None:
            return (at + block) / RATE, final
    return len(sound) / RATE, listener.finish()


@pytest.mark.parametrize(
    ("text", "value", "quiet_s"),
    [
        ("forty two", 42, 0.16),
        ("thirteen", 13, 0.16),
        ("zero", 0, 0.16),
        ("four", 4, 0.26),  # may still become "four two"
        ("forty", 40, 0.5),
        ("[unk]", None, 2.0),
        ("", None, 2.0),
        ("one hundred", None, 2.0),  # no number of the range
    ],
)
def test_an_answer_ends_by_what_it_can_still_become(
    text: str, value: int | None, quiet_s: float
) -> None:
    when_s, heard = hear(scripted(text), say((1.0, 1.5)))
    assert heard.value == value
    assert heard.words == text
    assert heard.onset_s == pytest.approx(1.0, abs=0.01)
    assert heard.offset_s == pytest.approx(1.5, abs=0.02)
    assert when_s - 1.5 == pytest.approx(quiet_s, abs=0.04)


def test_a_pause_inside_a_number() -> None:
    when_s, heard = hear(scripted("forty", "forty two"), say((1.0, 1.3), (1.7, 2.0)))
    assert heard.value == 42
    assert (heard.onset_s, heard.offset_s) == pytest.approx((1.0, 2.0), abs=0.02)
    assert when_s == pytest.approx(2.16, abs=0.04)


def test_hesitation_before_the_number() -> None:
    recognizer = scripted("[unk]", "[unk] forty two")
    when_s, heard = hear(recognizer, say((1.0, 1.3), (2.5, 3.0)))
    assert heard.value == 42
    assert when_s == pytest.approx(3.16, abs=0.04)


@pytest.mark.parametrize(
    ("spans", "text", "times", "onset_s"),
    [
        # times count from 0.3 s before the first voice, where decoding starts
        (((1.0, 1.3), (2.5, 3.0)), "[unk] forty two", (0.3, 1.83, 2.0), 2.5),
        (((1.0, 2.0),), "[unk] forty two", (0.3, 0.9, 1.1), 1.6),  # without a pause
        (
            ((1.0, 1.6),),
            "[unk] forty two",
            (0.3, 0.4, 0.6),
            1.0,
        ),  # a first sound taken for other speech
        (((1.0, 1.5), (2.0, 3.0)), "forty two [unk] forty five", (0.3, 0.5, 1.3, 1.72, 1.9), 2.42),
        (((1.0, 1.5), (2.0, 2.1)), "forty two [unk]", (0.3, 0.5, 1.3), 1.0),
    ],
)
def test_the_onset_is_that_of_the_number_that_counts(
    spans: tuple[tuple[float, float], ...], text: str, times: tuple[float, ...], onset_s: float
) -> None:
    recognizer = scripted(text, times=times)
    assert recognizer.hear(say(*spans), 0, 99).onset_s == pytest.approx(onset_s, abs=0.02)


def test_silence_is_not_a_voice() -> None:
    decoder = ScriptedDecoder("forty two")
    when_s, heard = hear(AnswerRecognizer(decoder), say())
    assert (when_s, heard) == (6.0, Hearing((), "", None, None))
    assert decoder.lengths == []  # nobody spoke, so nothing was decoded


def test_a_stream_that_ends_in_the_middle_of_the_voice() -> None:
    when_s, heard = hear(scripted("forty two"), say((1.0, 1.5))[:22_400])
    assert heard.value == 42
    assert (when_s, heard.offset_s) == pytest.approx((1.4, 1.4), abs=0.01)


def test_only_the_voice_and_a_little_before_is_decoded() -> None:
    decoder = ScriptedDecoder("forty two")
    hear(AnswerRecognizer(decoder, RULE), say((4.0, 4.5)))
    assert decoder.lengths[-1] / RATE == pytest.approx(0.3 + 0.5 + 0.16, abs=0.05)


@pytest.mark.parametrize("block", [1, 77, 320, 1000, 16_000, 200_000])
def test_blocks_do_not_matter(block: int) -> None:
    sound = say((1.0, 1.5), (1.9, 2.1), seconds=3.0)
    assert (
        hear(scripted("forty", "forty two"), sound, block)[1]
        == hear(scripted("forty", "forty two"), sound)[1]
    )


def looked_at_always(texts: Sequence[str], sound: Samples) -> tuple[float, Hearing]:
    """The same as ``hear``, looking for a voice at every step."""
    recognizer, detector = scripted(*texts), VoiceDetector(RATE)
    numbers, heard = recognizer.numbers(0, 99), {}
    for at in range(320, len(sound) + 1, 320):
        detector.feed(sound[at - 320 : at])
        quiet_since = detector.quiet_since
        if quiet_since is None or (at - quiet_since) / RATE < RULE.closed_s:
            continue
        if quiet_since not in heard:
            segments = detector.segments
            heard[quiet_since] = recognizer.hear_segments(sound[:at], segments, 0, 99)
        hearing = heard[quiet_since]
        if (at - quiet_since) / RATE >= RULE.quiet_s(hearing, numbers.growth(hearing.words)):
            return at / RATE, hearing
    raise AssertionError("it never ended")


@pytest.mark.parametrize("seed", range(12))
def test_looking_only_when_an_answer_could_be_over_finds_nothing_later(seed: int) -> None:
    rng = np.random.default_rng(seed)
    ends = np.cumsum(rng.uniform(0.02, 0.5, 2 * rng.integers(1, 6))) + rng.uniform(0, 3.3)
    loud = noise(0.3, -35) if seed % 3 == 0 else noise(0.0, -35)  # a room that quietens
    sound = say(*zip(ends[::2].tolist(), ends[1::2].tolist(), strict=True), seconds=9.0)
    sound[: len(loud)] += loud
    texts = rng.choice(["forty", "forty two", "four", "", "[unk]"], 6).tolist()
    listener, at = scripted(*texts).listen(0, 99), 0
    while (final := listener.feed(sound[at : at + listener.at_once])) is None:
        at = listener.position
    assert (listener.position / RATE, final) == looked_at_always(texts, sound)


def test_a_room_without_voice_is_looked_at_a_few_times_a_second() -> None:
    listener, looks = scripted("forty").listen(0, 99), 0
    while listener.position < 5 * RATE:
        listener.feed(noise(listener.at_once / RATE, -70))
        looks += 1
    assert looks <= 5 * 10


def test_speaking_while_the_voice_goes_on() -> None:
    listener = scripted("forty two").listen(0, 99)
    sound = say((1.0, 1.5))
    said = []
    for at in range(0, len(sound), 320):
        if listener.feed(sound[at : at + 320]) is not None:
            break
        said.append(listener.speaking)
    assert said.index(True) * 0.02 == pytest.approx(1.05, abs=0.06)
    assert not said[-1]


def test_the_model_hears_the_same_twice() -> None:
    recognizer = open_recognizer()
    sound = say((0.5, 0.9), (1.0, 1.4), seconds=2.0)
    first = recognizer.hear(sound, 0, 99)
    assert recognizer.hear(sound, 0, 99) == first
    assert recognizer.name.startswith("number-en")
    assert recognizer.sample_rate == RATE


@pytest.mark.parametrize(("highest", "value"), [(99, None), (999, 605), (9999, 605)])
def test_a_number_beyond_the_range_is_not_taken_for_its_end(
    highest: int, value: int | None
) -> None:
    recognizer = open_recognizer()
    clip = find_model().path / "self_test" / "605.flac"
    heard = recognizer.hear(read_recording(clip, RATE), 0, highest)
    assert (heard.value, heard.words) == (value, "six hundred and five")
