from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from oralquiz.cli.dictate import dictate
from oralquiz.errors import BadInput


@pytest.fixture(autouse=True)
def home(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path_factory.getbasetemp() / "home"))


def run(*args: str) -> str:
    return CliRunner().invoke(dictate, args, catch_exceptions=False).output


def test_a_sound_file_and_a_json_beside_it(tmp_path: Path) -> None:
    out = tmp_path / "sum.wav"
    printed = json.loads(run("34 + 13 - 22", "--pace", "2.5", "--out", str(out), "--json"))
    facts = json.loads((tmp_path / "sum.json").read_text())
    assert facts == printed
    assert facts["answer"] == 25
    assert facts["sample_rate"] == 22_050
    assert [term["text"] for term in facts["terms"]] == [
        "thirty-four",
        "plus thirteen",
        "minus twenty-two",
    ]
    onsets = [term["onset"] for term in facts["terms"]]
    assert np.diff(onsets).tolist() == [55_125, 55_125]
    sound, rate = soundfile.read(out, dtype="float32")
    assert (rate, len(sound)) == (22_050, facts["samples"])
    for term in facts["terms"]:
        assert not sound[term["onset"] - 100 : term["onset"]].any()
        assert np.abs(sound[term["onset"] : term["offset"]]).max() > 0.05


def test_the_reading_and_the_rate_are_settings(tmp_path: Path) -> None:
    out = tmp_path / "sum.wav"
    options = "--pace 2 --signs add_take --lead-in --count-in --closing --sample-rate 16000"
    facts = json.loads(run("34 - 13", "--out", str(out), *options.split(), "--json"))
    assert facts["sample_rate"] == soundfile.info(out).samplerate == 16_000
    assert [term["text"] for term in facts["terms"]] == ["thirty-four", "take away thirteen"]
    assert [spoken["text"] for spoken in facts["opening"]] == ["listen", "ready", "set", "go"]
    assert facts["closing"]["text"] == "equals"


def test_without_json_it_says_when_each_term_comes(tmp_path: Path) -> None:
    out = tmp_path / "sum.wav"
    text = run("34 + 13", "--out", str(out))
    assert "0.250 s  thirty-four" in text
    assert "2.750 s  plus thirteen" in text
    assert "answer 47" in text


@pytest.mark.parametrize(
    ("args", "message"),
    [
        (("34 + 13 - 22", "--pace", "0.3"), "the shortest pace that works is"),
        (("34 +",), "a number is missing after"),
        (("34 + 13", "--language", "xx"), "no phrases for the language 'xx'"),
        (("34 + 13", "--voice", "nobody"), "'nobody' is not a voice"),
    ],
)
def test_bad_input_is_one_line(tmp_path: Path, args: tuple[str, ...], message: str) -> None:
    with pytest.raises(BadInput, match=message) as trouble:
        run(*args, "--out", str(tmp_path / "sum.wav"))
    assert "\n" not in str(trouble.value)
    assert not list(tmp_path.iterdir())


def test_a_place_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    out = tmp_path / "nowhere" / "sum.wav"
    with pytest.raises(BadInput, match=r"nowhere.sum\.wav: cannot be written"):
        run("34 + 13", "--out", str(out))
    with pytest.raises(BadInput, match=r"must not end in \.json"):
        run("34 + 13", "--out", str(tmp_path / "sum.json"))
