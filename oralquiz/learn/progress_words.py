"""Speed, accuracy and change in a teacher's words, each with its interval."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import isinf

from oralquiz.learn.answers import Answer
from oralquiz.learn.change import FEWEST_DAYS, Trend, accuracy_trend, latency_trend
from oralquiz.learn.class_over_weeks import Spread
from oralquiz.learn.speed import Interval, Speed, SpeedAccuracy, Third, speed_accuracy
from oralquiz.learn.weakness import Weakness

NINE_IN_TEN_FROM = 20
"""With fewer timed answers, a single slow one would decide the time for nine in ten."""


def progress_sentences(answers: Sequence[Answer]) -> tuple[str, ...]:
    """How one pupil is doing: how many right and how quickly, side by side, and how both change."""
    found = speed_accuracy(answers)
    lines = [accuracy_words(found), speed_words(found.speed)]
    if found.early:
        lines.append(
            f"{found.early} came before the sum was over ({found.early_right} of them right): "
            "not timed"
        )
    if found.thirds:
        lines.append(thirds_words(found.thirds))
    days = f"too few days to tell (at least {FEWEST_DAYS})"
    speed, share = latency_trend(answers), accuracy_trend(answers)
    lines.append(f"Speed over the weeks: {latency_change(speed) if speed else days}")
    lines.append(f"Right answers over the weeks: {accuracy_change(share) if share else days}")
    return tuple(lines)


def accuracy_words(found: SpeedAccuracy) -> str:
    """``24 of 30 right (61 to 91 %); not counted: 2 not clear, 1 without an answer``."""
    others = [
        f"{count} {what}"
        for count, what in ((found.unclear, "not clear"), (found.silent, "without an answer"))
        if count
    ]
    apart = f"; not counted: {', '.join(others)}" if others else ""
    share = share_words(found).replace(" (", " right (")
    return f"{share or 'nothing judged right or wrong yet'}{apart}"


def share_words(found: SpeedAccuracy) -> str:
    """``24 of 30 (61 to 91 %)``; empty when nothing was judged right or wrong."""
    if found.accuracy_interval is None:
        return ""
    low, high = (round(100 * share) for share in _ends(found.accuracy_interval))
    return f"{found.right} of {found.right + found.wrong} ({low} to {high} %)"


def speed_words(speed: Speed) -> str:
    """``half of the right answers within 2.1 s (1.8 to 2.6), nine in ten within 3.8 s``, how many
    the mean leaves out, and how many have no time."""
    parts = []
    untimed = speed.right - speed.timed - speed.early
    if speed.cut:
        parts.append(f"counted as slower: {speed.cut} without an answer in the time allowed")
    if untimed:
        parts.append(f"{untimed} without a time (typed, or asked twice)")
    return "; ".join([_quantile_words(speed), *parts])


def _quantile_words(speed: Speed) -> str:
    if not speed.quantiles:
        return "no right answer was timed yet"
    if speed.median is None:
        return "fewer than half of the sums were answered in the time allowed"
    words = f"half of the right answers within {half_within(speed)}"
    last = speed.quantiles[-1]
    if speed.timed + speed.cut >= NINE_IN_TEN_FROM:
        words += f", nine in ten {f'within {last:.1f} s' if last else 'not in the time allowed'}"
    if speed.trimmed and not speed.cut:
        words += (
            f"; {speed.trimmed_mean:.1f} s on average without {speed.trimmed} far from the rest"
        )
    return words


def half_within(speed: Speed) -> str:
    """``2.1 s (1.8 to 2.6)``; empty when the median is not known."""
    if speed.median is None:
        return ""
    if speed.median_interval is None:
        return f"{speed.median:.1f} s"
    low, high = _ends(speed.median_interval)
    limits = f"{low:.1f} or more" if isinf(high) else f"{low:.1f} to {high:.1f}"
    return f"{speed.median:.1f} s ({limits})"


def seconds_words(spread: Spread | None) -> str:
    """``2.5 s``, or ``2.5 s (2.2 to 2.9)``; empty where nothing is known."""
    if spread is None:
        return ""
    low, high = f"{spread.low:.1f}", f"{spread.high:.1f}"
    return f"{spread.middle:.1f} s" + (f" ({low} to {high})" if low != high else "")


def percent_words(spread: Spread | None) -> str:
    """``85 %``, or ``85 % (78 to 93)``; empty where nothing is known."""
    if spread is None:
        return ""
    low, middle, high = (round(100 * end) for end in (spread.low, spread.middle, spread.high))
    return f"{middle} %" + (f" ({low} to {high})" if low != high else "")


def thirds_words(thirds: Sequence[Third]) -> str:
    """Whether it is the quick answers that are wrong, or the slow ones."""
    quick, middle, slow = (
        f"{third.right} of {third.count} right at about {third.latency_s:.1f} s" for third in thirds
    )
    return f"the quickest third: {quick}; the middle: {middle}; the slowest: {slow}"


def latency_change(trend: Trend) -> str:
    """``quicker by 0.3 s a week (0.1 to 0.5)``, or the limits between which it lies."""
    low, high = _ends(trend.interval)
    digits = 1 if min(abs(low), abs(high)) >= 0.05 else 2
    return _change(trend, "quicker", "slower", lambda change: f"{abs(change):.{digits}f}", " s")


def accuracy_change(trend: Trend) -> str:
    """``more by 4 in 100 a week (1 to 7)``, or the limits between which it lies."""
    return _change(trend, "fewer", "more", lambda change: f"{abs(100 * change):.0f}", " in 100")


def _change(trend: Trend, less: str, more: str, number: Callable[[float], str], unit: str) -> str:
    low, high = _ends(trend.interval)
    if low == high == 0:
        return "no change"
    if trend.certain:
        near, far = sorted((low, high), key=abs)
        way = less if high < 0 else more
        return f"{way} by {number(trend.per_week)}{unit} a week ({number(near)} to {number(far)})"
    ends = [
        f"{number(end)}{unit} {less if end < 0 else more}" if end else "no change"
        for end in (low, high)
    ]
    return f"no sure change, between {ends[0]} and {ends[1]} a week"


def weakness_words(weakness: Weakness) -> str:
    """What repeats: the slip, the rule, or the slip at the rule."""
    kind = weakness.kind.replace("-", " ") if weakness.kind else ""
    return " at ".join(filter(None, (kind, weakness.rule.name if weakness.rule else "")))


def _ends(interval: Interval) -> tuple[float, float]:
    return interval.low, interval.high
