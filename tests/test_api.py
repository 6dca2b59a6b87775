"""The public API: the README's Python section runs, and every name has a docstring and works."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

import oralquiz
from oralquiz.judge import Verdict

ROOT = Path(__file__).parents[1]
CLIPS = Path(__file__).parent / "listen" / "data" / "clips"


def test_the_readme_section_runs(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(ROOT)
    code = re.findall(r"```python\n(.*?)```", (ROOT / "README.md").read_text("utf-8"), re.DOTALL)
    assert len(code) == 1
    names: dict[str, object] = {}
    exec(code[0], names)
    assert str(names["page"]).lower().startswith("<!doctype html>")
    assert "five:+3" in capsys.readouterr().out


def test_every_public_name_is_there_and_documented() -> None:
    assert "explain" in oralquiz.__all__
    for name in set(oralquiz.__all__) - {"__version__"}:
        assert getattr(oralquiz, name).__doc__, name


def test_a_recording_is_heard_and_judged() -> None:
    hearing = oralquiz.hear(CLIPS / "numbers_woman_011.flac")
    assert hearing.value == 11
    assert oralquiz.judge_answer(hearing, 11) is Verdict.RIGHT
    assert oralquiz.judge_answer(hearing, 42) is Verdict.WRONG


def test_samples_are_heard_like_a_file() -> None:
    assert oralquiz.judge_answer(oralquiz.hear(np.zeros(16_000, np.float32)), 1) is Verdict.SILENT


def test_composed_sums_drill_the_step_and_come_again_with_the_seed() -> None:
    composed = oralquiz.compose_sums("five:+3", 4, seed=3, terms=3)
    assert composed.sums == oralquiz.compose_sums("five:+3", 4, seed=3, terms=3).sums
    for terms in composed.sums:
        moves = [move for played in oralquiz.explain(terms, 2) for move in played.moves]
        assert any(move.rule.name == "five:+3" for move in moves)


def test_a_pace_that_is_too_quick_says_which_works() -> None:
    with pytest.raises(oralquiz.BadInput, match="the shortest pace that works"):
        oralquiz.dictate(oralquiz.Sum((77, 77)), pace_s=0.2)
