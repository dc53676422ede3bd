"""Who can step into a seat whose starter is lost, with the whole chain of moves and what the covered crews cost."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

from lineup.eligibility import matches_race, may_fill
from lineup.plan import Cover, Move, Plan
from lineup.price import Pricer
from lineup.season import Entry, Pin, Season, Seat

# Charged, times the car's priority, for a seat that must be filled and is left open: far above any slow crew, so
# that a seat stays open only on a much less important car or where nobody is on site.
OPEN_SEAT_S = 300.0
# Charged for each move after the first, with the season's price of a crew change: nobody is moved for a hundredth.
MOVE_S = 0.05
LONGEST_CHAIN = 3


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
    _crew_costs: dict[tuple[Entry, frozenset[tuple[str, str]]], float] = field(default_factory=dict)
    _may: dict[tuple[str, Seat], bool] = field(default_factory=dict)
    _free: dict[tuple[str, str], bool] = field(default_factory=dict)

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
        best: dict[str | None, Way] = {None: self._way(seat, (), seat, None)}
        for moves, left, reserve in self._chains(seat, seat, (), reserves):
            if not self._keeps_pins(seat, moves):
                continue
            way = self._way(seat, moves, left, reserve)
            if reserve not in best or way.cost_s < best[reserve].cost_s:
                best[reserve] = way
        return best

    def _chains(
        self, lost: Seat, seat: Seat, moves: tuple[Move, ...], reserves: tuple[str, ...]
    ) -> Iterator[tuple[tuple[Move, ...], Seat | None, str | None]]:
        """Yield moves that fill `seat`, each with the seat it leaves open and the reserve it needs."""
        if len(moves) == LONGEST_CHAIN:
            return
        moved = {move.athlete for move in moves} | {self.plan.by_seat[lost]}
        for athlete in reserves:
            if self.may_cover(athlete, seat):
                yield (*moves, Move(athlete, None, seat)), None, athlete
        for athlete in self.around(seat.race):
            if athlete not in moved and self.may_cover(athlete, seat):
                yield (*moves, Move(athlete, None, seat)), None, None
        for athlete, own in self.seat_in[seat.race].items():
            if athlete in moved or own == seat or not self.may_cover(athlete, seat):
                continue
            longer = (*moves, Move(athlete, own, seat))
            if self._leaves(own, seat):
                yield longer, own, None
            elif own.car != seat.car:
                continue  # nobody is taken from a car as important; within a car the seat must be filled again
            yield from self._chains(lost, own, longer, reserves)

    def _way(self, seat: Seat, moves: tuple[Move, ...], left: Seat | None, reserve: str | None) -> Way:
        """Price a chain: crews after it against the plan's; a seat that must be filled costs `OPEN_SEAT_S` if open."""
        changes: dict[Entry, dict[str, str]] = {}
        for place in (seat, *(m.start for m in moves), *(m.end for m in moves)):
            if place is not None and place.entry not in changes:
                changes[place.entry] = dict(self.plan.crew(place.race, place.car))
        for place in (seat, *(move.start for move in moves)):
            if place is not None:
                changes[place.entry].pop(place.position, None)
        for move in moves:
            if move.end is not None:
                changes[move.end.entry][move.end.position] = move.athlete
        cost_s = max(0, len(moves) - 1) * (MOVE_S + self.season.weights.crew_change_s)
        for entry, crew in changes.items():
            if left is not None and left.entry == entry and self.season.positions[left.position].filled == "always":
                cost_s += OPEN_SEAT_S * self.pricer.priority[entry.car]
            else:
                cost_s += self.crew_cost(entry, crew) - self.crew_cost(entry, self.plan.crew(entry.race, entry.car))
        return Way(Cover(seat, moves, left), reserve, cost_s)

    def crew_cost(self, entry: Entry, crew: Mapping[str, str]) -> float:
        """Weighted seconds of a crew in a race: stops, expected penalties, priced height and recent grades."""
        key = (entry, frozenset(crew.items()))
        if key not in self._crew_costs:
            total = self.pricer.entry_value(entry, crew)
            for position, athlete in crew.items():
                seat = Seat(entry.race, entry.car, position)
                total += self.pricer.priority[entry.car] * self.pricer.penalty_s(athlete, seat)
                total += may_fill(self.season, athlete, seat).price_s
            self._crew_costs[key] = total
        return self._crew_costs[key]

    def _keeps_pins(self, lost: Seat, moves: tuple[Move, ...]) -> bool:
        """Whether pairs and those to be kept apart stay so; a pair broken by the loss itself is nobody's doing."""
        gone = self.plan.by_seat[lost]
        cars = {athlete: seat.car for athlete, seat in self.seat_in[lost.race].items() if athlete != gone}
        cars |= {move.athlete: move.end.car for move in moves if move.end is not None}
        moved = {move.athlete for move in moves}
        return all(
            gone in (pin.athlete, pin.other) or not moved & {pin.athlete, pin.other} or _holds(pin, cars)
            for pin in self.season.pins
            if pin.kind in ("pair", "apart") and matches_race(self.season, pin, lost.race)
        )


def _holds(pin: Pin, cars: Mapping[str, str]) -> bool:
    first, second = cars.get(pin.athlete), cars.get(pin.other or "")
    return first == second if pin.kind == "pair" else first is None or first != second
