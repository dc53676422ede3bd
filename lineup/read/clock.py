"""Turns a local clock time into a moment, and refuses one that a clock change makes impossible or unclear."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo


def utc_moment(local: datetime, zone: str) -> datetime:
    """Return the aware UTC moment of a local time without offset.

    Raises
    ------
    ValueError
        When the clock change skips this time, or shows it twice; the text says which.
    """
    early = local.replace(tzinfo=ZoneInfo(zone), fold=0)
    late = early.replace(fold=1)
    if early.utcoffset() == late.utcoffset():
        return early.astimezone(UTC)
    if early.astimezone(UTC).astimezone(early.tzinfo).replace(tzinfo=None) != local:
        raise ValueError(f"does not exist in {zone}: the clocks go forward over it")
    raise ValueError(f"exists twice in {zone}: the clocks go back over it")


def hours(count: float) -> timedelta:
    """Return so many hours as a length of time, to the second."""
    return timedelta(seconds=round(count * 3600))
