"""A change of a lineup: the moves, the crews before and after, what it costs and which hard rules it breaks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from lineup.lawful import broken_rules
from lineup.plan import Assignment, Move, Plan
from lineup.price import Pricer
from lineup.rules import Breach
from lineup.season import Entry, Seat
from lineup.tariff import Crew

Moves = tuple[Move, ...]


@dataclass(frozen=True, slots=True)
class Change:
    """What a set of moves does to a lineup.

    Attributes
    ----------
    gain_s : weighted seconds that the lineup becomes cheaper by; below zero: dearer.
    before, after : crews of the entries that change.
    breaches : hard rules broken afterwards that were kept before.
    """

    moves: Moves
    gain_s: float
    before: Mapping[Entry, Crew]
    after: Mapping[Entry, Crew]
    breaches: tuple[Breach, ...]


class Lineup:
    """A lineup to be changed in thought: crews by entry, priced piece by piece so that one change is cheap."""

    def __init__(self, pricer: Pricer, plan: Plan) -> None:
        self.pricer = pricer
        self.crews: Mapping[Entry, dict[str, str]] = pricer.crews(plan.assignments)
        self.seat_of: Mapping[tuple[str, str], Seat] = {
            (entry.race, athlete): Seat(entry.race, entry.car, position)
            for entry, crew in self.crews.items()
            for position, athlete in crew.items()
        }
        self.races_of: dict[str, list[str]] = {}
        for race, athlete in self.seat_of:
            self.races_of.setdefault(athlete, []).append(race)

    def assignments(self, after: Mapping[Entry, Crew] | None = None) -> tuple[Assignment, ...]:
        """Return the assignments of the lineup, with some crews replaced."""
        crews = {**self.crews, **(after or {})}
        return tuple(Assignment(e.race, e.car, p, a) for e, crew in crews.items() for p, a in crew.items())

    def apply(self, moves: Moves) -> Mapping[Entry, Crew]:
        """Return the crews that moves change, as they are afterwards."""
        changed = {seat.entry for move in moves for seat in (move.start, move.end) if seat is not None}
        after = {entry: dict(self.crews.get(entry, {})) for entry in changed}
        for move in moves:
            if move.start is not None and after[move.start.entry].get(move.start.position) == move.athlete:
                del after[move.start.entry][move.start.position]
        for move in moves:
            if move.end is not None:
                after[move.end.entry][move.end.position] = move.athlete
        return after

    def change(self, moves: Moves, with_rules: bool = True) -> Change:
        """Price a set of moves; without rules, `breaches` stays empty."""
        after = self.apply(moves)
        before = {entry: self.crews.get(entry, {}) for entry in after}
        athletes = {move.athlete for move in moves}
        gain = self._part(self.crews, before, athletes) - self._part({**self.crews, **after}, after, athletes)
        change = Change(moves, gain, before, after, ())
        return self.with_breaches(change) if with_rules else change

    def with_breaches(self, change: Change) -> Change:
        """Return a change with the hard rules it breaks."""
        athletes = {move.athlete for move in change.moves}
        return replace(change, breaches=self.breaches(change.after, athletes, {entry.race for entry in change.after}))

    def breaches(
        self, after: Mapping[Entry, Crew], athletes: Sequence[str] | set[str], races: set[str]
    ) -> tuple[Breach, ...]:
        """Return hard rules that are broken with these crews and were not before."""
        old = {_key(b) for b in broken_rules(self.pricer, self.crews, athletes, races)}
        new = broken_rules(self.pricer, {**self.crews, **after}, athletes, races)
        return tuple(b for b in new if _key(b) not in old)

    def _part(self, crews: Mapping[Entry, Crew], touched: Mapping[Entry, Crew], athletes: set[str]) -> float:
        """Return the part of a lineup's cost that a change of the touched entries and athletes can move, seconds."""
        pricer = self.pricer
        total = 0.0
        for entry, crew in touched.items():
            total += pricer.entry_value(entry, crew)
            total += sum(pricer.seat_cost(a, Seat(entry.race, entry.car, p)) for p, a in crew.items())
        for race in {entry.race for entry in touched}:
            people = {a for entry, crew in crews.items() if entry.race == race for a in crew.values()}
            beyond = pricer.rules.places_beyond(race, len(people))
            total += (beyond.cost_s or 0.0) if beyond is not None else 0.0
        total += pricer.crew_changes_s(crews)
        starts = self._starts(crews, athletes)
        total += sum(pricer.rules.assess(athlete, races).cost_s for athlete, races in starts.items())
        if pricer.season.weights.uneven_s:
            counts = {a: len(r) for a, r in self.races_of.items()} | {a: len(r) for a, r in starts.items()}
            total += pricer.uneven(counts)
        return total

    def _starts(self, crews: Mapping[Entry, Crew], athletes: set[str]) -> dict[str, list[str]]:
        starts: dict[str, list[str]] = {athlete: [] for athlete in sorted(athletes)}
        for entry, crew in crews.items():
            for athlete in athletes.intersection(crew.values()):
                starts[athlete].append(entry.race)
        return starts


def _key(breach: Breach) -> tuple[str, str | None, str | None, str | None, str | None, float]:
    return breach.rule, breach.athlete, breach.race, breach.car, breach.position, round(breach.figure, 6)
