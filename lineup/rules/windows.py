"""The linear part of the counting rules, for solvers: how many of these races, or weekends, may be worked."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from lineup.limits import Limit, Limits
from lineup.rules.timeline import Duty

Duties = Mapping[str, Duty]  # of the block, by race, in order of report


@dataclass(frozen=True, slots=True)
class Window:
    """A linear part of a limit: of these groups of races, an athlete works in at most, or at least, so many.

    Attributes
    ----------
    rule : the limit.
    groups : a group counts once however many of its races are worked.
    most, least : what is left of the limit after the duties before the block; None where there is no such side.
    price_s : None: hard; else each group beyond (or short) costs that much.
    trigger : the window counts only when one of these races is worked; empty: always. A hard window holds
        either way.
    """

    rule: str
    groups: tuple[tuple[str, ...], ...]
    most: float | None = None
    least: float | None = None
    price_s: float | None = None
    trigger: tuple[str, ...] = ()


def linear_windows(limits: Limits, duties: Duties, past: Sequence[Duty], may_start: bool) -> Iterator[Window]:
    """Linear parts of starts, races_per_weekend, races_in_days and weekends_in_a_row for one athlete."""
    starts, weekend = limits.get("starts"), limits.get("races_per_weekend")
    days, row = limits.get("races_in_days"), limits.get("weekends_in_a_row")
    if starts is not None:
        yield from _starts(starts, duties, may_start)
    if weekend is not None:
        yield from _per_weekend(weekend, duties, past)
    if days is not None:
        yield from _in_days(days, duties, past)
    if row is not None:
        yield from _in_a_row(row, duties, past)


def _starts(limit: Limit, duties: Duties, may_start: bool) -> Iterator[Window]:
    every = tuple((race,) for race in duties)
    yield Window("starts", every, limit.at_most, limit.at_least if may_start else None, limit.price_s)


def _per_weekend(limit: Limit, duties: Duties, past: Sequence[Duty]) -> Iterator[Window]:
    for week in sorted({duty.week for duty in duties.values()}):
        races = tuple(race for race, duty in duties.items() if duty.week == week)
        most = limit.most - sum(duty.week == week for duty in past)
        yield Window("races_per_weekend", tuple((race,) for race in races), most, None, limit.price_s, races)


def _in_days(limit: Limit, duties: Duties, past: Sequence[Duty]) -> Iterator[Window]:
    for race, last in duties.items():
        span = range(last.day - limit.window_days + 1, last.day + 1)
        groups = tuple((other,) for other, duty in duties.items() if duty.day in span)
        most = limit.most - sum(duty.day in span for duty in past)
        yield Window("races_in_days", groups, most, None, limit.price_s, (race,))


def _in_a_row(limit: Limit, duties: Duties, past: Sequence[Duty]) -> Iterator[Window]:
    """One window per weekend of the block with the weekends before it, where all of them could be worked."""
    most = int(limit.most)
    weeks, worked = {duty.week for duty in duties.values()}, {duty.week for duty in past}
    for week in sorted(weeks):
        run = range(week - most, week + 1)
        if all(w in weeks or w in worked for w in run):
            open_weeks = [w for w in run if w == week or w not in worked]
            groups = tuple(tuple(race for race, duty in duties.items() if duty.week == w) for w in open_weeks)
            yield Window("weekends_in_a_row", groups, most - (len(run) - len(groups)), None, limit.price_s, groups[-1])
