from __future__ import annotations

import os
import signal
import time
from pathlib import Path

import numpy as np
import pytest

from oralquiz.errors import AudioError, BadInput
from oralquiz.speak import clip_cache as keep
from oralquiz.speak.engine import Engine
from oralquiz.speak.measured_voices import UNDERSTOOD
from oralquiz.speak.phrase_book import languages, phrases
from oralquiz.speak.voices import EngineVoice, list_voices, open_voice, pupil_voices

pytestmark = pytest.mark.slow


@pytest.fixture
def fresh_cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path))
    return tmp_path


def clips(folder: Path) -> list[Path]:
    return sorted(folder.rglob("*.wav"))


def test_the_default_voice_speaks_after_pip_install_alone(fresh_cache: Path) -> None:
    clip = open_voice().say("forty-two")
    assert 0.4 < clip.seconds < 1.5
    assert clip.sample_rate == 22_050
    assert np.abs(clip.samples).max() > 0.05


def test_a_phrase_is_rendered_once_and_then_kept(
    fresh_cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first = open_voice().say("seven")
    assert len(clips(fresh_cache)) == 1

    def no_engine(self: Engine, text: str) -> bytes:
        raise AssertionError(f"'{text}' was rendered again")

    monkeypatch.setattr(Engine, "render", no_engine)
    np.testing.assert_array_equal(open_voice().say("seven").samples, first.samples)


@pytest.mark.parametrize(
    "other", [lambda: open_voice(rate=200), lambda: open_voice("engine:gmw/en-gb-scotland")]
)
def test_another_rate_or_voice_is_another_clip(fresh_cache: Path, other: object) -> None:
    assert callable(other)
    first, second = open_voice().say("seven"), other().say("seven")
    assert len(clips(fresh_cache)) == 2
    assert len(first.samples) != len(second.samples)


def test_a_damaged_clip_is_rendered_again(fresh_cache: Path) -> None:
    first = open_voice().say("seven")
    clips(fresh_cache)[0].write_bytes(b"RIFF, but not really")
    np.testing.assert_allclose(open_voice().say("seven").seconds, first.seconds, atol=0.01)


def test_a_cache_that_cannot_be_written_costs_nothing_but_time(
    fresh_cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    blocked = fresh_cache / "file"
    blocked.write_text("not a folder")
    monkeypatch.setattr(keep, "clip_cache", lambda: blocked / "clips")
    assert open_voice().say("seven").seconds > 0.2


def test_a_worker_that_dies_is_replaced() -> None:
    engine = Engine("gmw/en-us", 150)
    assert len(engine.render("one")) > 1000
    assert engine.pid is not None
    os.kill(engine.pid, signal.SIGKILL)
    assert len(engine.render("two")) > 1000
    engine.close()


def test_a_worker_that_nobody_needs_ends_and_the_next_phrase_starts_another() -> None:
    engine = Engine("gmw/en-us", 150, idle_s=0.01)
    for phrase in ("one", "two"):
        assert len(engine.render(phrase)) > 1000
        until = time.monotonic() + 60
        while engine.running and time.monotonic() < until:
            time.sleep(0.01)
        assert not engine.running


def test_the_engine_lists_its_voices() -> None:
    ids = {voice["id"] for voice in Engine(None, 150).voices()}
    assert {"gmw/en-us", "roa/es", "ko"} <= ids


def test_every_language_has_its_usual_voice_in_the_list_once() -> None:
    entries = list_voices()
    usual = {entry.name for entry in entries if entry.usual}
    assert usual == {f"engine:{phrases(code).engine}" for code in languages()}
    assert len({entry.name for entry in entries}) == len(entries)
    assert all(entry.suggested for entry in entries if entry.usual)


def test_what_was_measured_is_a_voice_that_can_be_opened() -> None:
    for name in UNDERSTOOD:
        if not name.startswith("neural:"):
            assert len(open_voice(name).say("seven").samples) > 1000


def test_a_voice_measured_to_be_misunderstood_is_not_suggested() -> None:
    entries = {entry.name: entry for entry in list_voices()}
    assert entries["engine:gmw/en-us+edward"].suggested
    assert not entries["engine:gmw/en-us"].suggested


def test_a_voice_the_engine_does_not_have_is_one_clear_line(fresh_cache: Path) -> None:
    with pytest.raises(AudioError, match="voice engine:nowhere cannot say 'one'") as trouble:
        EngineVoice("nowhere").say("one")
    assert "\n" not in str(trouble.value)


@pytest.mark.parametrize("name", ["gmw/en", "engine:", "tape:2"])
def test_a_name_that_is_not_a_voice_is_refused(name: str) -> None:
    with pytest.raises(BadInput, match="is not a voice: see the names in `oralquiz voice list`"):
        open_voice(name)


def test_pupils_differ_from_one_another_and_from_the_reader() -> None:
    everybody = [open_voice(), *pupil_voices()]
    assert len(everybody) >= 5
    assert len({voice.name for voice in everybody}) == len(everybody)
    lengths = {round(voice.say("forty-two").seconds, 3) for voice in everybody}
    assert len(lengths) >= len(everybody) - 1
