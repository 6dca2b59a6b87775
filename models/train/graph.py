"""Decoding graphs: which words may be said, expanded to the transition-ids of the acoustic model.

``python graph.py --out ../number-en`` writes, into a model that ``export.py`` has begun,
``graph/HCLG.fst`` (-9999..9999), the narrower ``graphs/NAME.fst``, ``graph/words.txt`` and
``graph/phones/word_boundary.int``. Graphs are written through ``kaldifst``, which cannot live in
one process with ``vosk``.

An utterance is any mixture of numbers and other speech (``[unk]``), silence anywhere between words:
"um, forty two", "forty two, no I mean forty five". A number is spelled, with or without *and*, with
*a* for *one* before hundred and thousand; or read digit by digit, *oh* or *nought* for zero.

Every graph knows all the numbers there are: those beyond its range only cost more. Without them, a
graph would hear "one hundred and three" as a 3 with something before it.
"""

from __future__ import annotations

import argparse
import json
import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import units

#: Costs are natural logs, tuned on held-out voices. Numbers are favoured over other speech on
#: purpose: an answer is expected; whether to trust what was heard is the calibrated confidence's
#: work, not the graph's. At equal odds (training's: number 3.6, other speech 2.0) network 0.1
#: refused one number in ten. UNKNOWN_COST and DIGITS_COST were chosen again for network 0.2.
NUMBER_COST = 0.0
UNKNOWN_COST = 5.0
AGAIN_COST = 5.0  # a second number in one breath
DIGITS_COST = 1.2  # a number read digit by digit: less, and babble is heard as such
MINUS_COST = 3.0
VARIANT_COST = 0.7  # oh, nought, a hundred
BEYOND_COST = 2.0  # a number outside the range of the graph


@dataclass(frozen=True)
class Range:
    """Whole numbers lowest..highest that a graph expects."""

    name: str
    lowest: int
    highest: int


RANGES = (
    Range("0-9", 0, 9),
    Range("0-20", 0, 20),
    Range("0-99", 0, 99),
    Range("0-999", 0, 999),
    Range("0-9999", 0, 9999),
    Range("-99-99", -99, 99),
)
FULL = Range("full", -9999, 9999)

# ---- phones: a unit at a place in a word, since Vosk finds word edges by the phone's number


@cache
def phones(chains: int = len(units.UNK_CHAINS)) -> tuple[tuple[str, str], ...]:
    """(unit, place) with place one of ``S`` single, ``B`` begin, ``I`` inside, ``E`` end, ``-``.

    Those of further chains of other speech come last, so that numbers of phones stay the same.
    """
    found = {(units.SIL, "-"): None}
    for pronunciation in (*units.PRONUNCIATIONS.values(), *units.UNK_CHAINS[:chains]):
        for phone in placed(pronunciation):
            found[phone] = None
    return tuple(found)


def placed(pronunciation: tuple[str, ...]) -> list[tuple[str, str]]:
    last = len(pronunciation) - 1
    if last == 0:
        return [(pronunciation[0], "S")]
    return [(u, "B" if i == 0 else "E" if i == last else "I") for i, u in enumerate(pronunciation)]


@cache
def phone_number(phone: tuple[str, str]) -> int:
    """Kaldi's number of a phone, from 1; silence is 1."""
    return phones().index(phone) + 1


def self_loop(phone: tuple[str, str]) -> int:
    return 2 * phone_number(phone) - 1


def forward(phone: tuple[str, str]) -> int:
    return 2 * phone_number(phone)


def word_boundaries(chains: int) -> str:
    names = {"-": "nonword", "S": "singleton", "B": "begin", "I": "internal", "E": "end"}
    return "".join(f"{i} {names[place]}\n" for i, (_, place) in enumerate(phones(chains), start=1))


WORDS: tuple[str, ...] = ("<eps>", units.UNK, *units.NUMBER_WORDS)


def words_txt() -> str:
    return "".join(f"{word} {i}\n" for i, word in enumerate(WORDS))


# ---- words


def sayings(lowest: int, highest: int) -> dict[tuple[str, ...], float]:
    """Every way to say every number without its sign, with its cost, which is higher outside the
    range."""
    out: dict[tuple[str, ...], float] = {}

    for value in range(FULL.highest + 1):
        beyond = 0.0 if lowest <= value <= highest or -value >= lowest else BEYOND_COST

        def add(words: tuple[str, ...], cost: float, beyond: float = beyond) -> None:
            out[words] = min(cost + beyond, out.get(words, math.inf))

        for conjunction in (False, True):
            words = units.spell(value, conjunction=conjunction)
            add(words, 0.0)
            if len(words) > 1 and words[0] == "one" and words[1] in ("hundred", "thousand"):
                add(("a", *words[1:]), VARIANT_COST)
                if value in (100, 1000):
                    add(words[1:], VARIANT_COST)
        if value == 0:
            add(("oh",), VARIANT_COST)
            add(("nought",), VARIANT_COST)
        if value >= 10 and not beyond:  # strings of any digits fit any noise
            digits = str(value)
            for zero in units.ZEROS:
                cost = DIGITS_COST + (0.0 if zero != "nought" else VARIANT_COST)
                add(tuple(zero if d == "0" else units.DIGITS[int(d)] for d in digits), cost)
    return out


@dataclass
class Acceptor:
    """States and arcs (source, target, phone or None, pieces of output, cost)."""

    states: int = 0
    arcs: list[tuple[int, int, int, int, float]] = field(default_factory=list)
    finals: dict[int, float] = field(default_factory=dict)

    def state(self) -> int:
        self.states += 1
        return self.states - 1

    def add(self, source: int, target: int, in_label: int, out_label: int, cost: float) -> None:
        self.arcs.append((source, target, in_label, out_label, cost))


def _shared_tails(
    strings: dict[tuple[str, ...], float],
) -> tuple[list[dict[str, int]], list[float | None], int]:
    """The smallest acyclic automaton of the strings: arcs by state, end costs, start state."""
    arcs: list[dict[str, int]] = []
    ends: list[float | None] = []
    known: dict[object, int] = {}

    def build(rows: list[tuple[tuple[str, ...], float]]) -> int:
        end = min((cost for words, cost in rows if not words), default=None)
        heads: dict[str, list[tuple[tuple[str, ...], float]]] = {}
        for words, cost in rows:
            if words:
                heads.setdefault(words[0], []).append((words[1:], cost))
        mine = {head: build(tails) for head, tails in heads.items()}
        key = (end, tuple(sorted(mine.items())))
        if key not in known:
            arcs.append(mine)
            ends.append(end)
            known[key] = len(arcs) - 1
        return known[key]

    start = build(list(strings.items()))
    return arcs, ends, start


def build(span: Range, chains: int = 1) -> Acceptor:
    """The graph of a range, with transition-ids as input and words as output labels.

    ``chains``: how many the model has for other speech.
    """
    out = Acceptor()
    start = out.state()
    before = _pause(out, start)  # where a number or other speech may begin
    after_unknown, after_number = out.state(), out.state()

    tails, ends, first = _shared_tails(sayings(span.lowest, span.highest))
    known: dict[tuple[tuple[str, ...], int], int] = {}

    def say(source: int, word: str, target: int, cost: float) -> None:
        """A word from source to target; its states are shared by all that enter them."""
        other = word == units.UNK
        for said in units.UNK_CHAINS[:chains] if other else [units.PRONUNCIATIONS[word]]:
            say_units(source, said, WORDS.index(word), target, cost)

    def say_units(source: int, said: tuple[str, ...], label: int, target: int, cost: float) -> None:
        row = placed(said)
        key = (said, target)
        if key not in known:
            states = [out.state() for _ in row]
            for at, phone in zip(states, row, strict=True):
                out.add(at, at, self_loop(phone), 0, 0.0)
            for at, to, phone in zip(states, states[1:], row[1:], strict=False):
                out.add(at, to, forward(phone), 0, 0.0)
            out.add(states[-1], target, 0, 0, 0.0)
            known[key] = states[0]
        out.add(source, known[key], forward(row[0]), label, cost)

    # inside a number: the state after a word, a pause, the state before the next word
    enter = [out.state() for _ in tails]
    leave = [_pause(out, s) if tails[i] else s for i, s in enumerate(enter)]
    for i, row in enumerate(tails):
        if i == first:
            continue
        for word, target in row.items():
            say(leave[i], word, enter[target], 0.0)
        end = ends[i]
        if end is not None:
            out.add(enter[i], after_number, 0, 0, end)

    signed = out.state()  # after "minus"
    begin_signed = _pause(out, signed)

    def number_from(source: int, cost: float) -> None:
        for word, target in tails[first].items():
            say(source, word, enter[target], cost)
        say(source, "minus", signed, cost + minus_cost)

    minus_cost = MINUS_COST + (0.0 if span.lowest < 0 else BEYOND_COST)
    number_from(before, NUMBER_COST)
    for word, target in tails[first].items():
        say(begin_signed, word, enter[target], 0.0)
    say(before, units.UNK, after_unknown, UNKNOWN_COST)
    number_from(after_unknown, NUMBER_COST)
    again = _pause(out, after_number)
    say(after_number, units.UNK, after_unknown, UNKNOWN_COST)
    say(again, units.UNK, after_unknown, UNKNOWN_COST)
    number_from(again, NUMBER_COST + AGAIN_COST)
    # other speech goes on with other speech only after a pause
    _pause(out, after_unknown, before)
    out.finals = {start: 0.0, before: 0.0, after_unknown: 0.0, after_number: 0.0, again: 0.0}
    return out


def _pause(out: Acceptor, source: int, target: int | None = None) -> int:
    """An optional silence after ``source``; returns the state reached with or without it.

    With ``target`` given the silence leads there and is the only way.
    """
    silence = (units.SIL, "-")
    quiet = out.state()
    out.add(quiet, quiet, self_loop(silence), 0, 0.0)
    out.add(source, quiet, forward(silence), 0, 0.0)
    if target is None:
        target = out.state()
        out.add(source, target, 0, 0, 0.0)
    out.add(quiet, target, 0, 0, 0.0)
    return target


def write(acceptor: Acceptor, path: Path) -> None:
    import kaldifst

    fst = kaldifst.StdVectorFst()
    for _ in range(acceptor.states):
        fst.add_state()
    fst.start = 0
    for source, target, in_label, out_label, cost in acceptor.arcs:
        fst.add_arc(source, kaldifst.StdArc(in_label, out_label, cost, target))
    for state, cost in acceptor.finals.items():
        fst.set_final(state, cost)
    kaldifst.connect(fst)
    kaldifst.arcsort(fst, "ilabel")
    path.parent.mkdir(parents=True, exist_ok=True)
    fst.write(str(path))


def ranges() -> Iterable[tuple[Path, Range]]:
    yield Path("graph/HCLG.fst"), FULL
    for span in RANGES:
        yield Path("graphs") / f"{span.name}.fst", span


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--out", type=Path, required=True)
    args = parser.parse_args()
    card = json.loads((args.out / "model.json").read_text())
    chains = card.get("unknown_chains", 1)
    for path, span in ranges():
        acceptor = build(span, chains)
        write(acceptor, args.out / path)
        size = (args.out / path).stat().st_size
        print(f"{path}: {acceptor.states} states, {len(acceptor.arcs)} arcs, {size / 1024:.0f} KB")
    (args.out / "graph" / "words.txt").write_text(words_txt())
    boundary = args.out / "graph" / "phones" / "word_boundary.int"
    boundary.parent.mkdir(parents=True, exist_ok=True)
    boundary.write_text(word_boundaries(chains))


if __name__ == "__main__":
    main()
