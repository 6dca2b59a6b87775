"""Numbers easily mistaken for one another by ear: teens and tens, and parts of a number.

"Thirteen" and "thirty" differ in one unstressed ending; so does every pair up to nineteen and
ninety, alone or after hundreds (113 and 130). This is so in English (and in German:
dreizehn, dreißig), and is used here both for the recogniser and for the pupil. Of "fifty three"
or "five ... three" one word may be lost.
"""

from __future__ import annotations

from oralquiz.listen import find_language

sounds_like = find_language("en").sound_alike
"""The number that another is easily mistaken for: 30 for 13, 13 for 30, 130 for 113; else None."""


def confusable(one: int, other: int) -> bool:
    """Whether the two numbers are a teen and a ten that sound alike."""
    return sounds_like(one) == other


def heard_in_part(value: int, whole: int) -> bool:
    """Whether ``value`` may be what is left of ``whole`` when some of its words are not heard.

    A digit of it (5 of 53, said one by one), a run of its places (50 of 53; 300, 320, 25 or 20 of
    325), and any of these or all of it without "minus".
    """
    if value == whole or value < 0:
        return False
    digits = [int(digit) for digit in reversed(str(abs(whole)))]
    places = [digit * 10**place for place, digit in enumerate(digits)]
    runs = {
        sum(places[first : last + 1])
        for first in range(len(places))
        for last in range(first, len(places))
    }
    return value in runs or value in digits


def overlapping(one: int, other: int) -> bool:
    """Whether one of the two may be heard for the other because words were lost or added."""
    return heard_in_part(one, other) or heard_in_part(other, one)
