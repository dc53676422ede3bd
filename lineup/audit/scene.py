"""A plan laid over its season: who works where, who travels, what each athlete did before."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cached_property
from weakref import WeakKeyDictionary

from lineup.audit.diary import Diary, Stint
from lineup.audit.sitting import may_sit
from lineup.errors import PlanFileError
from lineup.limits import Limit
from lineup.plan import Assignment, Plan
from lineup.season import Entry, Race, Season, Seat

_ABLE: WeakKeyDictionary[Season, dict[tuple[str, ...], frozenset[str]]] = WeakKeyDictionary()


class Scene:
    """What every check looks at.

    Raises
    ------
    PlanFileError
        When the plan names something the block does not have.
    """

    def __init__(self, season: Season, plan: Plan, weekends: tuple[str, ...]) -> None:
        self.season = season
        self.plan = plan
        self.weekends = weekends
        self.races: Mapping[str, Race] = {race.id: race for race in season.races_of(weekends)}
        self._diaries: dict[tuple[str, bool], Diary] = {}
        for assignment in plan.assignments:
            self._known(assignment)
        for reserve in plan.reserves:
            if reserve.athlete not in season.athletes or reserve.race not in self.races:
                raise PlanFileError(f"the plan's reserve {reserve.athlete!r} at {reserve.race!r} is not in the block")

    def _known(self, assignment: Assignment) -> None:
        known = (
            assignment.athlete in self.season.athletes
            and assignment.race in self.races
            and assignment.car in self.season.cars_in[assignment.race]
            and assignment.position in self.season.positions_of(assignment.race)
        )
        if not known:
            words = (
                f"{assignment.athlete!r} as {assignment.position!r} on car {assignment.car!r} at {assignment.race!r}"
            )
            raise PlanFileError(f"the plan's {words} is not in the block")

    @cached_property
    def seats(self) -> tuple[Seat, ...]:
        """Every seat of the block."""
        return tuple(
            seat for race in self.races for car in self.season.cars_in[race] for seat in self.season.seats(race, car)
        )

    @cached_property
    def crews(self) -> Mapping[Entry, Mapping[str, str]]:
        """Athlete by position of each entry that has anybody in it, by race and then in the season's car order."""
        found: dict[Entry, dict[str, str]] = {}
        for assignment in self.plan.assignments:
            found.setdefault(assignment.seat.entry, {}).setdefault(assignment.position, assignment.athlete)
        order = [Entry(race, car) for race in self.races for car in self.season.cars_in[race]]
        return {entry: found[entry] for entry in order if entry in found}

    @cached_property
    def worked(self) -> Mapping[str, tuple[str, ...]]:
        """Races each athlete starts in, in order of report, one name per seat."""
        return self._by_athlete((a.athlete, a.race) for a in self.plan.assignments)

    @cached_property
    def trips(self) -> Mapping[str, tuple[str, ...]]:
        """Races each athlete travels to as a reserve, in order of report."""
        return self._by_athlete((r.athlete, r.race) for r in self.plan.reserves)

    def _by_athlete(self, pairs: Iterable[tuple[str, str]]) -> dict[str, tuple[str, ...]]:
        order = {race: number for number, race in enumerate(self.races)}
        found: dict[str, list[str]] = {athlete: [] for athlete in self.season.athletes}
        for athlete, race in pairs:
            found[athlete].append(race)
        return {athlete: tuple(sorted(races, key=order.__getitem__)) for athlete, races in found.items()}

    @cached_property
    def seats_of(self) -> Mapping[tuple[str, str], tuple[Seat, ...]]:
        """Seats of each (athlete, race) that has any."""
        found: dict[tuple[str, str], list[Seat]] = {}
        for a in self.plan.assignments:
            found.setdefault((a.athlete, a.race), []).append(a.seat)
        return {key: tuple(seats) for key, seats in found.items()}

    @cached_property
    def able(self) -> frozenset[str]:
        """Athletes who may start in some seat of the block."""
        known = _ABLE.setdefault(self.season, {})
        if self.weekends not in known:
            athletes, seats = self.season.athletes, self.seats
            known[self.weekends] = frozenset(a for a in athletes if any(may_sit(self.season, a, s) for s in seats))
        return known[self.weekends]

    def diary(self, athlete: str, with_trips: bool) -> Diary:
        """Diary of an athlete, with or without trips as a reserve."""
        if (athlete, with_trips) not in self._diaries:
            facts = self.season.races
            stints = [
                Stint(row.race, row.site, row.report, row.released, False)
                for row in self.season.worked
                if row.athlete == athlete and row.race not in self.races
            ]
            planned = [*dict.fromkeys(self.worked[athlete]), *(self.trips[athlete] if with_trips else ())]
            stints += [
                Stint(race, facts[race].site, facts[race].report, facts[race].released, True) for race in planned
            ]
            self._diaries[athlete, with_trips] = Diary(self.season, athlete, stints)
        return self._diaries[athlete, with_trips]

    def resting_diary(self, athlete: str) -> Diary:
        """Diary of what counts for rest: trips as a reserve only where limits.toml says so."""
        return self.diary(athlete, self.season.limits.reserves_count)

    def busy_athletes(self) -> tuple[str, ...]:
        """Athletes with anything to do in the block."""
        return tuple(athlete for athlete in self.season.athletes if self.worked[athlete] or self.trips[athlete])

    def limit(self, name: str) -> Limit | None:
        """Limit of this name, if it binds."""
        return self.season.limits.get(name)

    def who(self, athlete: str) -> str:
        """Name and id of an athlete."""
        return self.season.label("athletes", athlete)

    def race(self, race: str) -> str:
        """Name and id of a race; one before the season's own shows its id."""
        return self.season.label("races", race) if race in self.season.races else race

    def place(self, seat: Seat) -> str:
        """Seat in words."""
        car, position = self.season.label("cars", seat.car), self.season.label("positions", seat.position)
        return f"{position} on car {car} at {self.race(seat.race)}"
