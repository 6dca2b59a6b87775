"""Reading a teacher's own sums."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from oralquiz.compose.sums_file import parse_sums, read_sums
from oralquiz.errors import BadInput


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("34 + 13 - 22", [(1, (34, 13, -22), None)]),
        ("34+13−22=25", [(1, (34, 13, -22), 25)]),
        ("1) 5 + 6\n2. 7 - 3 = ____", [(1, (5, 6), None), (2, (7, -3), None)]),
        ("# lesson\n\n12 + 5 # easy", [(3, (12, 5), None)]),
        (
            "34,13,-22\n5;6\n7\t−3",
            [(1, (34, 13, -22), None), (2, (5, 6), None), (3, (7, -3), None)],
        ),
        ("a,b,c\n34,13,-22,,", [(2, (34, 13, -22), None)]),
        ("term1;term2;Answer\n34;13;47\n5;6;", [(2, (34, 13), 47), (3, (5, 6), None)]),
        ('"34","+13"', [(1, (34, 13), None)]),
        ("5 - 9 = -4", [(1, (5, -9), -4)]),
    ],
)
def test_lines_are_read(text: str, expected: list[tuple[int, tuple[int, ...], int | None]]) -> None:
    read = parse_sums(text)
    assert [(w.line, w.terms.terms if w.terms else (), w.answer) for w in read] == expected
    assert all(w.problem == "" for w in read)


@pytest.mark.parametrize(
    ("line", "problem"),
    [
        ("34 13", "wanted a sign and a number"),
        ("34 + x", "wanted a number|wanted a sign"),
        ("34;1x;3", "'1x' is not a whole number"),
        ("3.5;4", "'3.5' is not a whole number"),
        ("34 + 13 = many", "'many' is not a whole number"),
        ("5,0,3", "term 2 is 0"),
        ("12345678901;1", "cell 1: '12345678901' has more than 9 digits"),
        # a number before a full stop is a line's number at its start only
        ("12 + 3. 4 - 2", "wanted a sign and a number at character 7, not '. 4 - 2'"),
        ("  7) 12 + 3. 4 - 2", "wanted a sign and a number at character 12, not '. 4 - 2'"),
        ("O5 + 3", "wanted a number at character 1, not 'O5 + 3'"),  # no heading: letter O
    ],
)
def test_a_line_that_cannot_be_read_keeps_its_place(line: str, problem: str) -> None:
    read = parse_sums(f"1 + 1\n{line}\n2 + 2")
    assert [w.line for w in read] == [1, 2, 3]
    assert read[1].terms is None
    assert read[1].text == line.strip()
    assert any(part in read[1].problem for part in problem.split("|"))
    assert read[2].terms is not None


def test_a_line_that_cannot_be_read_is_not_taken_for_a_heading() -> None:
    (read,) = parse_sums("O5 + 3")
    assert read.terms is None and read.problem


@pytest.mark.parametrize(
    ("line", "problem"),
    [
        ('"' + "1" * 200_000 + '",3', "one cell has more than 131,072 characters"),
        ("+" * 100_000, "wanted a number at character 1"),
        ("3," + "7" * 100_000, "cell 2: '7777777"),
    ],
)
def test_a_very_long_line_is_refused_in_a_short_one(line: str, problem: str) -> None:
    for text in (line, f"1 + 1\n{line}"):
        read = parse_sums(text)[-1]
        assert read.terms is None
        assert problem in read.problem
        assert len(read.problem) < 200 and len(read.text) <= 101


@pytest.mark.parametrize(
    "line", ["9" * 100_000, "1" + " " * 100_000 + "x", " " * 100_000 + "?", "1 + " * 40_000]
)
def test_time_is_in_proportion_to_the_length(tmp_path: Path, line: str) -> None:
    """Quadratic time would take minutes here; the limit is generous for a second of work."""
    file = tmp_path / "sums.txt"
    file.write_text(line, encoding="utf-8")
    code = (
        "import sys; from pathlib import Path; from oralquiz.compose import read_sums\n"
        "(read,) = read_sums(Path(sys.argv[1])); print(read.problem)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(file)],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    )
    assert 0 < len(done.stdout) < 200


def test_files_that_cannot_be_used(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="no such file"):
        read_sums(tmp_path / "none.txt")
    (tmp_path / "empty.txt").write_text("# nothing\n", encoding="utf-8")
    with pytest.raises(BadInput, match="there is no sum in it"):
        read_sums(tmp_path / "empty.txt")
    (tmp_path / "bad.txt").write_bytes(b"\xff\xfe\x00\xd8")
    with pytest.raises(BadInput, match="cannot be read as text"):
        read_sums(tmp_path / "bad.txt")
    with pytest.raises(BadInput, match="cannot be read"):
        read_sums(tmp_path)
    (tmp_path / "bom.csv").write_text("34,13\n", encoding="utf-8-sig")
    assert read_sums(tmp_path / "bom.csv")[0].terms is not None
