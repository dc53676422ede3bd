"""How many stops of an athlete were graded lately, position by position."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from datetime import date
from weakref import WeakKeyDictionary

import pandas as pd

from lineup.season import Season

_GRADED: WeakKeyDictionary[Season, Mapping[tuple[str, str], Mapping[date, int]]] = WeakKeyDictionary()


def graded_stops(season: Season, athlete: str, position: str, first: date, last: date) -> int:
    """Count an athlete's graded stops in a position between two days, both included.

    A stop that has no id is told from others of its day by its grades: as many as the most-graded task has.
    """
    return sum(count for day, count in _days(season, athlete, position).items() if first <= day <= last)


def last_graded(season: Season, athlete: str, position: str, last: date) -> date | None:
    """Day of an athlete's last graded stop in a position up to a day, or None."""
    return max((day for day in _days(season, athlete, position) if day <= last), default=None)


def _days(season: Season, athlete: str, position: str) -> Mapping[date, int]:
    """Graded stops by day."""
    graded = _GRADED.get(season)
    if graded is None:  # a what-if shares the grades of the season it was copied from
        shared = [known for other, known in _GRADED.items() if other.grades is season.grades]
        graded = _GRADED[season] = shared[0] if shared else _graded(season.grades)
    return graded.get((athlete, position), {})


def _graded(grades: pd.DataFrame) -> dict[tuple[str, str], dict[date, int]]:
    """Graded stops of each (athlete, position) by day."""
    named: dict[tuple[str, str, date], set[str]] = {}
    unnamed: dict[tuple[str, str, date], Counter[str]] = {}
    columns = (grades[name] for name in ("athlete", "position", "date", "stop", "task"))
    for athlete, position, moment, stop, task in zip(*columns, strict=True):
        key = (athlete, position, moment.date())
        if stop:
            named.setdefault(key, set()).add(stop)
        elif athlete:
            unnamed.setdefault(key, Counter())[task] += 1
    counts: dict[tuple[str, str], dict[date, int]] = {}
    for athlete, position, day in named.keys() | unnamed.keys():
        key = (athlete, position, day)
        total = len(named.get(key, ())) + max(unnamed.get(key, Counter()).values(), default=0)
        counts.setdefault((athlete, position), {})[day] = total
    return counts
