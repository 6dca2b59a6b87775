import pytest

from oralquiz.judge.confusable import confusable, heard_in_part, overlapping, sounds_like


@pytest.mark.parametrize(
    ("value", "other"),
    [(13, 30), (14, 40), (15, 50), (16, 60), (17, 70), (18, 80), (19, 90), (113, 130), (915, 950)],
)
def test_teens_and_tens_sound_alike_both_ways(value: int, other: int) -> None:
    assert sounds_like(value) == other
    assert sounds_like(other) == value
    assert sounds_like(-value) == -other
    assert confusable(value, other) and confusable(other, value)


@pytest.mark.parametrize("value", [0, 3, 9, 10, 11, 12, 20, 21, 33, 35, 99, 100, 110, 120, 135])
def test_other_numbers_stand_alone(value: int) -> None:
    assert sounds_like(value) is None


def test_confusable_means_this_pair_only() -> None:
    assert not confusable(13, 31)
    assert not confusable(13, 13)
    assert not confusable(20, 12)


@pytest.mark.parametrize(
    ("whole", "parts"),
    [
        (7, set()),
        (17, {1, 7, 10}),
        (53, {3, 5, 50}),
        (50, {0, 5}),
        (325, {2, 3, 5, 20, 25, 300, 320}),
        (-42, {2, 4, 40, 42}),
    ],
)
def test_parts_of_a_number(whole: int, parts: set[int]) -> None:
    assert {value for value in range(-999, 1000) if heard_in_part(value, whole)} == parts


def test_words_lost_or_added_make_numbers_overlap() -> None:
    assert overlapping(3, 53)
    assert overlapping(53, 3)
    assert not overlapping(53, 53)
    assert not overlapping(53, 35)
