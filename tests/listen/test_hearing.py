from __future__ import annotations

import pytest

from oralquiz.listen.hearing import readable


@pytest.mark.parametrize(
    ("words", "shown"),
    [
        ("forty two", "forty two"),
        ("[unk] forty two", "… forty two"),
        ("seven [unk] [noise] nine", "seven … nine"),
        ("<unk>", "…"),
        ("", ""),
    ],
)
def test_people_are_shown_no_names_of_other_speech(words: str, shown: str) -> None:
    assert readable(words) == shown
