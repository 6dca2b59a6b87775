from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile

from oralquiz.beads import Sum
from oralquiz.errors import AudioError, BadInput
from oralquiz.sound.clip import Clip, Samples
from oralquiz.speak.dictation import dictate
from oralquiz.speak.loudness import loudness
from oralquiz.speak.own_voice import (
    OwnVoice,
    complaint,
    keep_word,
    needed_words,
    own_folder,
    own_voices,
    words_of,
)
from oralquiz.speak.voices import language_of, open_voice
from tests.speak.sounds import FakeVoice, tone

RATE = 16_000


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path))


def take(word: str = "seven", loud: float = 1.0) -> Samples:
    """Half a second of the word in a room that hisses, with a third of a second of quiet around
    it."""
    hiss = 1e-4 * np.random.default_rng(1).standard_normal(round(1.2 * RATE))
    sound = hiss.astype(np.float32)
    word_sound = tone(0.5, RATE, 100 + 20 * len(word))
    sound[round(0.33 * RATE) : round(0.33 * RATE) + len(word_sound)] += loud * word_sound
    return sound


def record(name: str, words: tuple[str, ...], language: str = "en") -> None:
    for word in words:
        keep_word(name, language, word, Clip(take(word), RATE))


def test_a_few_dozen_words_dictate_everything_in_english() -> None:
    words = needed_words("en")
    assert len(words) == 32
    assert words[:3] == ("zero", "one", "two")
    assert {"plus", "minus", "add", "take away", "ninety"} <= set(words)
    assert "hundred" not in words
    assert {"hundred", "and"} <= set(needed_words("en", 999))


def test_a_language_of_one_word_numbers_needs_each() -> None:
    assert "vierunddreißig" in needed_words("de")
    assert len(needed_words("de")) >= 100


def test_a_recorded_voice_dictates() -> None:
    record("frau-bauer", needed_words("en"))
    assert own_voices() == ("frau-bauer",)
    voice = open_voice("own:frau-bauer")
    assert isinstance(voice, OwnVoice)
    assert (voice.name, voice.language, voice.missing()) == ("own:frau-bauer", "en", ())
    assert language_of("own:frau-bauer") == "en"
    dictation = dictate(Sum((34, 13, -22)), voice, pace=2.0, sample_rate=RATE)
    assert [term.onset - dictation.start for term in dictation.terms] == [0, 32_000, 64_000]
    # plus thirteen: two words of half a second and the quiet between them
    term = dictation.terms[1]
    assert (term.offset - term.onset) / RATE == pytest.approx(1.03, abs=0.02)


def test_words_recorded_at_different_loudness_are_said_equally_loud() -> None:
    keep_word("ann", "en", "two", Clip(take("two", 0.1), RATE))
    keep_word("ann", "en", "six", Clip(take("six", 1.0), RATE))
    voice = OwnVoice("ann")
    assert loudness(voice.say("two")) == pytest.approx(loudness(voice.say("six")), abs=0.3)


def test_the_longest_recorded_piece_is_taken() -> None:
    record("ann", ("take away", "two", "twenty", "twenty two"))
    voice = OwnVoice("ann")
    in_one_piece = voice.say("take away twenty-two").seconds
    assert in_one_piece == pytest.approx(2 * 0.5 + 0.03, abs=0.02)


def test_a_word_that_is_missing_is_named_with_the_way_out() -> None:
    record("ann", ("two",))
    with pytest.raises(AudioError, match="has not recorded 'thirty': `oralquiz voice record ann`"):
        OwnVoice("ann").say("thirty-two")
    assert "thirty" in OwnVoice("ann").missing()


def test_a_word_can_be_recorded_again() -> None:
    record("ann", ("two", "three"))
    keep_word("ann", "en", "two", Clip(take("a much longer word"), RATE))
    assert OwnVoice("ann").words == ("two", "three")
    assert len(list((own_folder() / "ann").glob("*.flac"))) == 2


@pytest.mark.parametrize(
    ("samples", "message"),
    [
        (take(), None),
        (np.zeros(RATE, np.float32), "nothing was heard"),
        (take(loud=0.02), "too quiet"),
        (np.clip(take(loud=8), -1, 1), "overloaded"),
        (take()[round(0.33 * RATE) :], "cut off"),
        (take()[: round(0.7 * RATE)], "cut off"),
        (np.tile(take(), 4)[: round(4.5 * RATE)], "too long"),
        (
            take() + 0.1 * np.random.default_rng(2).standard_normal(round(1.2 * RATE)),
            "too much noise|cut off",
        ),
    ],
)
def test_a_bad_take_is_described_in_words(samples: Samples, message: str | None) -> None:
    told = complaint(samples.astype(np.float32), RATE)
    if message is None:
        assert told is None
    else:
        assert told is not None
        assert any(told.startswith(start) for start in message.split("|"))


@pytest.mark.parametrize("name", ["", "../elsewhere", "a b", "x" * 41])
def test_a_name_that_cannot_be_a_folder_name_is_refused(name: str) -> None:
    with pytest.raises(BadInput, match="cannot be the name of a voice"):
        keep_word(name, "en", "two", Clip(take(), RATE))


def test_one_voice_speaks_one_language() -> None:
    record("ann", ("two",))
    with pytest.raises(BadInput, match="own:ann speaks en, not de"):
        keep_word("ann", "de", "zwei", Clip(take(), RATE))


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("{", "not the index of a voice"),
        ('{"schema": 99}', "not the index of a voice that this version can read"),
        ('{"schema": 1, "language": "en", "words": {}}', "must have language and words"),
        (
            json.dumps({"schema": 1, "language": "en", "words": {"two": "../../secret.flac"}}),
            "'two' has no file in this folder",
        ),
    ],
)
def test_a_broken_index_is_named(content: str, message: str) -> None:
    record("ann", ("two",))
    (own_folder() / "ann" / "voice.json").write_text(content)
    with pytest.raises(BadInput, match=message):
        OwnVoice("ann")


def test_a_broken_or_missing_word_is_named() -> None:
    record("ann", ("two", "three"))
    (own_folder() / "ann" / "001.flac").write_bytes(b"fLaC and nothing else")
    with pytest.raises(AudioError, match=r"001\.flac: cannot be read"):
        OwnVoice("ann").say("two")
    with pytest.raises(BadInput, match="no recorded voice 'bob': there are ann"):
        OwnVoice("bob")


def test_words_are_kept_as_lossless_files_that_anybody_can_open() -> None:
    record("ann", ("two",))
    info = soundfile.info(own_folder() / "ann" / "000.flac")
    assert (info.format, info.subtype, info.samplerate) == ("FLAC", "PCM_16", RATE)


def test_words_of_a_phrase() -> None:
    assert words_of("Plus thirty-four") == ("plus", "thirty", "four")
    assert words_of("treinta y cuatro") == ("treinta", "y", "cuatro")


def test_any_voice_can_be_recorded_from() -> None:
    for word in ("plus", "five"):
        keep_word("copy", "en", word, FakeVoice(RATE).say(word))
    assert OwnVoice("copy").say("plus five").seconds == pytest.approx(0.43, abs=0.03)
