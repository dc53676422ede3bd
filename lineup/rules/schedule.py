"""What one athlete's schedule breaks and costs: it depends on the athlete and the races worked, on nothing else."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations
from typing import Final

from lineup.eligibility import may_start
from lineup.limits import Limit
from lineup.rules import counts, rest
from lineup.rules.driving import driving_hours
from lineup.rules.findings import Case, Finding, HomeClock
from lineup.rules.timeline import Duty, Journeys, block_duty, past_duties
from lineup.rules.windows import Window, linear_windows
from lineup.season import Season

Rule = Callable[[Case, Limit], Iterator[Finding]]

RULES: Final[Mapping[str, Rule]] = {
    "rest_hours": rest.rest_hours,
    "duty_hours": rest.duty_hours,
    "weekly_rest_hours": rest.weekly_rest_hours,
    "rolling_rest_hours": rest.rolling_rest_hours,
    "races_per_weekend": counts.races_per_weekend,
    "weekends_in_a_row": counts.weekends_in_a_row,
    "races_in_days": counts.races_in_days,
    "nights_away_in_days": counts.nights_away_in_days,
    "travel_hours_in_days": counts.travel_hours_in_days,
    "starts": counts.starts,
    "driving_hours": driving_hours,
}
FAR_APART_H: Final = 14 * 24.0  # no rule about two duties looks further
MOST_REMEMBERED: Final = 100_000


@dataclass(frozen=True, slots=True)
class Breach:
    """One limit passed over, with the figure next to the limit. `cost_s` None: forbidden; else what it costs."""

    rule: str
    athlete: str | None
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
        findings = list(rest.one_seat(case))
        night, day = self.season.limits.get("rest_hours"), self.season.limits.get("duty_hours")
        if night is not None:
            findings += rest.rest_hours(case, night)
        if day is not None and len(case.rest.shifts) == 1:  # else each is its own day, told by the race alone
            findings += rest.duty_hours(case, day)
        return findings

    def windows(self, athlete: str) -> tuple[Window, ...]:
        """Linear parts of starts, races_per_weekend, weekends_in_a_row and races_in_days.

        With assess() on whole schedules for the rest, they say all there is to say about these four.
        """
        person = self._person(athlete)
        return tuple(linear_windows(self.season.limits, self.duties, person.past, person.may_start))

    def past(self, athlete: str) -> tuple[Duty, ...]:
        """Duties of an athlete before the block."""
        return self._person(athlete).past

    def places(self, race: str) -> float | None:
        """Travel places of a race: its own in races.csv, else those of limits.toml; None where nothing binds."""
        own, limit = self.season.races[race].travel_places, self.season.limits.get("travel_places")
        return own if own is not None else None if limit is None else limit.at_most

    def places_beyond(self, race: str, people: int) -> Breach | None:
        """Say what so many people, starters and reserves, are beyond a race's travel places; None where they fit."""
        places, limit = self.places(race), self.season.limits.get("travel_places")
        if places is None or people <= places:
            return None
        text = f"{people} people for {places:g} travel places at {self.season.label('races', race)}"
        price_s = None if limit is None else limit.price_s
        cost_s = None if price_s is None else price_s * (people - places)
        return Breach("travel_places", None, race, None, None, people, places, text, cost_s)

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
        findings = list(rest.one_seat(case))
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
        duties = _in_order(worked + reserve)
        trips = self._journeys.chain(duties)
        counted = self._rules.season.limits.reserves_count or not reserve
        resting = trips if counted else self._journeys.chain(worked)
        needs_start = self._rules.season.limits.get("starts") is not None
        return Case(
            self._rules.season,
            self._athlete,
            worked,
            duties,
            resting,
            trips,
            self._rules.weeks,
            self._clock,
            needs_start and self.may_start,
        )


def _in_order(duties: tuple[Duty, ...]) -> tuple[Duty, ...]:
    return tuple(sorted(duties, key=lambda duty: (duty.report, duty.released)))
