"""Words and units of the spoken-number model."""

from importlib import import_module

import pytest
from num2words import num2words


@pytest.mark.slow
def test_numbers_are_spelled_as_an_independent_library_spells_them() -> None:
    # num2words writes "one thousand, one hundred and five" and "twenty-one"
    units = import_module("units")
    for value in range(10_000):
        theirs = num2words(value).replace(",", "").replace("-", " ").split()
        assert list(units.spell(value, conjunction=True)) == theirs, value


def test_without_and() -> None:
    units = import_module("units")
    assert units.spell(105) == ("one", "hundred", "five")
    assert units.spell(1100, article=True) == ("a", "thousand", "one", "hundred")


@pytest.mark.parametrize("value", [-1, 10_000])
def test_outside_the_range_is_refused(value: int) -> None:
    with pytest.raises(ValueError, match="outside"):
        import_module("units").spell(value)


def test_teen_and_ty_never_share_an_output() -> None:
    units = import_module("units")
    for stem, teen, ty in [("thir", "thirteen", "thirty"), ("four", "fourteen", "forty")]:
        first, second = units.PRONUNCIATIONS[teen], units.PRONUNCIATIONS[ty]
        shared = set(first) & set(second)
        assert all(unit.startswith(stem) for unit in shared), shared


def test_every_unit_has_one_output_and_silence_is_the_first() -> None:
    units = import_module("units")
    assert units.UNITS[0] == "sil"
    assert len(set(units.UNITS)) == len(units.UNITS) == len(units.PDF)
