"""What one athlete's schedule breaks and costs: it depends on the athlete and the races worked, on nothing else."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations
from typing import Final

from lineup import count_rules, rest_rules
from lineup.driving import driving_hours
from lineup.eligibility import may_start
from lineup.findings import Case, Finding, HomeClock
from lineup.limits import Limit
from lineup.season import Season
from lineup.timeline import Duty, Journeys, block_duty, past_duties

Rule = Callable[[Case, Limit], Iterator[Finding]]

RULES: Final[Mapping[str, Rule]] = {
    "rest_hours": rest_rules.rest_hours,
    "duty_hours": rest_rules.duty_hours,
    "weekly_rest_hours": rest_rules.weekly_rest_hours,
    "rolling_rest_hours": rest_rules.rolling_rest_hours,
    "races_per_weekend": count_rules.races_per_weekend,
    "weekends_in_a_row": count_rules.weekends_in_a_row,
    "races_in_days": count_rules.races_in_days,
    "nights_away_in_days": count_rules.nights_away_in_days,
    "travel_hours_in_days": count_rules.travel_hours_in_days,
    "starts": count_rules.starts,
    "driving_hours": driving_hours,
}
FAR_APART_H: Final = 14 * 24.0  # no rule about two duties looks further
MOST_REMEMBERED: Final = 100_000


@dataclass(frozen=True, slots=True)
class Breach:
    """One limit passed over, with the figure next to the limit. `cost_s` None: forbidden; else what it costs."""

    rule: str
    athlete: str
    race: str | None
    car: str | None
    position: str | None
    figure: float
    limit: float
    text: str
    cost_s: float | None = None


@dataclass(frozen=True, slots=True)
class Assessment:
    """What a schedule breaks and costs.

    Attributes
    ----------
    breaches : hard limits that are broken.
    costs : seconds by cost item: "travel" and "limit:NAME" of each priced limit passed over.
    priced : what each of those costs comes from.
    travel_h : hours travelled for duties of the block.
    """

    breaches: tuple[Breach, ...] = ()
    costs: Mapping[str, float] = field(default_factory=dict)
    priced: tuple[Breach, ...] = ()
    travel_h: float = 0.0

    @property
    def cost_s(self) -> float:
        """All costs together."""
        return sum(self.costs.values())


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


class ScheduleRules:
    """The schedule rules of one block; answers are remembered."""

    def __init__(self, season: Season, weekends: Sequence[str]) -> None:
        self.season = season
        self.weekends = tuple(weekends)
        self.duties = {race.id: block_duty(season, race.id) for race in season.races_of(self.weekends)}
        self.weeks = frozenset(duty.week for duty in self.duties.values())
        self._people: dict[str, _Person] = {}
        self._known: dict[tuple[str, frozenset[str], frozenset[str]], Assessment] = {}
        self._active = [(RULES[name], limit) for name, limit in season.limits.by_name.items() if name in RULES]

    def assess(self, athlete: str, races: Sequence[str], reserve_trips: Sequence[str] = ()) -> Assessment:
        """Say what working these races of the block breaks and costs an athlete.

        Parameters
        ----------
        races : races worked with a seat, in any order.
        reserve_trips : races travelled to without one: they count for nights, travel and driving, and for rest,
            long days and weekends in a row where limits.toml says `reserves_count = true`.
        """
        key = (athlete, frozenset(races), frozenset(reserve_trips))
        known = self._known.get(key)
        if known is None:
            if len(self._known) >= MOST_REMEMBERED:
                self._known.clear()
            known = self._known[key] = self._assess(*key)
        return known

    def pair_verdicts(self, athlete: str) -> Mapping[tuple[str, str], Assessment]:
        """Say what each pair of races, taken alone, breaks or costs through one_seat, rest_hours and duty_hours.

        Only pairs with something to say are listed, in order of report.
        """
        found = {}
        for first, second in combinations(self.duties.values(), 2):
            if second.report - first.released < FAR_APART_H:
                findings = self._pair(self._person(athlete).case((first, second), (), past=False))
                if findings:
                    found[first.race, second.race] = self._answer(athlete, findings, 0.0)
        return found

    def _pair(self, case: Case) -> list[Finding]:
        findings = list(rest_rules.one_seat(case))
        rest, day = self.season.limits.get("rest_hours"), self.season.limits.get("duty_hours")
        if rest is not None:
            findings += rest_rules.rest_hours(case, rest)
        if day is not None and len(case.rest.shifts) == 1:  # else each is its own day, told by the race alone
            findings += rest_rules.duty_hours(case, day)
        return findings

    def windows(self, athlete: str) -> tuple[Window, ...]:
        """Linear parts of starts, races_per_weekend, weekends_in_a_row and races_in_days.

        With assess() on whole schedules for the rest, they say all there is to say about these four.
        """
        return tuple(self._windows(self._person(athlete)))

    def past(self, athlete: str) -> tuple[Duty, ...]:
        """Duties of an athlete before the block."""
        return self._person(athlete).past

    @cached_property
    def may_start(self) -> frozenset[str]:
        """Athletes who may start somewhere in the block."""
        return may_start(self.season, self.weekends)

    def _person(self, athlete: str) -> _Person:
        if athlete not in self._people:
            self._people[athlete] = _Person(self, athlete)
        return self._people[athlete]

    def _assess(self, athlete: str, races: frozenset[str], trips: frozenset[str]) -> Assessment:
        starts = tuple(duty for race, duty in self.duties.items() if race in races)
        reserve = tuple(duty for race, duty in self.duties.items() if race in trips)
        case = self._person(athlete).case(starts, reserve)
        findings = list(rest_rules.one_seat(case))
        for rule, limit in self._active:
            findings += rule(case, limit)
        travel_h = sum(case.trips.travel_h(i) for i, shift in enumerate(case.trips.shifts) if shift.block)
        return self._answer(athlete, findings, travel_h)

    def _answer(self, athlete: str, findings: Sequence[Finding], travel_h: float) -> Assessment:
        broken, priced, costs = [], [], {}
        travel_s = self.season.weights.travel_hour_s * travel_h
        if travel_s:
            costs["travel"] = travel_s
        for finding in findings:
            limit = self.season.limits.get(finding.rule)
            price_s = None if limit is None else limit.price_s
            cost_s = None if price_s is None else price_s * finding.beyond
            breach = Breach(
                finding.rule,
                athlete,
                finding.race or None,
                None,
                None,
                finding.figure,
                finding.limit,
                finding.text,
                cost_s,
            )
            if cost_s is None:
                broken.append(breach)
            else:
                priced.append(breach)
                item = f"limit:{finding.rule}"
                costs[item] = costs.get(item, 0.0) + cost_s
        return Assessment(tuple(broken), costs, tuple(priced), travel_h)

    def _windows(self, person: _Person) -> Iterator[Window]:
        limits = self.season.limits
        every = tuple((race,) for race in self.duties)
        limit = limits.get("starts")
        if limit is not None:
            least = limit.at_least if person.may_start else None
            yield Window("starts", every, limit.at_most, least, limit.price_s)
        limit = limits.get("races_per_weekend")
        if limit is not None and limit.at_most is not None:
            for week in sorted(self.weeks):
                races = tuple(race for race, duty in self.duties.items() if duty.week == week)
                before = sum(duty.week == week for duty in person.past)
                groups = tuple((race,) for race in races)
                yield Window("races_per_weekend", groups, limit.at_most - before, None, limit.price_s, races)
        limit = limits.get("races_in_days")
        if limit is not None and limit.at_most is not None and limit.days is not None:
            for race, last in self.duties.items():
                span = range(last.day - limit.days + 1, last.day + 1)
                groups = tuple((other,) for other, duty in self.duties.items() if duty.day in span)
                before = sum(duty.day in span for duty in person.past)
                yield Window("races_in_days", groups, limit.at_most - before, None, limit.price_s, (race,))
        limit = limits.get("weekends_in_a_row")
        if limit is not None and limit.at_most is not None:
            yield from self._runs(person, int(limit.at_most), limit.price_s)

    def _runs(self, person: _Person, most: int, price_s: float | None) -> Iterator[Window]:
        """One window per weekend of the block and the weekends before it, where all of them could be worked."""
        worked = {duty.week for duty in person.past}
        for week in sorted(self.weeks):
            run = range(week - most, week + 1)
            if all(w in self.weeks or w in worked for w in run):
                openweeks = [w for w in run if w not in worked]
                groups = tuple(tuple(r for r, duty in self.duties.items() if duty.week == w) for w in openweeks)
                here = tuple(race for race, duty in self.duties.items() if duty.week == week)
                yield Window("weekends_in_a_row", groups, most - (len(run) - len(groups)), None, price_s, here)


class _Person:
    """An athlete's past, ways and clock, kept for the next question."""

    def __init__(self, rules: ScheduleRules, athlete: str) -> None:
        self._rules = rules
        self._athlete = athlete
        self._journeys = Journeys(rules.season, athlete)
        self._clock = HomeClock(rules.season, self._journeys.home)
        self.past = past_duties(rules.season, athlete, rules.duties)

    @cached_property
    def may_start(self) -> bool:
        """Whether any seat of the block may be filled by this athlete."""
        return self._athlete in self._rules.may_start

    def case(self, starts: tuple[Duty, ...], reserve: tuple[Duty, ...], past: bool = True) -> Case:
        """Everything the rules look at, for these duties of the block."""
        before = self.past if past else ()
        worked = _in_order(before + starts)
        duties = _in_order(worked + reserve) if reserve else worked
        trips = self._journeys.chain(duties)
        counted = self._rules.season.limits.reserves_count or not reserve
        rest = trips if counted else self._journeys.chain(worked)
        needs_start = self._rules.season.limits.get("starts") is not None
        return Case(
            self._rules.season,
            self._athlete,
            worked,
            duties,
            rest,
            trips,
            self._rules.weeks,
            self._clock,
            needs_start and self.may_start,
        )


def _in_order(duties: tuple[Duty, ...]) -> tuple[Duty, ...]:
    return tuple(sorted(duties, key=lambda duty: (duty.report, duty.released)))
