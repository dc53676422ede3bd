"""Who can step into a seat whose starter is lost, with the whole chain of moves and what the covered crews cost."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from lineup.eligibility import may_fill
from lineup.pins import matches_race
from lineup.plan import Cover, Move, Plan
from lineup.price import Pricer
from lineup.season import Entry, Pin, Season, Seat

# Charged, times the car's priority, for a seat that must be filled and is left open: far above any slow crew, so
# that a seat stays open only on a much less important car or where nobody is on site.
OPEN_SEAT_S = 300.0
# Charged for each move after the first, with the season's price of a crew change: nobody is moved for a hundredth.
MOVE_S = 0.05
LONGEST_CHAIN = 3

Filled = frozenset[tuple[str, str]]  # (position, athlete)


@dataclass(frozen=True, slots=True)
class Way:
    """One way to cover a seat. `reserve` ends the chain and must travel; None: everyone in it is on site anyway.

    `cost_s`: cost of the covered crews less that of the plan's in the race where it happens, plus that of moving more
    than one, weighted seconds.
    """

    cover: Cover
    reserve: str | None
    cost_s: float


@dataclass(eq=False)
class OnSite:
    """A plan's races as they stand on the day: who is there, who is free, who may step where."""

    pricer: Pricer
    plan: Plan
    _may: dict[tuple[str, Seat], bool] = field(default_factory=dict)
    # remembered whatever the answers of `_may`
    _free: dict[tuple[str, str], bool] = field(default_factory=dict)
    _crew_costs: dict[tuple[Entry, Filled], float] = field(default_factory=dict)
    _seat_costs: dict[tuple[str, Seat], float] = field(default_factory=dict)
    _filled: dict[tuple[Seat, Filled], dict[str, float]] = field(default_factory=dict)
    _ties_in: dict[str, tuple[Pin, ...]] = field(default_factory=dict)
    # remembered for these answers
    _movers_of: dict[Seat, tuple[tuple[str, Seat], ...]] = field(default_factory=dict, init=False)
    _fillers_of: dict[tuple[Seat, tuple[str, ...]], tuple[tuple[str, str | None], ...]] = field(
        default_factory=dict, init=False
    )

    @property
    def season(self) -> Season:
        """The season of the plan."""
        return self.pricer.season

    @cached_property
    def races(self) -> tuple[str, ...]:
        """Races of the block, in order of report."""
        return tuple(race.id for race in self.season.races_of(self.pricer.weekends))

    @cached_property
    def seat_in(self) -> Mapping[str, Mapping[str, Seat]]:
        """Seat of each starter, by race."""
        found: dict[str, dict[str, Seat]] = {race: {} for race in self.races}
        for assignment in self.plan.assignments:
            if assignment.race in found:
                found[assignment.race][assignment.athlete] = assignment.seat
        return found

    @cached_property
    def starts(self) -> Mapping[str, tuple[str, ...]]:
        """Races each athlete starts in."""
        return {a: tuple(r for r in self.races if a in self.seat_in[r]) for a in self.season.athletes}

    def filled(self, race: str) -> tuple[Seat, ...]:
        """Seats of a race that somebody would be missed in."""
        return tuple(sorted(self.seat_in[race].values()))

    def may_cover(self, athlete: str, seat: Seat) -> bool:
        """Whether an athlete may step into a seat; one in training never covers."""
        key = (athlete, seat)
        if key not in self._may:
            cleared = self.season.clearance_level(athlete, seat.position, seat.race) == "cleared"
            self._may[key] = cleared and may_fill(self.season, athlete, seat).allowed
        return self._may[key]

    def if_may(self, answers: Mapping[tuple[str, Seat], bool]) -> OnSite:
        """Return the same site with other answers to who may step into a seat; all else that is known stays."""
        return replace(self, _may={**self._may, **answers})

    def could_work(self, athlete: str, race: str) -> bool:
        """Whether working this race on top of his starts breaks no hard limit that they keep."""
        key = (athlete, race)
        if key not in self._free:
            starts, rules = self.starts[athlete], self.pricer.rules
            before = {(b.rule, b.race) for b in rules.assess(athlete, starts).breaches}
            after = {(b.rule, b.race) for b in rules.assess(athlete, (*starts, race)).breaches}
            self._free[key] = after <= before
        return self._free[key]

    def around(self, race: str) -> tuple[str, ...]:
        """Athletes who work another race at the same site that day and are free at the hours of this one."""
        facts, day = self.season.races, self.season.duty_days(race)[0]
        near = [r for r in self.races if r != race and facts[r].site == facts[race].site]
        people = {a for r in near if self.season.duty_days(r)[0] == day for a in self.seat_in[r]}
        return tuple(a for a in sorted(people) if a not in self.seat_in[race] and self.could_work(a, race))

    def stand_ins(self, seat: Seat) -> tuple[str, ...]:
        """On-site people who can step into a seat without a reserve, the seat they leave covered or named as open.

        Those in support on a car that is not more important, starters of a less important car, and those who work
        another race there that day.
        """
        near = tuple(a for a in self.around(seat.race) if self.may_cover(a, seat))
        crews = (a for a, own in self.seat_in[seat.race].items() if self._leaves(own, seat) and self.may_cover(a, seat))
        return (*near, *crews)

    def _leaves(self, own: Seat, seat: Seat) -> bool:
        """Whether the person in `own` may be taken from it to cover `seat`."""
        priority, support = self.pricer.priority, self.season.positions[own.position].place == "support"
        if own == seat:
            return False
        return priority[own.car] < priority[seat.car] or (support and priority[own.car] == priority[seat.car])

    # ------------------------------------------------------------------------------------------------------- ways

    def ways(self, seat: Seat, reserves: tuple[str, ...]) -> Mapping[str | None, Way]:
        """Cheapest way to cover a seat with each of these reserves, and with none of them (key None)."""
        best: dict[str | None, Way] = {}
        bound_to_others = self._bound_to_others(seat.race)
        for moves, gap in self._chains(seat, (), seat):
            fillers = self._fillers(gap, reserves) if len(moves) < LONGEST_CHAIN else ()
            open_s, filled_s = self._costs(seat, moves, gap, [athlete for athlete, _ in fillers])
            keeps_pins = self._keeps_pins(seat, moves)
            filled = moves[-1].end if moves else None
            if filled is None or (keeps_pins and self._leaves(gap, filled)):
                _keep(best, Way(Cover(seat, moves, gap), None, open_s))
            moved = {move.athlete for move in moves} | {self.plan.by_seat[seat]}
            for (athlete, reserve), cost_s in zip(fillers, filled_s, strict=True):
                if athlete in moved or (reserve in best and cost_s >= best[reserve].cost_s):
                    continue
                whole = (*moves, Move(athlete, None, gap))
                if self._keeps_pins(seat, whole) if athlete in bound_to_others else keeps_pins:
                    _keep(best, Way(Cover(seat, whole, None), reserve, cost_s))
        return best

    def _chains(self, lost: Seat, moves: tuple[Move, ...], gap: Seat) -> Iterator[tuple[tuple[Move, ...], Seat]]:
        """Yield moves of starters that fill a seat, each with the seat they leave open; no moves to begin with."""
        yield moves, gap
        if len(moves) == LONGEST_CHAIN:
            return
        moved = {move.athlete for move in moves} | {self.plan.by_seat[lost]}
        for athlete, own in self._movers(gap):
            # nobody is taken from a car as important; within a car the seat left must be filled again
            if athlete not in moved and (own.car == gap.car or self._leaves(own, gap)):
                yield from self._chains(lost, (*moves, Move(athlete, own, gap)), own)

    def _movers(self, gap: Seat) -> tuple[tuple[str, Seat], ...]:
        """Starters of the race who may step into a seat, each with his own."""
        if gap not in self._movers_of:
            starters = self.seat_in[gap.race].items()
            self._movers_of[gap] = tuple((a, own) for a, own in starters if own != gap and self.may_cover(a, gap))
        return self._movers_of[gap]

    def _fillers(self, gap: Seat, reserves: tuple[str, ...]) -> tuple[tuple[str, str | None], ...]:
        """Who may step into a seat and leaves none, each with the reserve that this takes."""
        key = (gap, reserves)
        if key not in self._fillers_of:
            people = (*((a, a) for a in reserves), *((a, None) for a in self.around(gap.race)))
            self._fillers_of[key] = tuple((a, sent) for a, sent in people if self.may_cover(a, gap))
        return self._fillers_of[key]

    # ------------------------------------------------------------------------------------------------------- costs

    def _costs(
        self, lost: Seat, moves: tuple[Move, ...], gap: Seat, athletes: Sequence[str]
    ) -> tuple[float, list[float]]:
        """Cost of a chain that leaves a seat open, and of those that end with each of some athletes in it.

        `OPEN_SEAT_S` stands for the crew where that seat must be filled.
        """
        crews = self._crews(lost, moves)
        crew = crews.pop(gap.entry)
        others_s, before_s = self._dearer_s(crews), self.crew_cost(gap.entry, self.plan.crew(gap.race, gap.car))
        if self.season.positions[gap.position].filled == "always":
            open_s = OPEN_SEAT_S * self.pricer.priority[gap.car]
        else:
            open_s = self.crew_cost(gap.entry, crew) - before_s
        fixed_s = self._moves_s(len(moves) + 1) + others_s - before_s
        filled_s = [fixed_s + cost_s for cost_s in self._with_each(gap, crew, athletes)]
        return self._moves_s(len(moves)) + others_s + open_s, filled_s

    def _crews(self, lost: Seat, moves: tuple[Move, ...]) -> dict[Entry, dict[str, str]]:
        """Crews that a chain changes, as they stand after it."""
        left = (lost, *(move.start for move in moves if move.start is not None))
        crews = {seat.entry: dict(self.plan.crew(seat.race, seat.car)) for seat in left}
        for seat in left:
            crews[seat.entry].pop(seat.position, None)
        for move in moves:
            if move.end is not None:
                crews[move.end.entry][move.end.position] = move.athlete
        return crews

    def _moves_s(self, moves: int) -> float:
        return max(0, moves - 1) * (MOVE_S + self.season.weights.crew_change_s)

    def _dearer_s(self, crews: Mapping[Entry, Mapping[str, str]]) -> float:
        """Cost of crews less that of the plan's own."""
        own = ((entry, self.plan.crew(entry.race, entry.car)) for entry in crews)
        return sum(self.crew_cost(entry, crews[entry]) - self.crew_cost(entry, crew) for entry, crew in own)

    def crew_cost(self, entry: Entry, crew: Mapping[str, str]) -> float:
        """Weighted seconds of a crew in a race: stops, expected penalties, priced height and recent grades."""
        key = (entry, frozenset(crew.items()))
        if key not in self._crew_costs:
            self._crew_costs[key] = self.pricer.entry_value(entry, crew) + self._seats_s(entry, crew)
        return self._crew_costs[key]

    def _with_each(self, gap: Seat, crew: Mapping[str, str], athletes: Sequence[str]) -> list[float]:
        """`crew_cost` with each of some athletes in a seat that the crew leaves open."""
        known = self._filled.setdefault((gap, frozenset(crew.items())), {})
        fresh = [athlete for athlete in athletes if athlete not in known]
        if fresh:
            stops_s = self.pricer.entry_values(gap.entry, crew, gap.position, fresh)
            others_s = self._seats_s(gap.entry, crew)
            known |= {a: float(s) + others_s + self._seat_s(a, gap) for a, s in zip(fresh, stops_s, strict=True)}
        return [known[athlete] for athlete in athletes]

    def _seats_s(self, entry: Entry, crew: Mapping[str, str]) -> float:
        return sum(self._seat_s(athlete, Seat(entry.race, entry.car, p)) for p, athlete in crew.items())

    def _seat_s(self, athlete: str, seat: Seat) -> float:
        key = (athlete, seat)
        if key not in self._seat_costs:
            penalty_s = self.pricer.priority[seat.car] * self.pricer.penalty_s(athlete, seat)
            self._seat_costs[key] = penalty_s + may_fill(self.season, athlete, seat).price_s
        return self._seat_costs[key]

    # -------------------------------------------------------------------------------------------------------- pins

    def _bound_to_others(self, race: str) -> frozenset[str]:
        """Whom a pin of the race ties to somebody else, or keeps apart from him."""
        return frozenset(a for pin in self._ties(race) for a in (pin.athlete, pin.other) if a is not None)

    def _ties(self, race: str) -> tuple[Pin, ...]:
        """Pins of a race that pair two athletes or keep them apart."""
        if race not in self._ties_in:
            two = (pin for pin in self.season.pins if pin.kind in ("pair", "apart"))
            self._ties_in[race] = tuple(pin for pin in two if matches_race(self.season, pin, race))
        return self._ties_in[race]

    def _keeps_pins(self, lost: Seat, moves: tuple[Move, ...]) -> bool:
        """Whether pairs and those to be kept apart stay so; a pair broken by the loss itself is nobody's doing."""
        ties, gone = self._ties(lost.race), self.plan.by_seat[lost]
        if not ties:
            return True
        cars = {athlete: seat.car for athlete, seat in self.seat_in[lost.race].items() if athlete != gone}
        cars |= {move.athlete: move.end.car for move in moves if move.end is not None}
        moved = {move.athlete for move in moves}
        return all(
            gone in (pin.athlete, pin.other) or not moved & {pin.athlete, pin.other} or _holds(pin, cars)
            for pin in ties
        )


def _keep(best: dict[str | None, Way], way: Way) -> None:
    """Take a way that is cheaper than the one known with the same reserve."""
    if way.reserve not in best or way.cost_s < best[way.reserve].cost_s:
        best[way.reserve] = way


def _holds(pin: Pin, cars: Mapping[str, str]) -> bool:
    first, second = cars.get(pin.athlete), cars.get(pin.other or "")
    return first == second if pin.kind == "pair" else first is None or first != second
