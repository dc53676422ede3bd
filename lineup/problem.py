"""A block of a season as the optimiser sees it: seats, who may fill them, and what each choice adds to the cost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Self

from lineup.eligibility import Verdict, may_fill
from lineup.plan import Assignment
from lineup.price import Pricer
from lineup.rules import ScheduleRules
from lineup.season import Entry, Race, Season, Seat
from lineup.settings import Settings
from lineup.stop_model.stops import ServiceBank, StopModel


@dataclass(frozen=True)
class Anchor:
    """What a change from a plan costs, and which seats may not change: how a re-plan stays near the plan in force.

    Attributes
    ----------
    baseline : the plan to stay near.
    change_s : seconds that each seat with another athlete than the baseline's costs, on top of the plan's value.
    frozen : seats that must keep what the baseline says (an athlete, or nobody).
    """

    baseline: tuple[Assignment, ...] = ()
    change_s: float = 0.0
    frozen: frozenset[Seat] = frozenset()

    @cached_property
    def by_seat(self) -> Mapping[Seat, str]:
        """Athlete of each seat the baseline fills."""
        return {a.seat: a.athlete for a in self.baseline}


@dataclass(frozen=True, eq=False)
class Problem:
    """A block as the optimiser sees it.

    Attributes
    ----------
    verdicts : what eligibility says of every (seat, athlete with a clearance for it).
    anchor : a plan to stay near; the default asks for nothing.
    """

    season: Season
    model: StopModel
    weekends: tuple[str, ...]
    settings: Settings
    pricer: Pricer
    verdicts: Mapping[tuple[Seat, str], Verdict]
    anchor: Anchor = field(default_factory=Anchor)

    @property
    def rules(self) -> ScheduleRules:
        """What schedules of the block break and cost."""
        return self.pricer.rules

    def replace(self, **changes: Any) -> Self:
        """Return a copy with some parts changed."""
        return replace(self, **changes)

    def near(self, baseline: Sequence[Assignment], change_s: float, frozen: frozenset[Seat] = frozenset()) -> Self:
        """Return a copy in which each seat that differs from `baseline` costs `change_s`; `frozen` seats keep it."""
        return self.replace(anchor=Anchor(tuple(baseline), change_s, frozen))

    @cached_property
    def races(self) -> tuple[Race, ...]:
        """Races of the block, in order of report."""
        return self.season.races_of(self.weekends)

    @property
    def entries(self) -> tuple[Entry, ...]:
        """Entries of the block, by race in order of report."""
        return self.pricer.entries

    @property
    def seats(self) -> tuple[Seat, ...]:
        """Seats of the block, in the order of `entries`."""
        return self.pricer.seats

    @cached_property
    def eligible(self) -> Mapping[Seat, tuple[str, ...]]:
        """Athletes who may fill each seat; a frozen seat has only the one the baseline says, if he still may."""
        found: dict[Seat, list[str]] = {seat: [] for seat in self.seats}
        for (seat, athlete), verdict in self.verdicts.items():
            frozen = seat in self.anchor.frozen
            if verdict.allowed and (not frozen or self.anchor.by_seat.get(seat) == athlete):
                found[seat].append(athlete)
        return {seat: tuple(athletes) for seat, athletes in found.items()}

    @cached_property
    def cleared(self) -> Mapping[Seat, tuple[str, ...]]:
        """Athletes with a clearance of any level for each seat's position, whether or not they may fill it."""
        found: dict[Seat, list[str]] = {seat: [] for seat in self.seats}
        for seat, athlete in self.verdicts:
            found[seat].append(athlete)
        return {seat: tuple(athletes) for seat, athletes in found.items()}

    @cached_property
    def starters(self) -> tuple[str, ...]:
        """Athletes who may fill some seat of the block, frozen seats apart, in the season's order."""
        able = {athlete for (_, athlete), verdict in self.verdicts.items() if verdict.allowed}
        return tuple(athlete for athlete in self.season.athletes if athlete in able)

    def may_stay_empty(self, seat: Seat) -> bool:
        """Whether a seat may have nobody in it."""
        if seat in self.anchor.frozen:
            return seat not in self.anchor.by_seat
        return self.season.positions[seat.position].filled == "if_possible"

    @property
    def even_share(self) -> float:
        """Starts of each athlete if those who may start shared the block's seats evenly."""
        return self.pricer.even_share

    def services(self, race: str) -> tuple[tuple[ServiceBank, float], ...]:
        """Return the sampled stops of each service of a race, with the number of such stops expected of a car."""
        return self.pricer.services(race)

    @property
    def tail(self) -> tuple[float, float]:
        """Weight of the tail mean, and the worst share of stops it averages."""
        return self.pricer.tail, self.season.weights.tail_share

    @cached_property
    def seat_costs(self) -> Mapping[tuple[Seat, str], float]:
        """Seconds that an athlete in a seat adds whatever the rest of the plan is, the anchor left out.

        That includes a crew change against the car's last race before the block.
        """
        price = self.season.weights.crew_change_s
        costs = {}
        for (seat, athlete), verdict in self.verdicts.items():
            if verdict.allowed:
                before = self.pricer.previous[seat]
                changed = isinstance(before, str) and before != athlete
                costs[seat, athlete] = self.pricer.seat_cost(athlete, seat) + price * changed
        return costs


def build(
    season: Season, model: StopModel, weekends: Sequence[str], settings: Settings, pricer: Pricer | None = None
) -> Problem:
    """See a block of a season as the optimiser does.

    Parameters
    ----------
    weekends : labels of consecutive weekends.
    pricer : the block's evaluator, where there is one already; else one is made.
    """
    block = tuple(weekends)
    cleared = {(c.position, c.athlete): None for c in season.clearances}
    verdicts = {
        (seat, athlete): may_fill(season, athlete, seat)
        for race in season.races_of(block)
        for car in season.cars_in[race.id]
        for seat in season.seats(race.id, car)
        for position, athlete in cleared
        if position == seat.position
    }
    return Problem(season, model, block, settings, pricer or Pricer(season, model, block, settings), verdicts)
