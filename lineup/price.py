"""What a plan costs, item by item, in seconds: the one evaluator that optimiser, swaps and pages share."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from lineup.eligibility import passed_over
from lineup.errors import PlanFileError
from lineup.plan import Assignment, EntryForecast
from lineup.rules import Breach, ScheduleRules
from lineup.season import Entry, Season, Seat
from lineup.settings import Settings
from lineup.skills import SkillEstimates
from lineup.stop_model.stops import StopModel, forecast_entry
from lineup.suggest import did_you_mean
from lineup.tariff import Crew, Tariff


@dataclass(frozen=True, slots=True)
class Priced:
    """What a plan costs.

    Attributes
    ----------
    value_s : sum of `costs`, seconds.
    costs : seconds by item; items that cost nothing are left out, except "stops".
    entries : forecast of each service of each entry that has anybody in it.
    priced : every priced limit that is passed over: by whom, where, and what it costs.
    notes : seats that must be filled and are not, their work counting as no time; entries with nobody, left out.
    """

    value_s: float
    costs: Mapping[str, float]
    entries: tuple[EntryForecast, ...] = ()
    priced: tuple[Breach, ...] = ()
    notes: tuple[str, ...] = ()


class Pricer(Tariff):
    """Prices whole and partly filled plans of one block; see `Tariff` for the pieces."""

    def __init__(
        self,
        season: Season,
        model: StopModel,
        weekends: Sequence[str],
        settings: Settings,
        estimates: SkillEstimates | None = None,
    ) -> None:
        super().__init__(season, model, weekends, settings, estimates)
        self.rules = ScheduleRules(season, self.weekends)

    def price(self, assignments: Iterable[Assignment]) -> Priced:
        """Price a plan, partly filled or whole, with the forecast of its stops.

        Raises
        ------
        PlanFileError
            When an assignment names something the block does not have, or a seat twice.
        InputError
            When an athlete has no clearance of any level for the position, so that no stop can be forecast.
        """
        crews = self.crews(assignments)
        costs, priced = self._costs(crews)
        value_s = sum(costs.values())
        paid = (*self._seats_passed_over(crews), *priced)
        return Priced(value_s, costs, tuple(self._forecasts(crews)), paid, tuple(self._notes(crews)))

    def value(self, assignments: Iterable[Assignment]) -> float:
        """Value of a plan in seconds, without forecasts; raises as `price` does."""
        return sum(self._costs(self.crews(assignments))[0].values())

    def costs(self, crews: Mapping[Entry, Crew]) -> Mapping[str, float]:
        """Cost items of a lineup given as crews, seconds, without forecasts."""
        return self._costs(crews)[0]

    def crews(self, assignments: Iterable[Assignment]) -> dict[Entry, dict[str, str]]:
        """Crew of each entry of the block that has anybody in it, in order of report.

        Raises
        ------
        PlanFileError
            When an assignment names something the block does not have, or a seat twice.
        """
        found: dict[Entry, dict[str, str]] = {}
        for assignment in assignments:
            _check(self.season, self.weekends, assignment)
            crew = found.setdefault(assignment.seat.entry, {})
            if assignment.position in crew:
                both = f"{crew[assignment.position]} and {assignment.athlete}"
                raise PlanFileError(f"the plan fills {_place(self.season, assignment.seat)} twice: {both}")
            crew[assignment.position] = assignment.athlete
        return {entry: found[entry] for entry in self.entries if entry in found}

    def with_schedule(self, working: Collection[str]) -> tuple[str, ...]:
        """Athletes whose schedule can break a limit: those working; where starts are asked of each, all who may start.

        In the season's order.
        """
        limit = self.season.limits.get("starts")
        idle = self.starters if limit is not None and limit.at_least is not None else frozenset()
        return tuple(athlete for athlete in self.season.athletes if athlete in working or athlete in idle)

    def _costs(self, crews: Mapping[Entry, Crew]) -> tuple[dict[str, float], list[Breach]]:
        costs = {"stops": sum(self.entry_value(entry, crew) for entry, crew in crews.items())}
        races: dict[str, list[str]] = {}
        present: dict[str, set[str]] = {}
        for entry, crew in crews.items():
            present.setdefault(entry.race, set()).update(crew.values())
            for position, athlete in crew.items():
                races.setdefault(athlete, []).append(entry.race)
                _add(costs, self.seat_items(athlete, Seat(entry.race, entry.car, position)))
        _add(costs, {"crew_changes": self.crew_changes_s(crews)})
        priced: list[Breach] = []
        for athlete in self.with_schedule(races):
            assessment = self.rules.assess(athlete, races.get(athlete, ()))
            _add(costs, assessment.costs)
            priced += assessment.priced
        for race, athletes in present.items():
            beyond = self.rules.places_beyond(race, len(athletes))
            if beyond is not None and beyond.cost_s is not None:
                _add(costs, {"limit:travel_places": beyond.cost_s})
                priced.append(beyond)
        _add(costs, {"uneven": self.uneven({athlete: len(worked) for athlete, worked in races.items()})})
        return costs, priced

    def _seats_passed_over(self, crews: Mapping[Entry, Crew]) -> Iterator[Breach]:
        for entry, crew in crews.items():
            for position, athlete in crew.items():
                for verdict in passed_over(self.season, athlete, Seat(entry.race, entry.car, position)):
                    figure, limit = verdict.figure or 0.0, verdict.limit or 0.0
                    place = (entry.race, entry.car, position)
                    yield Breach(verdict.rule or "", athlete, *place, figure, limit, verdict.text, verdict.price_s)

    def crew_changes_s(self, crews: Mapping[Entry, Crew]) -> float:
        """Cost of the seats whose athlete did not hold them at the car's race before, seconds."""
        count = 0
        for entry, crew in crews.items():
            for position, athlete in crew.items():
                before = self.previous[Seat(entry.race, entry.car, position)]
                if isinstance(before, Seat):
                    before = crews.get(before.entry, {}).get(before.position)
                count += before is not None and before != athlete
        return self.season.weights.crew_change_s * count

    def _forecasts(self, crews: Mapping[Entry, Crew]) -> Iterator[EntryForecast]:
        for entry, crew in crews.items():
            for bank, _ in self.services(entry.race):
                yield forecast_entry(bank, crew, entry.race, entry.car, self.season.weights.tail_share)

    def _notes(self, crews: Mapping[Entry, Crew]) -> Iterator[str]:
        season = self.season
        for entry in self.entries:
            if entry not in crews:
                yield f"{season.label('races', entry.race)}, car {season.label('cars', entry.car)}: nobody, left out"
                continue
            for seat in season.seats(entry.race, entry.car):
                if seat.position not in crews[entry] and season.positions[seat.position].filled == "always":
                    yield f"{_place(season, seat)}: nobody, its work counts as no time"


def _add(costs: dict[str, float], items: Mapping[str, float]) -> None:
    for name, seconds in items.items():
        if seconds:
            costs[name] = costs.get(name, 0.0) + seconds


def _place(season: Season, seat: Seat) -> str:
    race, car = season.label("races", seat.race), season.label("cars", seat.car)
    return f"{race}, car {car}, {season.label('positions', seat.position)}"


def _check(season: Season, weekends: Sequence[str], assignment: Assignment) -> None:
    """Refuse an assignment that names something the block does not have."""
    known: tuple[tuple[str, str, Mapping[str, object]], ...] = (
        ("athlete", assignment.athlete, season.athletes),
        ("race", assignment.race, season.races),
        ("car", assignment.car, season.cars),
        ("position", assignment.position, season.positions),
    )
    for kind, name, names in known:
        if name not in names:
            raise PlanFileError(f"the plan names {kind} {name!r}, which the season lacks{did_you_mean(name, names)}")
    race, car = season.label("races", assignment.race), season.label("cars", assignment.car)
    if season.races[assignment.race].weekend not in weekends:
        raise PlanFileError(f"the plan names race {race}, which lies outside the block")
    if assignment.car not in season.cars_in[assignment.race]:
        raise PlanFileError(f"the plan names car {car} in race {race}, where it is not entered")
    if assignment.position not in season.positions_of(assignment.race):
        position = season.label("positions", assignment.position)
        raise PlanFileError(f"the plan fills {position} in race {race}, where no service has that position")
