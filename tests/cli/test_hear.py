"""`oralquiz hear` and `oralquiz models`, as a teacher's script would call them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner, Result

from oralquiz.cli import main
from oralquiz.listen.models import find_model

pytestmark = pytest.mark.slow

CLIPS = Path(__file__).parent.parent / "listen" / "data" / "clips"
KEYS = {
    "file",
    "value",
    "words",
    "confidence",
    "onset_s",
    "offset_s",
    "alternatives",
    "decode_s",
    "error",
}


def run(*args: str | Path) -> Result:
    return CliRunner().invoke(main, [str(arg) for arg in args])


def lines(result: Result) -> list[dict[str, Any]]:
    return [json.loads(line) for line in result.stdout.splitlines()]


def test_one_line_a_file_in_order_with_every_key() -> None:
    files = sorted(CLIPS.glob("*_*.*"))
    result = run("hear", *files)
    assert result.exit_code == 0
    heard = lines(result)
    assert [line["file"] for line in heard] == [str(file) for file in files]
    for line in heard:
        assert set(line) == KEYS
        assert line["error"] is None
        assert 0 <= line["confidence"] <= 1
        assert 0 <= line["onset_s"] < line["offset_s"]
        assert line["decode_s"] > 0
        sure = [line["confidence"], *(other["confidence"] for other in line["alternatives"])]
        assert sure == sorted(sure, reverse=True)
        assert sum(sure) <= 1.0001
        values = [line["value"], *(other["value"] for other in line["alternatives"])]
        assert len(set(values)) == len(values)


def test_the_file_is_named_as_it_was_given(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(CLIPS)
    (line,) = lines(run("hear", "./fsdd_2_lucas_1.wav", "--json"))
    assert line["file"] == "./fsdd_2_lucas_1.wav"


def test_a_bad_file_gets_one_line_and_the_others_are_heard(tmp_path: Path) -> None:
    good = CLIPS / "digits_in_7_06.flac"
    empty, text, silent = tmp_path / "empty.wav", tmp_path / "text.flac", tmp_path / "silent.wav"
    empty.touch()
    text.write_text("seven")
    soundfile.write(silent, np.zeros(16_000), 16_000)
    result = run("hear", empty, good, text, silent, tmp_path / "none.wav", tmp_path, good)
    assert result.exit_code == 1
    assert result.stderr == ""
    heard = lines(result)
    assert [line["error"] for line in heard] == [
        "empty file",
        None,
        "cannot be read as sound: Format not recognised",
        "silent: every sample is zero",
        "no such file",
        "a folder, not a recording",
        None,
    ]
    assert heard[0]["value"] is None
    assert heard[0]["words"] == ""
    assert heard[0]["alternatives"] == []
    assert heard[1] | {"decode_s": 0} == heard[6] | {"decode_s": 0}


def test_a_damaged_recording_gets_one_line(tmp_path: Path) -> None:
    """A float file with one sample far beyond full scale; a file without a header."""
    huge, headless = tmp_path / "huge.aud", tmp_path / "headless.raw"
    sound = np.random.default_rng(1).normal(0, 0.1, 4000)
    sound[2000] = 1e38
    soundfile.write(huge, sound, 8000, subtype="FLOAT", format="WAV")
    headless.write_bytes(bytes(4000))
    result = run("hear", huge, headless)
    assert result.exit_code == 1
    beyond, unknown = (line["error"] for line in lines(result))
    assert beyond == "holds samples of 1e+38, where full scale is 1"
    assert unknown.startswith("cannot be read as sound: ")


def test_a_quiet_room_is_neither_a_number_nor_an_error(tmp_path: Path) -> None:
    room = tmp_path / "room.wav"
    soundfile.write(room, np.random.default_rng(1).normal(0, 0.001, 48_000), 16_000)
    result = run("hear", room)
    assert result.exit_code == 0
    (line,) = lines(result)
    assert (line["value"], line["words"], line["onset_s"], line["error"]) == (None, "", None, None)


@pytest.mark.parametrize(
    ("arguments", "line"),
    [
        (["hear"], "Missing argument 'FILE...'"),
        (["hear", "x.wav", "--range", "many"], "'many' is not a range such as 0..99"),
        (["hear", "x.wav", "--range", "9..0"], "'9..0' ends before it begins"),
        (["hear", "x.wav", "--loud"], "No such option"),
    ],
)
def test_bad_usage(arguments: list[str], line: str) -> None:
    result = run(*arguments)
    assert result.exit_code == 2
    assert line in result.stderr
    assert result.stderr.count("\n") == 1


@pytest.mark.parametrize("command", [["hear", "x.wav"], ["models"]])
def test_a_model_that_is_not_there(command: list[str]) -> None:
    result = run(*command, "--model", "nowhere/at/all")
    assert result.exit_code == 1
    assert "no recognition model 'nowhere/at/all'" in result.output
    assert result.stderr.count("\n") <= 1


def test_a_range_the_model_cannot_hear() -> None:
    result = run("hear", CLIPS / "digits_in_7_06.flac", "--range", "0..1000000")
    assert result.exit_code == 2
    assert result.stderr.count("\n") == 1
    assert "not 0 to 1000000" in result.stderr


def test_models_lists_what_is_there_and_tries_it() -> None:
    result = run("models", "--json")
    assert result.exit_code == 0
    found = {model["name"]: model for model in json.loads(result.stdout)["models"]}
    ours = found["number-en"]
    assert ours["language"] == "en"
    assert ours["error"] is None
    assert ours["lowest"] <= 0
    assert ours["highest"] == 9999
    assert [0, 99] in ours["ranges"]
    assert ours["size_mb"] <= 6
    assert ours["heard"] == ours["clips"] >= 2


def test_models_as_a_table() -> None:
    result = run("models")
    assert result.exit_code == 0
    assert "number-en" in result.stdout


def test_a_damaged_model_is_one_line(tmp_path: Path) -> None:
    """Vosk itself runs into the damage, in a process of its own."""
    source = find_model().path
    copy = tmp_path / "damaged-en"
    for file in source.rglob("*"):
        if file.is_file():
            target = copy / file.relative_to(source)
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(file.read_bytes())
    model = copy / "am" / "final.mdl"
    model.write_bytes(model.read_bytes()[:1000])
    result = run("models", "--json", "--model", copy)
    assert result.exit_code == 1
    (check,) = json.loads(result.stdout)["models"]
    assert check["error"].startswith(f"model {copy}: Vosk")
    assert "\n" not in check["error"]
