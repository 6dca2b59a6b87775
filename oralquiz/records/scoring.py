"""What the records say of a pupil: verdicts, latency, the same rule by rule, and the best."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from statistics import fmean, median
from typing import Any

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


def scores(
    db: Database, *, round_id: str | None = None, pupil: int | None = None, rules: bool = True
) -> list[Score]:
    """The score of every pupil with an answered sum, by name; of one round or pupil if given.

    Without ``rules`` only the totals.
    """
    only = {"round": round_id, "pupil": pupil}
    limits = " and ".join(
        ["verdict is not null"]
        + ["{sum} in (select id from sums where round_id = :round)"] * (round_id is not None)
        + ["pupil_id = :pupil"] * (pupil is not None)
    )
    totals = _tallies(db, "sums", "''", limits.format(sum="sums.id"), only)
    in_rules = limits.format(sum="sum_id")
    by_rule = _tallies(db, "rule_answers", "rule", in_rules, only) if rules else {}
    names = db.query("select id, name from pupils order by name")
    return [
        Score(row["name"], totals[row["id"]][""], dict(sorted(by_rule.get(row["id"], {}).items())))
        for row in names
        if row["id"] in totals
    ]


def _tallies(
    db: Database, table: str, group: str, limits: str, values: dict[str, Any]
) -> dict[int, dict[str, Tally]]:
    """For each pupil the tally of each ``group`` of rows of ``table`` within ``limits``.

    Counted by the database along an index: in Python, half a million sums take seconds.
    """
    order = ", ".join(["pupil_id", *[group] * (group != "''"), "verdict"])  # that of an index
    counts: dict[tuple[int, str], dict[str, int]] = defaultdict(dict)
    timed: dict[tuple[int, str], int] = {}
    for row in db.query(
        f"""
        select pupil_id, {group} as part, verdict, count(*) as n, count(latency_s) as timed
        from {table} where {limits} group by {order}
        """,
        values,
    ):
        key = row["pupil_id"], row["part"]
        counts[key][row["verdict"]] = row["n"]
        if row["verdict"] == Verdict.RIGHT:
            timed[key] = row["timed"]
    result: dict[int, dict[str, Tally]] = defaultdict(dict)
    for (pupil, part), n in counts.items():
        result[pupil][part] = Tally(
            n.get(Verdict.RIGHT, 0),
            n.get(Verdict.WRONG, 0),
            n.get(Verdict.UNCLEAR, 0),
            n.get(Verdict.SILENT, 0),
            _median(
                db,
                f"""
                select latency_s from {table} where {limits} and pupil_id = :who and {group} = :part
                and verdict = 'right' and latency_s is not null order by latency_s
                """,
                {**values, "who": pupil, "part": part},
                timed.get((pupil, part), 0),
            ),
        )
    return result


def _median(db: Database, ordered: str, values: dict[str, Any], count: int) -> float | None:
    """The median of the ``count`` numbers that the query ``ordered`` gives in order."""
    if not count:
        return None
    middle = db.execute(
        f"{ordered} limit :most offset :before",
        {**values, "most": 2 - count % 2, "before": (count - 1) // 2},
    ).fetchall()
    return round(fmean(number for (number,) in middle), 3)


@dataclass(frozen=True)
class Best:
    """A pupil's best at one step: the most right of a round, and the quickest such round's median
    latency of spoken right answers in seconds (None: no right answer tells how quick)."""

    step: str
    right: int
    of: int
    latency_s: float | None


def bests(db: Database, pupil: int) -> list[Best]:
    """For each step practised, the round with the most right, of equals the quicker one."""
    rounds: dict[tuple[str, str], list[tuple[str | None, float | None]]] = {}
    for row in db.query(
        """
        select rounds.id as round, rounds.step, verdict, latency_s
        from counted join rounds on rounds.id = round_id
        where pupil_id = ? order by rounds.created
        """,
        [pupil],
    ):
        rounds.setdefault((row["step"] or "", row["round"]), []).append(
            (row["verdict"], row["latency_s"])
        )
    best: dict[str, Best] = {}
    for (step, _), sums in rounds.items():
        quick = [latency for verdict, latency in sums if verdict == "right" and latency is not None]
        right = sum(verdict == "right" for verdict, _ in sums)
        this = Best(step, right, len(sums), median(quick) if quick else None)
        if right and (step not in best or _rank(this) > _rank(best[step])):
            best[step] = this
    return list(best.values())


def _rank(best: Best) -> tuple[float, float]:
    return best.right / best.of, -(best.latency_s if best.latency_s is not None else 1e9)
