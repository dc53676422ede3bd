"""The constraint model of who travels as a reserve: places, trips, and one way of cover for each seat.

Every coefficient is exact; what depends on several trips of one athlete together is added where a solution shows that
it is missing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from itertools import combinations

from ortools.sat.python import cp_model

from lineup.optimize.cp import ended_by, new_solver
from lineup.optimize.run import Stop
from lineup.optimize.travel_choice import SENT_S, TravelChoice, Trips
from lineup.season import Seat

TICKS_PER_S = 1_000_000  # a lost starter is rare: his seconds times the chance are small numbers
MOST_TICKS = 2**50


@dataclass(eq=False)
class ReserveModel:
    """Which trips to make: y (athlete travels to race), z (way taken for a seat), extra (trips dearer together).

    Attributes
    ----------
    races : those whose reserves are chosen; `given` are trips to others that are made.
    seconds : the solver's time for one answer, where effort is not counted instead.
    on_its_own : whether each trip is granted the most it could save after an earlier one to another race.
    bound_s : no choice costs less, seconds as in `TravelChoice.cost_s`, once `solve` has found the cheapest.
    """

    choice: TravelChoice
    races: tuple[str, ...]
    seconds: float
    given: Trips = frozenset()
    on_its_own: bool = False
    stop: Stop | None = None
    bound_s: float | None = field(default=None, init=False)
    cp: cp_model.CpModel = field(default_factory=cp_model.CpModel)
    y: dict[tuple[str, str], cp_model.IntVar] = field(default_factory=dict)
    extra: dict[str, cp_model.IntVar] = field(default_factory=dict)
    savings: list[tuple[str, float, cp_model.IntVar]] = field(default_factory=list)
    cost: list[tuple[float, cp_model.IntVar]] = field(default_factory=list)  # seconds
    missing: list[cp_model.IntVar] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.y = {
            (race, athlete): self.cp.new_bool_var(f"{athlete} travels to {race}")
            for race in self.races
            for athlete in self.choice.candidates[race]
        }
        self.y |= {trip: self.cp.new_constant(1) for trip in sorted(self.given)}
        self._trips()
        self._places()
        self._cover()
        self._ways()

    def trips_of(self, athlete: str) -> list[str]:
        """Races an athlete could travel to as a reserve, in order of report."""
        return [race for race in self.choice.site.races if (race, athlete) in self.y]

    def _trips(self) -> None:
        """Price each trip alone, what two trips in a row save, and rule out pairs that break a limit."""
        place_s = self.choice.study.season.weights.priced_travel_place_s + SENT_S
        for (race, athlete), travels in self.y.items():
            granted_s = self.choice.most_saved(athlete, race) if self.on_its_own else 0.0
            self.cost.append((place_s + self.choice.trip_s(athlete, (race,)) - granted_s, travels))
        for athlete in dict.fromkeys(athlete for _, athlete in self.y):
            trips = self.trips_of(athlete)
            for first, second in combinations(trips, 2):
                if self.choice.near(first, second):
                    self._pair(athlete, first, second, trips[trips.index(first) + 1 : trips.index(second)])

    def _pair(self, athlete: str, first: str, second: str, between: Sequence[str]) -> None:
        one, other = self.y[first, athlete], self.y[second, athlete]
        if self.choice.broken(athlete, (first, second)):
            self.cp.add_bool_or([~one, ~other])
            return
        saved = self.choice.saved_s(athlete, first, second)
        if saved > 1 / TICKS_PER_S:
            both = self.cp.new_bool_var(f"{athlete} stays from {first} to {second}")
            for condition in (one, other, *(~self.y[race, athlete] for race in between)):
                self.cp.add_implication(both, condition)
            self.cost.append((-saved, both))
            self.savings.append((athlete, saved, both))

    def _places(self) -> None:
        limit, rules = self.choice.study.season.limits.get("travel_places"), self.choice.study.pricer.rules
        for race in self.races:
            places, starters = rules.places(race), len(self.choice.site.seat_in[race])
            sent = [variable for (where, _), variable in self.y.items() if where == race]
            if places is None or not sent:
                continue
            room = max(0, int(places) - starters)
            if limit is not None and limit.price_s is not None:
                beyond = self.cp.new_int_var(0, len(sent), f"beyond the places of {race}")
                self.cp.add(sum(sent) - beyond <= room)
                self.cost.append((limit.price_s, beyond))
            else:
                self.cp.add(sum(sent) <= room)

    def _cover(self) -> None:
        """Count ways of cover; each one missing is priced, or where cover is hard avoided above all else."""
        limit = self.choice.study.season.limits.get("cover")
        if limit is None:
            return
        for seat in self._seats(self.choice.must_cover()):
            fixed, direct = self.choice.covered_by(seat)
            if fixed < self.choice.asked:
                lacking = self.cp.new_int_var(0, self.choice.asked - fixed, f"ways missing for {seat}")
                sent = [self.y[seat.race, athlete] for athlete in direct]
                self.cp.add(sum(sent) + lacking >= self.choice.asked - fixed)
                if limit.price_s is None:
                    self.missing.append(lacking)
                else:
                    self.cost.append((limit.price_s, lacking))

    def _ways(self) -> None:
        """Take one way per seat; one that needs a reserve only if he travels."""
        chance = self.choice.study.season.weights.absence_chance
        for seat in self._seats(self.choice.ways):
            ways = self.choice.ways[seat]
            without = ways[None]
            taken = []
            for athlete, way in ways.items():
                if athlete is not None and way.cost_s < without.cost_s:
                    z = self.cp.new_bool_var("")
                    self.cp.add(z <= self.y[seat.race, athlete])
                    self.cost.append((chance * (way.cost_s - without.cost_s), z))
                    taken.append(z)
            self.cp.add_at_most_one(taken)

    def _seats(self, seats: Iterable[Seat]) -> list[Seat]:
        return [seat for seat in seats if seat.race in self.races]

    # ------------------------------------------------------------------------------------------------------- solve

    def solve(self, presolve: bool = True) -> tuple[Trips | None, bool]:
        """Choose the trips, and say whether that is proven: as few missing ways of cover as can be, then the cost.

        What the trips of one athlete break or cost together is added where a solution shows it, until none does.
        """
        sure = True
        if self.missing:
            lacking, sure = self._least(lambda: sum(self.missing), presolve)
            if lacking is None:
                return None, sure
            short = self.choice.short(lacking)
            self.cp.add(sum(self.missing) <= sum(short.get(seat, 0) for seat in self._seats(short)))
        chosen, best = self._least(self._seconds, presolve)
        return chosen, sure and best

    def _seconds(self) -> cp_model.LinearExprT:
        """Everything that costs, in ticks."""
        terms = [(_ticks(seconds), variable) for seconds, variable in self.cost]
        terms += [(1, extra) for extra in self.extra.values()]
        return cp_model.LinearExpr.weighted_sum([variable for _, variable in terms], [ticks for ticks, _ in terms])

    def _least(self, total: Callable[[], cp_model.LinearExprT], presolve: bool) -> tuple[Trips | None, bool]:
        """Trips that make a total least, or None; and whether that is proven."""
        while True:
            solver, found = self._solver(presolve), _Found(self.stop)
            self.cp.minimize(total())
            with ended_by(solver, found.enough):
                status = solver.solve(self.cp, found)
            if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
                return None, status == cp_model.INFEASIBLE
            chosen = frozenset(key for key, variable in self.y.items() if solver.boolean_value(variable))
            if not self._add_missing(chosen, solver):
                self.bound_s = solver.best_objective_bound / TICKS_PER_S
                return chosen, status == cp_model.OPTIMAL

    def possible(self) -> bool:
        """Look again, presolve off, whether any reserves give every seat its ways of cover."""
        again = ReserveModel(self.choice, self.races, self.seconds)
        again.cp.add(sum(again.missing) == 0)
        chosen, sure = again.solve(presolve=False)
        return chosen is not None or not sure

    def _add_missing(self, chosen: Trips, solver: cp_model.CpSolver) -> bool:
        """Forbid trips of one athlete that break a limit together, and charge what they cost beyond the model."""
        added = False
        for athlete in dict.fromkeys(athlete for _, athlete in self.y):
            trips = [race for race in self.trips_of(athlete) if (race, athlete) in chosen]
            if len(trips) > 1:
                added = self._add_limits(athlete, trips) or self._add_costs(athlete, trips, solver) or added
        return added

    def _add_limits(self, athlete: str, trips: list[str]) -> bool:
        if not self.choice.broken(athlete, trips):
            return False
        for race in list(trips):
            fewer = [other for other in trips if other != race]
            if self.choice.broken(athlete, fewer):
                trips = fewer
        self.cp.add_bool_or([~self.y[race, athlete] for race in trips])
        return True

    def _add_costs(self, athlete: str, trips: list[str], solver: cp_model.CpSolver) -> bool:
        saved = sum(s for who, s, both in self.savings if who == athlete and solver.boolean_value(both))
        known = sum(self.choice.trip_s(athlete, (race,)) for race in trips) - saved
        known_ticks = _ticks(known) + (solver.value(self.extra[athlete]) if athlete in self.extra else 0)
        beyond = _ticks(self.choice.trip_s(athlete, trips)) - _ticks(known)
        if beyond <= known_ticks - _ticks(known) + len(trips):
            return False
        if athlete not in self.extra:
            self.extra[athlete] = self.cp.new_int_var(0, MOST_TICKS, f"trips of {athlete} together")
        made = sum(self.y[race, athlete] for race in trips)
        self.cp.add(self.extra[athlete] >= beyond * (made - (len(trips) - 1)))
        return True

    def _solver(self, presolve: bool) -> cp_model.CpSolver:
        """One worker, so that the same reserves come out each time."""
        settings = self.choice.study.settings
        solver = new_solver(settings.replace(workers=1), self.seconds, work=settings.work)
        solver.parameters.cp_model_presolve = presolve
        return solver


class _Found(cp_model.CpSolverSolutionCallback):
    """Notes that a solution has been found: only then does a stop count."""

    def __init__(self, stop: Stop | None) -> None:
        super().__init__()
        self.stop = stop
        self.any = False

    def on_solution_callback(self) -> None:
        self.any = True

    def enough(self) -> bool:
        """Whether the search may end here."""
        return self.any and self.stop is not None and self.stop()


def _ticks(seconds: float) -> int:
    return round(seconds * TICKS_PER_S)
