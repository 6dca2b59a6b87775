"""What the records say of a pupil: verdicts, latency, and the same rule by rule."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from statistics import median

from sqlite_utils import Database

from oralquiz.judge import Verdict


@dataclass(frozen=True)
class Tally:
    """Counts of verdicts, and the median latency of the right answers in seconds.

    None while no right answer was spoken. An answer that was typed has a hand's latency and is
    left out of the median, as is one that only a second try made clear.
    """

    right: int
    wrong: int
    unclear: int
    silent: int
    median_latency_s: float | None

    @property
    def count(self) -> int:
        return self.right + self.wrong + self.unclear + self.silent


@dataclass(frozen=True)
class Score:
    """One pupil's tally over all sums, and over the sums that needed each rule (by name)."""

    pupil: str
    total: Tally
    by_rule: dict[str, Tally]


def scores(db: Database, *, round_id: str | None = None) -> list[Score]:
    """The score of every pupil with an answered sum, by name; of one round if given."""
    where, values = (
        ("where counted.round_id = :round", {"round": round_id}) if round_id else ("", {})
    )
    results: dict[str, list[tuple[int, str, float | None]]] = defaultdict(list)
    for row in db.query(
        f"""
        select pupils.name as pupil, counted.sum_id, verdict,
          case when typed or attempts > 1 then null else latency_s end as latency_s
        from counted join pupils on pupils.id = pupil_id {where} order by pupils.name, sum_id
        """,
        values,
    ):
        if row["verdict"] is not None:
            results[row["pupil"]].append((row["sum_id"], row["verdict"], row["latency_s"]))
    rules: dict[int, set[str]] = defaultdict(set)
    for row in db.query("select distinct sum_id, rule from rule_uses"):
        rules[row["sum_id"]].add(row["rule"])
    return [
        Score(pupil, _tally(theirs), _by_rule(theirs, rules)) for pupil, theirs in results.items()
    ]


def _tally(results: Iterable[tuple[int, str, float | None]]) -> Tally:
    results = list(results)
    count = Counter(verdict for _, verdict, _ in results)
    latencies = [s for _, verdict, s in results if verdict == Verdict.RIGHT and s is not None]
    return Tally(
        right=count[Verdict.RIGHT],
        wrong=count[Verdict.WRONG],
        unclear=count[Verdict.UNCLEAR],
        silent=count[Verdict.SILENT],
        median_latency_s=round(median(latencies), 3) if latencies else None,
    )


def _by_rule(
    results: list[tuple[int, str, float | None]], rules: dict[int, set[str]]
) -> dict[str, Tally]:
    names = sorted({rule for sum_id, _, _ in results for rule in rules[sum_id]})
    return {name: _tally(r for r in results if name in rules[r[0]]) for name in names}
