"""Decoding graphs, walked here without a decoder."""

import math
from importlib import import_module
from typing import Any

import pytest


def cheapest(acceptor: Any, labels: list[int]) -> float:
    """Least cost of saying exactly these words, with any sounds and pauses between; inf if
    impossible."""
    arcs: dict[int, list[tuple[int, int, float]]] = {}
    for source, target, _, label, cost in acceptor.arcs:
        if source != target:
            arcs.setdefault(source, []).append((target, label, cost))
    reached = {0: 0.0}
    for label in [*labels, None]:
        queue = list(reached)
        while queue:
            state = queue.pop()
            for target, out, cost in arcs.get(state, []):
                total = reached[state] + cost
                if out == 0 and total < reached.get(target, math.inf):
                    reached[target] = total
                    queue.append(target)
        if label is None:
            break
        after: dict[int, float] = {}
        for state, total in reached.items():
            for target, out, cost in arcs.get(state, []):
                if out == label:
                    after[target] = min(after.get(target, math.inf), total + cost)
        reached = after
    ends = (reached[s] + c for s, c in acceptor.finals.items() if s in reached)
    return min(ends, default=math.inf)


def say(acceptor: Any, words: str) -> float:
    graph = import_module("graph")
    return cheapest(acceptor, [graph.WORDS.index(w) for w in words.split()])


@pytest.fixture(scope="module")
def two_hands() -> Any:
    graph = import_module("graph")
    return graph.build(graph.Range("0-99", 0, 99))


def test_every_number_can_be_said_and_those_beyond_the_range_cost_more(two_hands: Any) -> None:
    graph, units = import_module("graph"), import_module("units")
    plain = graph.NUMBER_COST
    for value in range(100):
        assert say(two_hands, " ".join(units.spell(value))) == plain, value
    for words in ("one hundred", "one hundred and three", "nine thousand"):
        assert say(two_hands, words) == plain + graph.BEYOND_COST, words
    assert say(two_hands, "minus four") == plain + graph.MINUS_COST + graph.BEYOND_COST
    assert say(two_hands, "and") == math.inf


def test_a_signed_range_expects_minus() -> None:
    graph = import_module("graph")
    signed = graph.build(graph.Range("-99-99", -99, 99))
    assert say(signed, "minus four") == graph.NUMBER_COST + graph.MINUS_COST
    assert say(signed, "minus one hundred") == say(signed, "minus four") + graph.BEYOND_COST


def test_what_is_not_a_number_costs_as_much_as_two(two_hands: Any) -> None:
    again = import_module("graph").AGAIN_COST
    for words in ("forty ten", "one one one"):
        assert again + say(two_hands, "forty two") <= say(two_hands, words) < math.inf, words


@pytest.mark.parametrize(
    "words",
    [
        "", "[unk]", "[unk] forty two", "forty two [unk] forty five", "forty two [unk]",
        "four two", "oh", "nought", "seven seven",
    ],
)  # fmt: skip
def test_what_else_may_be_said(two_hands: Any, words: str) -> None:
    assert say(two_hands, words) < math.inf


def test_a_number_is_expected_and_spelled_rather_than_read_digit_by_digit(two_hands: Any) -> None:
    assert say(two_hands, "forty two") < say(two_hands, "four two")
    assert say(two_hands, "forty two") < say(two_hands, "[unk]")
    assert say(two_hands, "forty two") < say(two_hands, "forty two forty five")


def test_the_full_graph() -> None:
    graph = import_module("graph")
    full = graph.build(graph.FULL)
    for words in (
        "minus forty two", "nine thousand nine hundred and ninety nine", "a hundred and one",
        "one oh five", "two thousand", "a thousand and one",
        "four two seven nine", "three hundred seven",
    ):  # fmt: skip
        assert say(full, words) < math.inf, words
    assert say(full, "and four") == math.inf


def test_phones_know_their_place_in_a_word() -> None:
    graph = import_module("graph")
    lines = graph.word_boundaries(1).splitlines()
    assert lines[0] == "1 nonword"
    number = graph.phone_number
    # six ends a word, but not in sixty
    assert lines[number(("six_z", "E")) - 1].endswith(" end")
    assert lines[number(("six_z", "I")) - 1].endswith(" internal")
    assert lines[number(("a_a", "S")) - 1].endswith(" singleton")
