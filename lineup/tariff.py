"""The pieces that a plan's cost is made of: what an entry's stops, a seat, a start away from an even share cost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from lineup.eligibility import may_start, passed_over
from lineup.season import Entry, Season, Seat
from lineup.settings import Settings
from lineup.skills import SkillEstimates
from lineup.stop_model.stops import ServiceBank, StopModel, blend
from lineup.unsure import Unsure

Crew = Mapping[str, str]  # athlete by position

MOST_REMEMBERED: Final = 300_000


class Tariff:
    """Prices of one block on one stop model; stop times of crews are remembered.

    Parameters
    ----------
    estimates : what the model was sampled from; needed where `keep_chance` is above zero, and made from the
        season's grades when it is not given.
    """

    def __init__(
        self,
        season: Season,
        model: StopModel,
        weekends: Sequence[str],
        settings: Settings,
        estimates: SkillEstimates | None = None,
    ) -> None:
        self.season = season
        self.model = model
        self.weekends = tuple(weekends)
        self.tail = season.weights.tail if settings.tail is None else settings.tail
        self._estimates = estimates
        self._stops: dict[tuple[str, str, bytes], tuple[float, float]] = {}
        self._seats: dict[tuple[str, Seat], Mapping[str, float]] = {}

    @cached_property
    def entries(self) -> tuple[Entry, ...]:
        """Entries of the block, by race in order of report."""
        races = self.season.races_of(self.weekends)
        return tuple(Entry(race.id, car) for race in races for car in self.season.cars_in[race.id])

    @cached_property
    def seats(self) -> tuple[Seat, ...]:
        """Seats of the block, in the order of `entries`."""
        return tuple(seat for entry in self.entries for seat in self.season.seats(entry.race, entry.car))

    @cached_property
    def priority(self) -> Mapping[str, float]:
        """Priority of each car over the mean priority of the season's cars."""
        mean = sum(car.priority for car in self.season.cars.values()) / len(self.season.cars)
        return {car.id: car.priority / mean for car in self.season.cars.values()}

    def services(self, race: str) -> tuple[tuple[ServiceBank, float], ...]:
        """Return the sampled stops of each service of a race, with the number of such stops expected of a car."""
        return self._services[race]

    # ------------------------------------------------------------------------------------------------------- stops

    def entry_value(self, entry: Entry, crew: Crew) -> float:
        """Stop cost of an entry, seconds: priority times the sum of count times mean and tail mean blended.

        Raises
        ------
        InputError
            When someone in the crew has no clearance of any level for the position, hence no sampled stops.
        """
        total = sum(count * self._stop(bank, crew)[0] for bank, count in self.services(entry.race))
        return self.priority[entry.car] * total

    def entry_values(self, entry: Entry, crew: Crew, position: str, athletes: Sequence[str]) -> NDArray[np.float64]:
        """Stop cost of an entry with each of some athletes in one position, seconds, shape (athletes,).

        At least one athlete; what the crew says of that position does not matter. Raises as `entry_value` does.
        """
        total = np.zeros(len(athletes))
        for bank, count in self.services(entry.race):
            if position in bank.positions:
                rows = [bank.row(position, athlete) for athlete in athletes]
                times = bank.with_each(bank.crew_row(crew), position, rows)
                total += count * blend(times, self.tail, self.season.weights.tail_share)
            else:
                total += count * self._stop(bank, crew)[0]
        return self.priority[entry.car] * total

    def mean_s(self, race: str, crew: Crew) -> Mapping[str, float]:
        """Mean stop of a crew in each service of a race, in seconds; raises as `entry_value` does."""
        return {bank.service: self._stop(bank, crew)[1] for bank, _ in self.services(race)}

    def _stop(self, bank: ServiceBank, crew: Crew) -> tuple[float, float]:
        """Blended and mean stop time of a crew, in seconds."""
        row = bank.crew_row(crew)
        key = (bank.service, bank.tire, row.tobytes())
        known = self._stops.get(key)
        if known is None:
            if len(self._stops) >= MOST_REMEMBERED:
                self._stops.clear()
            times = bank.stop_times(row)[0]
            blended = float(blend(times, self.tail, self.season.weights.tail_share))
            known = self._stops[key] = (blended, float(times.mean()))
        return known

    # ------------------------------------------------------------------------------------------------------- seats

    def seat_items(self, athlete: str, seat: Seat) -> Mapping[str, float]:
        """Itemise what an athlete in a seat adds whatever the rest of the plan is, in seconds by cost item.

        Items: penalties, not_standing, development, unsure_changes, limit:height, limit:recent_grades; those that
        are zero are left out.
        """
        items = self._seats.get((athlete, seat))
        if items is None:
            items = self._seats[athlete, seat] = self._price_seat(athlete, seat)
        return items

    def seat_cost(self, athlete: str, seat: Seat) -> float:
        """Sum of `seat_items`, in seconds."""
        return sum(self.seat_items(athlete, seat).values())

    def penalty_s(self, athlete: str, seat: Seat) -> float:
        """Penalty seconds expected in a race from an athlete in a seat, the car's priority left out."""
        total = 0.0
        for bank, count in self.services(seat.race):
            row = bank.rows.get(seat.position, {}).get(athlete)
            if row is not None:
                total += count * float(bank.penalty_s[seat.position][row])
        return total

    def _price_seat(self, athlete: str, seat: Seat) -> dict[str, float]:
        weights = self.season.weights
        standing = self.season.standing.get((seat.car, seat.position), athlete)
        items = {"penalties": self.priority[seat.car] * self.penalty_s(athlete, seat)}
        if standing != athlete:
            items["not_standing"] = weights.not_standing_s
            if weights.keep_chance > 0:
                items["unsure_changes"] = self.priority[seat.car] * self.unsure.added_back_s(athlete, standing, seat)
        if self.season.athletes[athlete].group == "developing":
            items["development"] = -weights.development_start_s
        for verdict in passed_over(self.season, athlete, seat):
            items |= verdict.costs
        return {name: seconds for name, seconds in items.items() if seconds}

    @cached_property
    def previous(self) -> Mapping[Seat, Seat | str | None]:
        """What each seat of the block is compared with for a crew change.

        The same seat at the car's race before in the block; else the athlete who held it at the car's last race
        that worked.csv knows; else None. A seat that was empty then makes no change now.
        """
        links: dict[Seat, Seat | str | None] = {}
        races = self.season.races_of(self.weekends)
        for car in dict.fromkeys(entry.car for entry in self.entries):
            before: Mapping[str, Seat | str] = last_crew(self.season, car, frozenset(race.id for race in races))
            for race in (entry.race for entry in self.entries if entry.car == car):
                seats = self.season.seats(race, car)
                links |= {seat: before.get(seat.position) for seat in seats}
                before = {seat.position: seat for seat in seats}
        return links

    # ------------------------------------------------------------------------------------------------------ shares

    @cached_property
    def starters(self) -> frozenset[str]:
        """Athletes who may start somewhere in the block."""
        return may_start(self.season, self.weekends)

    @cached_property
    def even_share(self) -> float:
        """Starts of each athlete if those who may start shared the block's seats evenly."""
        return len(self.seats) / len(self.starters) if self.starters else 0.0

    def uneven(self, starts: Mapping[str, int]) -> float:
        """Cost of starts, given by athlete, away from an even share, over all who may start in the block."""
        price = self.season.weights.uneven_s
        counted = self.starters | starts.keys() if price else ()
        return price * sum(abs(starts.get(athlete, 0) - self.even_share) for athlete in counted)

    @cached_property
    def unsure(self) -> Unsure:
        """Changes from the standing crew and the chance that they gain."""
        return Unsure(self.season, self._services, self._estimates, self.tail, self.model.seed)

    @cached_property
    def _services(self) -> Mapping[str, tuple[tuple[ServiceBank, float], ...]]:
        counts = self.season.service_counts
        return {
            race.id: tuple((self.model.banks[s, race.tire], count) for s, count in counts.get(race.id, {}).items())
            for race in self.season.races_of(self.weekends)
        }


def last_crew(season: Season, car: str, block: frozenset[str]) -> Mapping[str, str]:
    """Athlete by position at a car's last race before the block's first, as far as worked.csv knows."""
    first = min((season.races[race].report for race in block), default=None)
    rows = [duty for duty in season.worked if duty.car == car and duty.race not in block]
    rows = [duty for duty in rows if first is None or duty.report < first]
    if not rows:
        return {}
    last = max(rows, key=lambda duty: duty.report).race
    return {duty.position: duty.athlete for duty in rows if duty.race == last and duty.position is not None}
