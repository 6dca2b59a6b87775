"""What the records say of a pupil: verdicts, latency, the same rule by rule, and the best."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from statistics import fmean
from typing import Any

from sqlite_utils import Database

from oralquiz.judge import Verdict
from oralquiz.learn import EARLY_S, median_time


@dataclass(frozen=True)
class Tally:
    """Counts of verdicts, and the time in seconds within which half of the right answers came, as
    `learn` has it (`median_time`): sums without an answer by their deadline count as slower.

    None while no right answer was timed, or if fewer than half came in time. An answer that was
    typed has a hand's latency and is left out, as are one that only a second try made clear, and
    one that came too early to be an answer.
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
        select pupil_id, {group} as part, verdict, count(*) as n,
          coalesce(sum(latency_s >= {EARLY_S}), 0) as timed
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
        rows = _Rows(
            db,
            f"{table} where {limits} and pupil_id = :who and {group} = :part",
            {**values, "who": pupil, "part": part},
        )
        result[pupil][part] = Tally(
            n.get(Verdict.RIGHT, 0),
            n.get(Verdict.WRONG, 0),
            n.get(Verdict.UNCLEAR, 0),
            n.get(Verdict.SILENT, 0),
            rows.median(timed.get((pupil, part), 0), bool(n.get(Verdict.SILENT))),
        )
    return result


@dataclass(frozen=True)
class _Rows:
    """The rows of one tally: what follows ``from``, and its values."""

    db: Database
    told: str
    values: dict[str, Any]

    def median(self, timed: int, silent: bool) -> float | None:
        """The time within which half of the right answers came.

        ``timed`` of them have a latency. Where every deadline that passed is later than the middle
        one of all, which is nearly always, the database finds it along an index.
        """
        if not timed:
            return None
        cut, least = self._cut() if silent else (0, None)
        half = self._middle(timed + cut)
        if cut and (half is None or least is None or least < half):
            half = median_time(self._timed(), self._deadlines())
        return None if half is None else round(half, 3)

    def _middle(self, count: int) -> float | None:
        """The middle one of ``count`` times, those without an answer being the slowest."""
        middle = self.db.execute(
            f"select latency_s from {self._right} limit :most offset :before",
            {**self.values, "most": 2 - count % 2, "before": (count - 1) // 2},
        ).fetchall()
        return fmean(number for (number,) in middle) if middle else None

    def _cut(self) -> tuple[int, float | None]:
        """How many sums had no answer by their deadline, and the least deadline of them."""
        asked = f"select count(deadline_s), min(deadline_s) from ({self._silent})"
        count, least = self.db.execute(asked, self.values).fetchone()
        return count, least

    def _timed(self) -> list[float]:
        return [s for (s,) in self.db.execute(f"select latency_s from {self._right}", self.values)]

    def _deadlines(self) -> list[float]:
        rows = self.db.execute(self._silent, self.values)
        return [s for (s,) in rows if s is not None]

    @property
    def _right(self) -> str:
        return f"{self.told} and verdict = 'right' and latency_s >= {EARLY_S} order by latency_s"

    @property
    def _silent(self) -> str:
        deadline = "deadline_s"
        if not self.told.startswith("sums "):
            deadline = "(select deadline_s from sums where sums.id = sum_id) as deadline_s"
        return f"select {deadline} from {self.told} and verdict = 'silent'"


@dataclass(frozen=True)
class Best:
    """A pupil's best at one step: the most right of a round, and the time in seconds within which
    half of the quickest such round's right answers came (None: too few tell how quick)."""

    step: str
    right: int
    of: int
    latency_s: float | None


def bests(db: Database, pupil: int) -> list[Best]:
    """For each step practised, the round with the most right, of equals the quicker one."""
    rounds: dict[tuple[str, str], list[dict[str, Any]]] = defaultdict(list)
    for row in db.query(
        """
        select rounds.id as round, rounds.step, verdict, latency_s, deadline_s
        from sums join rounds on rounds.id = round_id
        where pupil_id = ? order by rounds.created
        """,
        [pupil],
    ):
        rounds[row["step"] or "", row["round"]].append(row)
    best: dict[str, Best] = {}
    for (step, _), sums in rounds.items():
        timed = [row["latency_s"] for row in sums if row["verdict"] == Verdict.RIGHT]
        cut = [row["deadline_s"] for row in sums if row["verdict"] == Verdict.SILENT]
        right = len(timed)
        this = Best(step, right, len(sums), median_time(_known(timed), _known(cut)))
        if right and (step not in best or _rank(this) > _rank(best[step])):
            best[step] = this
    return list(best.values())


def _known(times: Iterable[float | None]) -> list[float]:
    return [time for time in times if time is not None]


def _rank(best: Best) -> tuple[float, float]:
    return best.right / best.of, -(best.latency_s if best.latency_s is not None else 1e9)
