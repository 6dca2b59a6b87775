import json

import pytest

from oralquiz.cli import main


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as left:
        main(["diagnose", *arguments])
    out, err = capsys.readouterr()
    assert isinstance(left.value.code, int)
    return left.value.code, " ".join(out.split()), err


def test_says_what_a_teacher_would_say_best_first(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "34 + 13 - 22", "--heard", "20")
    assert code == 0
    assert out.startswith("34 + 13 − 22 is 25, not 20.")
    first = out.index("+ 3 is + 5 − 2, and the thumb was not moved")
    assert first < out.index("besides − 2, the thumb was moved as well")
    assert "no slip explains it" in out


def test_json(capsys: pytest.CaptureFixture[str]) -> None:
    code, out, _ = run(capsys, "34 + 13 - 22", "--heard", "20", "--json")
    found = json.loads(out)
    assert code == 0
    assert found["answer"] == 25 and found["heard"] == 20
    assert {"slip", "term", "column", "probability", "sentence"} <= set(found["slips"][0])
    chances = [slip["probability"] for slip in found["slips"]]
    assert chances == sorted(chances, reverse=True)
    assert sum(chances) + found["two_slips"] + found["not_explained"] == pytest.approx(1)


def test_a_right_answer_is_simply_right(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(capsys, "34 + 13 - 22", "--heard", "25")[:2] == (0, "25 is right.")
    found = json.loads(run(capsys, "34 + 13 - 22", "--heard", "25", "--json")[1])
    assert found["right"] and found["slips"] == [] and found["not_explained"] == 0


def test_nothing_explains_a_number_that_no_hands_show(capsys: pytest.CaptureFixture[str]) -> None:
    found = json.loads(run(capsys, "34 + 13 - 22", "--heard", "4711", "--json")[1])
    assert found["slips"] == [] and found["not_explained"] == 1


def test_the_answer_before_and_another_language(capsys: pytest.CaptureFixture[str]) -> None:
    out = run(
        capsys, "34 + 13 - 22", "--heard", "52", "--previous", "27", "--language", "de"
    )[1]  # fmt: skip
    assert "Am Anfang stand noch die 27 der Aufgabe davor." in out


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["34 + x", "--heard", "1"], "wanted a sign and a number"),
        (["34 + 78", "--heard", "1"], "term 2 (+78) goes over 99"),
        (["34 + 13"], "--heard"),
    ],
)
def test_bad_input_is_one_clear_line(
    arguments: list[str], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = run(capsys, *arguments)
    assert code == 2 and out == ""
    assert message in err and err.count("\n") == 1
