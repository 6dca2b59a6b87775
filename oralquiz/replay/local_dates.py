"""Dates and times for people: a file keeps UTC, a reader has a clock on the wall."""

from __future__ import annotations

from datetime import datetime


def local_time(iso: str) -> str:
    """An ISO 8601 time as this computer's clock shows it, to the minute."""
    try:
        return datetime.fromisoformat(iso).astimezone().strftime("%Y-%m-%d %H:%M")
    except (ValueError, OverflowError):  # a session file from elsewhere may say anything
        return iso[:16]


def local_date(iso: str) -> str:
    """The day of an ISO 8601 time on this computer's calendar."""
    return local_time(iso)[:10]
