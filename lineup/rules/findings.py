"""What the schedule rules look at, one athlete's block, and what they find there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time

from lineup.rules.timeline import Chain, Duty, hours
from lineup.season import Season


@dataclass(frozen=True, slots=True)
class Finding:
    """One limit passed over, at a race of the block, with the figure next to the limit and in words.

    `once`: it counts as one unit beyond, however far the figure lies from the limit.
    """

    rule: str
    race: str
    figure: float
    limit: float
    text: str
    once: bool = False

    @property
    def beyond(self) -> float:
        """Units beyond the limit."""
        return 1.0 if self.once else abs(self.figure - self.limit)


class HomeClock:
    """Moments at which days begin on an athlete's home clock, in hours since 1970."""

    def __init__(self, season: Season, home: str) -> None:
        self._zone = season.zone(home)
        self._known: dict[int, float] = {}

    def midnight(self, day: int) -> float:
        """Start of a day given as an ordinal; local days have 23 or 25 hours at a clock change."""
        if day not in self._known:
            self._known[day] = hours(datetime.combine(date.fromordinal(day), time(), self._zone))
        return self._known[day]


@dataclass(frozen=True, slots=True)
class Case:
    """One athlete's duties before and in the block.

    Attributes
    ----------
    starts : duties with a seat, in order of report; those before the block count as such.
    duties : `starts` and trips as a reserve, in order of report.
    rest : chain of what counts for rest: starts, and trips as a reserve where limits.toml says so.
    trips : chain of everything that is travelled to.
    weeks : ISO weeks of the block.
    clock : days on the athlete's home clock.
    may_start : whether any seat of the block may be filled by this athlete.
    """

    season: Season
    athlete: str
    starts: tuple[Duty, ...]
    duties: tuple[Duty, ...]
    rest: Chain
    trips: Chain
    weeks: frozenset[int]
    clock: HomeClock
    may_start: bool

    @property
    def who(self) -> str:
        """Name and id."""
        return self.season.label("athletes", self.athlete)

    def name(self, race: str) -> str:
        """Race as messages show it; races before the season's own show their id."""
        return self.season.label("races", race) if race in self.season.races else race


def shown_at(before: Sequence[Duty], after: Sequence[Duty] = ()) -> str:
    """Race of the block that a finding is shown at: the first of the later duties, else the last of the earlier."""
    return next(duty.race for duty in (*after, *reversed(before)) if duty.block)


def shown(day: int) -> str:
    """Write the day of an ordinal as messages show it."""
    found = date.fromordinal(day)
    return f"{found.day} {found:%b %Y}"
