from __future__ import annotations

import contextlib
import json
from pathlib import Path

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from oralquiz.audio.devices import SoundDevice
from oralquiz.cli.voice import voice
from oralquiz.errors import AudioError, BadInput
from oralquiz.listen.models import find_model
from oralquiz.records.database import open_records
from oralquiz.records.lent_recordings import lend, lends, lent_numbers
from oralquiz.records.pupil_list import add_pupil, find_pupil
from oralquiz.sound.clip import Clip
from oralquiz.sound.sound_files import read_recording
from oralquiz.speak.own_voice import OwnVoice, needed_words
from oralquiz.speak.voices import open_voice

pytestmark = pytest.mark.slow


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path / "home"))


def run(*args: str, code: int = 0) -> str:
    result = CliRunner().invoke(voice, args)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code == code, result.output
    return result.output


def write_words(folder: Path, words: tuple[str, ...]) -> None:
    """The words in the engine's voice, with quiet around them, as a teacher's files would be."""
    folder.mkdir()
    speaker = open_voice("engine:gmw/en-us+klatt6")
    quiet = 1e-4 * np.random.default_rng(0).standard_normal(6000)
    for word in words:
        clip = speaker.say(word)
        sound = np.concatenate([quiet, 0.5 * clip.samples / np.abs(clip.samples).max(), quiet])
        soundfile.write(folder / f"{word.replace(' ', '_')}.wav", sound, clip.sample_rate)


def test_the_list_begins_with_the_voices_that_dictate_well() -> None:
    every = json.loads(run("list", "--json"))["voices"]
    assert {"name", "about", "languages"} <= set(every[0])
    shown = run("list")
    assert shown.index("engine:gmw/en-us+edward") < shown.index("engine:gmw/de")
    assert "engine:gmw/en-gb-x-rp+edward" in shown  # whole, though the screen is narrow
    assert "99%" in shown
    assert "engine:gmw/en-us " not in shown  # measured, and not understood well
    assert "Afrikaans" not in shown  # nothing is dictated in this language
    assert f"{len(every) - 16} more: oralquiz voice list --all" in shown
    whole = run("list", "--all")
    assert "engine:gmw/en-us " in whole and "80%" in whole and "Afrikaans" in whole
    assert "more:" not in whole


def test_a_language_without_a_usual_voice_lists_those_there_are() -> None:
    assert "Afrikaans" in run("list", "--language", "af")


def test_the_list_can_be_narrowed_to_a_language() -> None:
    entries = json.loads(run("list", "--language", "pt-BR", "--json"))["voices"]
    assert [entry["name"] for entry in entries] == ["engine:roa/pt-br"]
    assert "engine:gmw/de" in run("list", "--language", "de")
    with pytest.raises(BadInput, match="no voice speaks 'xx'"):
        run("list", "--language", "xx")


def test_a_voice_can_be_tried_into_a_file(tmp_path: Path) -> None:
    out = tmp_path / "try.wav"
    run("try", "engine:ko", "--out", str(out))
    assert soundfile.info(out).duration > 4  # three terms at 2 s
    run("try", "--text", "forty-two", "--out", str(out))
    assert 0.4 < soundfile.info(out).duration < 1.5


def test_trying_aloud_plays_it(monkeypatch: pytest.MonkeyPatch) -> None:
    played: list[Clip] = []
    monkeypatch.setattr("oralquiz.audio.say_aloud", lambda clip, speaker: played.append(clip))
    run("try", "--text", "seven")
    assert [round(clip.seconds, 1) > 0 for clip in played] == [True]


def test_phrases_show_the_table_and_where_to_change_it(tmp_path: Path) -> None:
    shown = run("phrases", "--language", "de")
    assert 'plus_minus = ["plus {n}", "minus {n}"]' in shown
    assert str(tmp_path / "home") in shown
    facts = json.loads(run("phrases", "--json"))
    assert facts["phrases"]["closing"] == "equals"
    # what is shown can be edited and put in that place unchanged
    table = Path(facts["file"])
    table.parent.mkdir(parents=True, exist_ok=True)
    table.write_text(shown.replace("ist gleich", "macht"), encoding="utf-8")
    assert json.loads(run("phrases", "--language", "de", "--json"))["phrases"]["closing"] == "macht"


def test_a_voice_is_made_from_files_and_dictates(tmp_path: Path) -> None:
    write_words(tmp_path / "words", needed_words("en"))
    shown = run("record", "frau-bauer", "--from", str(tmp_path / "words"), "--no-check")
    assert "own:frau-bauer is complete" in shown
    out = tmp_path / "try.wav"
    run("try", "own:frau-bauer", "--out", str(out))
    assert soundfile.info(out).duration > 4
    entries = json.loads(run("list", "--language", "en", "--json"))["voices"]
    assert entries[0]["name"] == "own:frau-bauer"
    assert entries[0]["about"] == "recorded, 32 words"


def test_what_is_missing_is_reported_and_added_later(tmp_path: Path) -> None:
    words = needed_words("en")
    write_words(tmp_path / "some", words[:30])
    shown = run("record", "ann", "--from", str(tmp_path / "some"), "--no-check", code=1)
    assert f"still missing: {words[30]}, {words[31]}" in shown
    write_words(tmp_path / "rest", words[30:])
    run("record", "ann", "--from", str(tmp_path / "rest"), "--no-check")
    assert OwnVoice("ann").missing() == ()


def test_a_bad_file_is_named_and_the_others_are_kept(tmp_path: Path) -> None:
    write_words(tmp_path / "words", ("one", "two", "three"))
    soundfile.write(tmp_path / "words" / "two.wav", np.zeros(9000), 16_000)
    shown = run("record", "ann", "--from", str(tmp_path / "words"), "--no-check", code=1)
    assert "two.wav: nothing was heard" in shown
    assert OwnVoice("ann").words == ("one", "three")
    (tmp_path / "words" / "four.wav").write_bytes(b"no sound")
    with pytest.raises(BadInput, match=r"four\.wav: cannot be read as sound"):
        run("record", "ann", "--from", str(tmp_path / "words"), "--no-check")


def test_a_word_that_is_heard_as_another_is_refused(tmp_path: Path) -> None:
    write_words(tmp_path / "words", ("nine", "two"))
    (tmp_path / "words" / "nine.wav").replace(tmp_path / "words" / "six.wav")
    shown = run("record", "ann", "--from", str(tmp_path / "words"), code=1)
    assert "six.wav: it was heard as" in shown
    assert "six" not in OwnVoice("ann").words


def test_recording_without_a_sound_card_is_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    def none() -> list[SoundDevice]:
        return []

    monkeypatch.setattr("oralquiz.audio.sound_card.sound_devices", none)
    with pytest.raises(AudioError, match="no loudspeaker"):
        run("record", "ann", "--no-check")


def test_a_voice_is_lent_only_after_a_yes_and_copied_into_a_set(tmp_path: Path) -> None:
    db = open_records()
    add_pupil(db, "Asha", created="2026-01-05T09:00:00+00:00", consent=True)
    refused = CliRunner().invoke(voice, ["lend", "Asha"], input="n\n")
    assert refused.exit_code == 1 and "no name goes with them" in refused.output
    assert not lends("Asha")
    assert "has lent 0 numbers" in run("lend", "Asha", "--yes", "--answers-only")
    lend(find_pupil(db, "Asha"), 42, np.full(8000, 0.5, np.float32))
    assert "1 recording of 1 speaker" in run("lent", "--to", str(tmp_path / "set"))


def test_what_is_recorded_to_be_lent_is_checked_and_not_asked_for_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    quiet = 1e-4 * np.random.default_rng(0).standard_normal(6000)
    said = read_recording(find_model().path / "self_test" / "13.flac", 16_000)
    takes = [np.zeros(8000, np.float32), np.concatenate([quiet, said, quiet]).astype(np.float32)]
    monkeypatch.setattr("oralquiz.audio.SoundCard", lambda *names: contextlib.nullcontext())
    monkeypatch.setattr("oralquiz.audio.record_one_word", lambda card: takes.pop(0))
    monkeypatch.setattr("oralquiz.records.NUMBERS", (13,))
    add_pupil(open_records(), "Asha", created="2026-01-05T09:00:00+00:00", consent=True)
    shown = run("lend", "Asha", "--yes")
    assert "1/1   13" in shown and "nothing was heard" in shown
    assert "Asha has lent 1 number" in shown and lent_numbers("Asha") == {13}
    assert "1/1" not in run("lend", "Asha")
