"""The seats of some races as a constraint model in which any fact can be taken away, and a look at what it allows."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from time import monotonic

from ortools.sat.python import cp_model

from lineup.explain.block import Active, Block, Seating, TooMuch, TooSlow
from lineup.explain.crew_bounds import Service
from lineup.explain.grounds import Ground, need, of_pin
from lineup.rules import Window
from lineup.season import Seat

LOOK_S = 6.0  # one look; what is not decided by then is not claimed
NEAR_ENOUGH = 0.002  # of the least sum of prices
TICKS_PER_S = 100_000


@dataclass(frozen=True)
class Look:
    """What one look found: a lineup, or (`lineup` None, `sure`) proof that there is none and what it needed."""

    lineup: Seating | None
    sure: bool = True
    core: frozenset[Ground] = frozenset()


def look(
    block: Block,
    races: Sequence[str],
    active: Active,
    seed: int,
    presolve: bool = True,
    assume: bool = False,
    prices: Mapping[tuple[Seat, str], float] | None = None,
    until: float = math.inf,
    kept: Seating | None = None,
) -> Look:
    """Look for a lineup of these races under the active grounds.

    What the model does not say, limits on schedules and slowest stops, is checked on each lineup found and added to
    the model where it is broken, until one passes. With `assume` each ground has a switch of its own, and a
    refutation names those it needed (never with hints: ortools 9.15 answers wrongly then). With `prices`, seconds by
    seat and athlete, a lineup of about the least sum is looked for. What is `kept` stays as it is in all of its races.
    After `LOOK_S`, or at `until` (as `monotonic` counts), the look gives up and is not sure.
    """
    until = min(until, monotonic() + LOOK_S)
    model = _Model(block, tuple(races), active, assume, kept or {})
    if prices is not None:
        model.prefer(prices)
    while (left := until - monotonic()) > 0:
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = seed
        solver.parameters.max_time_in_seconds = left
        solver.parameters.cp_model_presolve = presolve
        solver.parameters.linearization_level = 2  # it is the linear relaxation that counts people and places
        solver.parameters.relative_gap_limit = NEAR_ENOUGH
        status = solver.solve(model.cp)
        if status == cp_model.INFEASIBLE:
            return Look(None, True, model.core(solver))
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return Look(None, False)
        lineup = {seat: a for (seat, a), variable in model.x.items() if solver.boolean_value(variable)}
        if not block.learn(lineup, active):
            return Look(lineup)
        model.add_learned()
    return Look(None, False)


@dataclass(eq=False)
class _Model:
    """The seats of some races as a constraint model: x (athlete in seat), works (athlete in race), switches."""

    block: Block
    races: tuple[str, ...]
    active: Active
    assume: bool
    kept: Seating
    cp: cp_model.CpModel = field(default_factory=cp_model.CpModel)
    x: dict[tuple[Seat, str], cp_model.IntVar] = field(default_factory=dict)
    works: dict[tuple[str, str], cp_model.IntVar] = field(default_factory=dict)
    switches: dict[Ground, cp_model.IntVar] = field(default_factory=dict)
    _added: set[TooMuch | TooSlow] = field(default_factory=set)
    _bounds: dict[tuple[str, str, Service], int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._people()
        self._needs()
        self._pins()
        self._counts()
        self.add_learned()

    def core(self, solver: cp_model.CpSolver) -> frozenset[Ground]:
        """Grounds that a refutation needed."""
        by_index = {switch.index: ground for ground, switch in self.switches.items()}
        needed = solver.sufficient_assumptions_for_infeasibility() if self.assume else ()
        return frozenset(by_index[i] for i in needed)

    def holds(self, ground: Ground) -> bool:
        return self.block.binds(ground, self.active)

    def under(self, ground: Ground) -> list[cp_model.IntVar]:
        """Literals under which a ground is enforced: none, or its switch."""
        if not self.assume:
            return []
        if ground not in self.switches:
            self.switches[ground] = self.cp.new_bool_var(f"{ground.kind}:{':'.join(ground.ids)}")
            self.cp.add_assumption(self.switches[ground])
        return [self.switches[ground]]

    def prefer(self, prices: Mapping[tuple[Seat, str], float]) -> None:
        """Ask for a small sum of prices; who has none in a seat costs as much as the dearest there."""
        dearest: dict[Seat, float] = {}
        for (seat, _), seconds in prices.items():
            dearest[seat] = max(seconds, dearest.get(seat, 0.0))
        terms = [
            (round(prices.get(key, dearest.get(key[0], 0.0)) * 1000), variable) for key, variable in self.x.items()
        ]
        self.cp.minimize(cp_model.LinearExpr.weighted_sum([v for _, v in terms], [c for c, _ in terms]))

    def _people(self) -> None:
        """One athlete per seat, one seat per athlete in a race, nobody where a ground keeps him out."""
        seats, kept_races = self.block.seats(self.races), {seat.race for seat in self.kept}
        for seat in seats:
            if seat.race in kept_races:
                if seat in self.kept:
                    self.x[seat, self.kept[seat]] = self.cp.new_constant(1)
            else:
                self._candidates(seat)
        for race in self.races:
            here = [seat for seat in seats if seat.race == race]
            for athlete in self.block.season.athletes:
                chosen = self.in_seats(here, athlete)
                if chosen:
                    self.works[race, athlete] = works = self.cp.new_bool_var("")
                    self.cp.add_exactly_one([*chosen, ~works])

    def _candidates(self, seat: Seat) -> None:
        for athlete in self.block.season.athletes:
            against = [ground for ground in self.block.blockers(seat, athlete) if self.active(ground)]
            if against and not self.assume:
                continue
            self.x[seat, athlete] = variable = self.cp.new_bool_var("")
            for ground in against:
                self.cp.add_bool_or([~variable]).only_enforce_if(self.under(ground))
        self.cp.add_at_most_one(self.in_seats([seat]))

    def in_seats(self, seats: Sequence[Seat], athlete: str | None = None) -> list[cp_model.IntVar]:
        """Variables of one athlete, or of everyone, in these seats."""
        who = self.block.season.athletes if athlete is None else (athlete,)
        return [self.x[seat, a] for seat in seats for a in who if (seat, a) in self.x]

    def _needs(self) -> None:
        for seat in self.block.seats(self.races):
            ground = need(seat)
            if self.block.season.positions[seat.position].filled == "always" and self.holds(ground):
                self.cp.add_bool_or(self.in_seats([seat])).only_enforce_if(self.under(ground))

    def _pins(self) -> None:
        for pin, _, seats in self.block.pins("must", self.races):
            if self.holds(of_pin(pin)):
                self.cp.add_bool_or(self.in_seats(seats, pin.athlete)).only_enforce_if(self.under(of_pin(pin)))
        for kind in ("pair", "apart"):
            for pin, race, _ in self.block.pins(kind, self.races):
                for car in self.block.season.cars_in[race] if self.holds(of_pin(pin)) else ():
                    seats = self.block.season.seats(race, car)
                    one, other = (sum(self.in_seats(seats, athlete)) for athlete in (pin.athlete, pin.other or ""))
                    row = self.cp.add(one == other) if kind == "pair" else self.cp.add(one + other <= 1)
                    row.only_enforce_if(self.under(of_pin(pin)))

    def _counts(self) -> None:
        for race in self.races:
            places, ground = self.block.places(race), Ground("travel_places", (race,))
            if places is not None and self.holds(ground):
                starters = [works for (where, _), works in self.works.items() if where == race]
                self.cp.add(sum(starters) <= places).only_enforce_if(self.under(ground))
        for athlete in self.block.season.athletes:
            for window in self.block.windows(athlete, frozenset(self.races)):
                self._window(athlete, window)

    def _window(self, athlete: str, window: Window) -> None:
        """Linear part of a limit on an athlete's schedule; a least number is asked of the whole block only."""
        most, least = Ground(window.rule, (athlete,)), Ground("starts_at_least", (athlete,))
        worked = [group for races in window.groups for group in self._any_of(races, athlete)]
        if window.most is not None and len(worked) > max(window.most, 0) and self.holds(most):
            self.cp.add(sum(worked) <= max(math.floor(window.most), 0)).only_enforce_if(self.under(most))
        if window.least is not None and len(self.races) == len(self.block.races) and self.holds(least):
            self.cp.add(sum(worked) >= math.ceil(window.least)).only_enforce_if(self.under(least))

    def _any_of(self, races: Sequence[str], athlete: str) -> list[cp_model.IntVar]:
        """One literal that holds when the athlete works any of the races, or none where he cannot."""
        works = [self.works[race, athlete] for race in races if (race, athlete) in self.works]
        if len(works) < 2:
            return works
        any_of = self.cp.new_bool_var("")
        self.cp.add_max_equality(any_of, works)
        return [any_of]

    def add_learned(self) -> None:
        """Add what is known of schedules and crews and not yet in the model."""
        for fact in sorted(self.block.too_much, key=lambda f: (f.rule, f.group, sorted(f.races))):
            if fact not in self._added and fact.races <= set(self.races):
                self._forbid_schedule(fact)
        for slow in sorted(self.block.too_slow, key=lambda f: (f.car, f.service, f.crew)):
            if slow not in self._added:
                self._forbid_crew(slow)
        self._added |= self.block.too_much | self.block.too_slow
        for race in self.races:
            for car in self.block.season.cars_in[race]:
                if self.block.season.cars[car].slowest_s is not None and self.holds(Ground("slowest", (car,))):
                    for service in self.block.services(race, car):
                        self._bound_crews(race, car, service)

    def _forbid_schedule(self, fact: TooMuch) -> None:
        for athlete, group in self.block.group_of.items():
            ground = fact.ground(athlete)
            if group == fact.group and self.holds(ground):
                worked = [self.works[race, athlete] for race in sorted(fact.races) if (race, athlete) in self.works]
                if len(worked) == len(fact.races):
                    self.cp.add_bool_or([~works for works in worked]).only_enforce_if(self.under(ground))

    def _forbid_crew(self, slow: TooSlow) -> None:
        ground = Ground("slowest", (slow.car,))
        for race in self.races if self.holds(ground) else ():
            seats = [(Seat(race, slow.car, position), athlete) for position, athlete in slow.crew]
            if slow.service in self.block.services(race, slow.car) and all(seat in self.x for seat in seats):
                self.cp.add_bool_or([~self.x[seat] for seat in seats]).only_enforce_if(self.under(ground))

    def _bound_crews(self, race: str, car: str, service: Service) -> None:
        """Keep each bound on the mean stop that is not in the model yet at or below what the car allows."""
        cuts = self.block.bounds.cuts.get(service, [])
        for constant, coefficients in cuts[self._bounds.get((race, car, service), 0) :]:
            terms: list[tuple[int, cp_model.IntVar]] = []
            for position, row in coefficients.items():
                known = dict(zip(self.block.bounds.bank(service).athletes[position], row, strict=True))
                quickest = min(row, default=0.0)  # for those who have no sampled stops in the position
                for athlete in self.block.season.athletes:
                    variable = self.x.get((Seat(race, car, position), athlete))
                    if variable is not None:
                        terms.append((math.floor(known.get(athlete, quickest) * TICKS_PER_S), variable))
            mean = cp_model.LinearExpr.weighted_sum([v for _, v in terms], [t for t, _ in terms])
            most = math.ceil(((self.block.season.cars[car].slowest_s or math.inf) - constant) * TICKS_PER_S)
            self.cp.add(mean <= most).only_enforce_if(self.under(Ground("slowest", (car,))))
        self._bounds[race, car, service] = len(cuts)
