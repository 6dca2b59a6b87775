"""`compose`, `sheet` and `syllabus` as a teacher would call them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pypdfium2 as pdfium
import pytest
from click.testing import CliRunner, Result

from oralquiz.beads import Rule, Sum, explain
from oralquiz.cli import main
from oralquiz.compose import load_syllabus, request_for
from oralquiz.compose.sum_check import check_sum


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments))


def run_json(*arguments: str) -> Any:
    return json.loads(run(*arguments, "--json").stdout)


def test_compose_as_json() -> None:
    found = run_json("compose", "--step", "five:+3", "--count", "4", "--terms", "5", "--seed", "7")
    assert found["exact"] is True
    assert found["count"] == "39611915"
    assert len(found["sums"]) == 4
    request = request_for(load_syllabus(), "five:+3", terms=5)
    assert all(check_sum(terms, request) == [] for terms in found["sums"])
    assert found["answers"] == [sum(terms) for terms in found["sums"]]
    again = run_json("compose", "--step", "five:+3", "--count", "4", "--terms", "5", "--seed", "7")
    assert again == found


def test_compose_prints_sums_on_stdout_and_the_rest_on_stderr() -> None:
    result = run("compose", "--step", "ten:-7", "--count", "3", "--seed", "1")
    assert result.exit_code == 0
    lines = result.stdout.splitlines()
    assert len(lines) == 3
    for line in lines:
        written, answer = line.split(" = ")
        assert Sum.parse(written).answer == int(answer)
    assert "183,672,019 such sums; seed 1" in result.stderr


def test_compose_without_a_seed_reports_the_one_it_took() -> None:
    first = run_json("compose", "--step", "direct")
    again = run_json("compose", "--step", "direct", "--seed", str(first["seed"]))
    assert again["sums"] == first["sums"]


@pytest.mark.parametrize(
    ("options", "check"),
    [
        (("--minus", "0"), lambda t: min(t) > 0),
        (("--minus", "40%"), lambda t: sum(n < 0 for n in t) == 2),
        (("--minus", "1-2"), lambda t: 1 <= sum(n < 0 for n in t) <= 2),
        (("--signs", "++-?-"), lambda t: t[1] > 0 > t[2] and t[4] < 0),
        (("--answer", "40-45"), lambda t: 40 <= sum(t) <= 45),
        (
            ("--digits", "1-2", "--digits-in-all", "7"),
            lambda t: len("".join(map(str, map(abs, t)))) == 7,
        ),
        (("--terms", "8"), lambda t: len(t) == 8),
        (("--columns", "3", "--digits", "3"), lambda t: all(abs(n) > 99 for n in t)),
        (("--below-zero", "--minus-first", "--signs", "-----"), lambda t: sum(t) < 0),
    ],
)
def test_compose_keeps_to_what_is_asked(options: tuple[str, ...], check: Any) -> None:
    found = run_json("compose", "--step", "both:-9", "--drill", "direct", "--seed", "1", *options)
    assert len(found["sums"]) == 10
    assert all(check(terms) for terms in found["sums"])


def test_another_rule_can_be_drilled() -> None:
    found = run_json(
        "compose", "--step", "direct", "--drill", "ten:+9", "--uses", "2", "--seed", "1"
    )
    for terms in found["sums"]:
        used = [m.rule.name for t in explain(Sum(tuple(terms)), 2) for m in t.moves]
        assert used.count("ten:+9") >= 2
        assert set(used) <= {"direct", "ten:+9"}


def test_graded_sets_report_loads_and_coverage() -> None:
    found = run_json(
        "compose", "--step", "five:+3", "--graded", "--terms", "4-6", "--count", "12", "--seed", "1"
    )
    assert found["loads"] == sorted(found["loads"])
    assert {len(terms) for terms in found["sums"]} == {4, 5, 6}
    assert {(c["column"], c["digit"]) for c in found["coverage"]} == {
        (column, digit) for column in (0, 1) for digit in (2, 3, 4)
    }


def test_no_such_sum_says_what_to_relax() -> None:
    result = run("compose", "--step", "both:-9", "--uses", "3")
    assert result.exit_code == 1
    assert result.stdout == ""
    assert "There is no such sum for both:-9." in result.stderr
    assert "at least 2 of both:-9 is enough (199,408 sums)" in result.stderr
    found = run_json("compose", "--step", "both:-9", "--uses", "3")
    assert (found["count"], found["exact"], found["sums"]) == ("0", True, [])
    assert "terms" in {each["constraint"] for each in found["relaxations"]}


def test_a_wide_frame_says_that_the_count_is_an_estimate() -> None:
    found = run_json("compose", "--syllabus", "bead-frame", "--step", "four-columns", "--seed", "1")
    assert found["count"] is None
    assert found["exact"] is False
    assert 0 < found["error"] < 0.01
    result = run("compose", "--syllabus", "bead-frame", "--step", "four-columns", "--seed", "1")
    assert "about" in result.stderr
    assert "give or take" in result.stderr


def test_avoiding_earlier_sums(tmp_path: Path) -> None:
    first = run("compose", "--step", "five:-4", "--count", "15", "--graded", "--seed", "3")
    had = tmp_path / "had.txt"
    had.write_text(first.stdout.replace("    load", "  # load"), encoding="utf-8")
    again = run_json(
        "compose", "--step", "five:-4", "--count", "15", "--seed", "3", "--avoid", str(had)
    )
    known = {line.split(" = ")[0] for line in first.stdout.splitlines()}
    assert not known & {str(Sum(tuple(terms))) for terms in again["sums"]}


OWN = """# for monday
1) 23 + 31 + 15 = 69
34 + 13 - 22 = 24
42 + 39
99 + 5
"""


def test_checking_a_teachers_own_sums(tmp_path: Path) -> None:
    path = tmp_path / "own.txt"
    path.write_text(OWN, encoding="utf-8")
    result = run("compose", "--check", str(path), "--step", "five:+3")
    assert result.exit_code == 1
    assert "line 2: 23 + 31 + 15 = 69  fits" in result.stdout
    assert "rules: direct x 5, five:+3" in result.stdout
    found = run_json("compose", "--check", str(path), "--step", "five:+3")
    assert [s["fits"] for s in found["sums"]] == [True, False, False, False]
    assert [s["problems"] for s in found["sums"]] == [
        [],
        ["the answer is 25, not 24"],
        ["term 2 (+39) uses ten:+9, not taught yet"],
        ["term 2 (+5) leaves the frame: 99 + 5 = 104 is over 99"],
    ]
    assert found["sums"][0]["rules"] == [
        ["direct", "direct"],
        ["five:+3", "direct"],
        ["direct", "direct"],
    ]
    assert found["sums"][3]["rules"] == [["direct", "direct"]]


def test_checking_without_a_step_asks_only_for_the_frame(tmp_path: Path) -> None:
    path = tmp_path / "own.csv"
    path.write_text("a,b,c\n34,13,-22\n42,39,\n", encoding="utf-8")
    assert run("compose", "--check", str(path)).exit_code == 0
    assert run("compose", "--check", str(path), "--terms", "3").exit_code == 1
    assert run("compose", "--check", str(path), "--digits", "1").exit_code == 1


def test_a_line_that_cannot_be_read_does_not_hide_the_others(tmp_path: Path) -> None:
    path = tmp_path / "own.txt"
    path.write_text("12 + 13\n12 ++ 3\n14 + 5\n", encoding="utf-8")
    result = run("compose", "--check", str(path))
    assert result.exit_code == 2
    assert result.stdout.count("fits") == 2
    assert "line 2: 12 ++ 3  NO" in result.stdout


def test_a_sum_that_is_too_long_does_not_hide_the_others(tmp_path: Path) -> None:
    own = tmp_path / "own.txt"
    own.write_text(" + ".join(["1"] * 51) + "\n3 + 4\n", encoding="utf-8")
    long, short = run_json("compose", "--check", str(own))["sums"]
    assert "has 51 terms, wanted 50" in long["problems"]
    assert short["fits"]


def test_a_code_opens_the_same_set() -> None:
    found = run_json("compose", "--step", "ten:+9", "--count", "5", "--seed", "1", "--code")
    opened = run_json("compose", "--from-code", found["code"])
    assert [s["terms"] for s in opened["sums"]] == found["sums"]
    assert opened["fits"] == 5


def test_a_sheet(tmp_path: Path) -> None:
    out = tmp_path / "sheet.pdf"
    made = run_json("sheet", "--step", "five:+3", "--count", "12", "--seed", "1", "--out", str(out))
    assert out.read_bytes().startswith(b"%PDF-")
    assert made["pages"] == 3
    assert len(made["sums"]) == 12
    again = run_json("sheet", "--from-code", made["code"], "--out", str(out), "--paper", "letter")
    assert again["sums"] == made["sums"]
    assert again["code"] == made["code"]


def test_a_sheet_of_a_teachers_own_sums(tmp_path: Path) -> None:
    own = tmp_path / "own.txt"
    own.write_text("12 + 13\n14 + 5\n", encoding="utf-8")
    out = tmp_path / "own.pdf"
    assert run_json("sheet", "--from-file", str(own), "--out", str(out))["sums"] == [
        [12, 13],
        [14, 5],
    ]
    own.write_text("12 + 13\n90 + 50\n", encoding="utf-8")
    result = run("sheet", "--from-file", str(own), "--out", str(out))
    assert result.exit_code == 2
    assert "line 2: term 2 (+50) goes over 99" in result.stderr


def test_a_sheet_never_leaves_the_frame(tmp_path: Path) -> None:
    out = str(tmp_path / "s.pdf")
    over = run("sheet", "--from-code", "OQ1*2*2.5**34+13/99+13-22", "--out", out)
    assert over.exit_code == 2
    assert "the code, sum 2: term 2 (+13) goes over 99" in over.stderr
    below = run("sheet", "--from-code", "OQ1*2*2.5**34-99+13", "--out", out)
    assert below.exit_code == 0  # 65 below zero: the frame shows 35 and owes 100
    own = tmp_path / "own.txt"
    own.write_text("12 - 99 - 50\n", encoding="utf-8")
    far = run("sheet", "--from-file", str(own), "--below-zero", "--out", out)
    assert "line 1: term 3 (-50) goes below -99" in far.stderr


def test_a_title_has_one_kind_of_minus_sign(tmp_path: Path) -> None:
    out = tmp_path / "s.pdf"
    run("sheet", "--step", "ten:-9", "--count", "1", "--seed", "1", "--out", str(out))
    document = pdfium.PdfDocument(out)
    text = document[0].get_textpage().get_text_range()
    assert "− 9 is − 10 + 1" in text


def test_one_sum_is_one_sum(tmp_path: Path) -> None:
    out = tmp_path / "s.pdf"
    shown = run("sheet", "--step", "ten:-9", "--count", "1", "--seed", "1", "--out", str(out))
    assert shown.stdout == f"{out}: 1 sum on 3 pages\n"


def test_the_syllabus_as_json() -> None:
    found = run_json("syllabus")
    assert found["steps"][0]["name"] == "direct"
    assert found["steps"][2] | {"counts": []} == {
        "name": "five:+3",
        "title": "+ 3 is + 5 - 2",
        "rules": ["five:+3"],
        "drill": ["five:+3"],
        "columns": 2,
        "terms": None,
        "digits": None,
        "counts": [],
    }
    counts = {(c["terms"], c["uses"]): c["count"] for c in found["steps"][2]["counts"]}
    assert counts[5, 1] == "39611915"
    rules = [rule for step in found["steps"] for rule in step["rules"]]
    assert all(Rule.parse(rule) for rule in rules)
    assert len(rules) == len(set(rules)) == 35


def test_the_syllabus_as_a_table() -> None:
    result = run("syllabus", "exam-grades", "--no-counts")
    assert result.exit_code == 0
    assert "grade-1" in result.stdout
    assert "read by sight" in " ".join(result.stdout.split())
    assert "two-hands" in run("syllabus", "--list").stdout


@pytest.mark.parametrize(
    ("arguments", "problem"),
    [
        (("compose", "--step", "nope"), "no step 'nope'"),
        (("compose", "--terms", "9-4"), "--terms goes from low to high"),
        (("compose", "--minus", "140%"), "at most 100%"),
        (("compose", "--drill", "five:+9"), "there is no rule five:+9"),
        (("compose", "--digits", "3"), "does not fit a frame of 2 columns"),
        (("compose", "--signs", "+-"), "one +, - or ? for each of the 5 terms"),
        (("compose", "--check", "none.txt"), "no such file"),
        (("compose", "--from-code", "OQ1"), "is not the code of a set"),
        (("compose", "--syllabus", "none.toml"), "there is no syllabus 'none.toml'"),
        (("compose", "--avoid-pupil", "Nobody"), "there is no pupil 'Nobody'"),
        (("sheet", "--from-code", "x", "--from-file", "y"), "do not go together"),
    ],
)
def test_bad_input_is_one_line_and_exit_2(
    arguments: tuple[str, ...],
    problem: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("ORALQUIZ_HOME", str(tmp_path))
    result = run(*arguments)
    assert result.exit_code == 2
    assert problem in result.stderr
    assert result.stderr.count("\n") == 1
