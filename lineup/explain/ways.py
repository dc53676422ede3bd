"""Ways to bring an athlete into a seat: replacement, exchange, short chains, and one more step where a rule asks it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from lineup.explain.change import Change, Lineup, Moves
from lineup.pins import matches_race
from lineup.plan import Move
from lineup.rules import RULES, Breach
from lineup.season import Seat
from lineup.study import Study

MOST_EXTENDED = 4  # ways that one more step is tried for
MOST_LOOKED_AT = 60  # longer ways whose rules are looked at


def of_seat(study: Study, lineup: Lineup, seat: Seat) -> Iterator[Moves]:
    """Every replacement, exchange and chain of up to three moves in a race that changes a seat; also forbidden ones."""
    yield from replacements(study, lineup, seat, only_allowed=False)
    yield from exchanges(study, lineup, seat, only_allowed=False)
    yield from chains(study, lineup, seat)


def ways_into(study: Study, lineup: Lineup, seat: Seat) -> dict[str, list[Moves]]:
    """Return those that bring each athlete into the seat."""
    ways: dict[str, list[Moves]] = {}
    for moves in of_seat(study, lineup, seat):
        for move in moves:
            if move.end == seat:
                ways.setdefault(move.athlete, []).append(moves)
    return ways


def best_lawful(changes: Sequence[Change]) -> Change | None:
    """Return the change that costs least among those that break no rule."""
    return max((change for change in changes if not change.breaches), key=lambda change: change.gain_s, default=None)


def with_one_more(study: Study, lineup: Lineup, ways: Sequence[Change]) -> Change | None:
    """Return the cheapest lawful change found by adding one step to ways that each break a rule.

    The step takes from a seat of another race the person whose schedule would be too full, or from the same race the
    one who is paired with somebody that leaves; somebody without a seat in that race takes it over.
    """
    nearest = sorted(ways, key=lambda change: (len(change.breaches), -change.gain_s))[:MOST_EXTENDED]
    longer: dict[Moves, None] = {}
    for way in nearest:
        for seat in _relieved(lineup, way):
            leaver = lineup.crews[seat.entry][seat.position]
            taken = {move.athlete for move in way.moves if move.end is not None and move.end.race == seat.race}
            for other in (*study.problem.eligible[seat], None):
                if other is None:
                    if study.season.positions[seat.position].filled == "if_possible":
                        longer[(*way.moves, Move(leaver, seat, None))] = None
                elif other not in taken and (seat.race, other) not in lineup.seat_of:
                    longer[(*way.moves, Move(other, None, seat), Move(leaver, seat, None))] = None
    priced = sorted((lineup.change(moves, with_rules=False) for moves in longer), key=lambda c: -c.gain_s)
    return next((c for c in map(lineup.with_breaches, priced[:MOST_LOOKED_AT]) if not c.breaches), None)


def _relieved(lineup: Lineup, way: Change) -> Iterator[Seat]:
    """Seats whose people would have to leave them for the way to break no rule."""
    moving = {move.athlete for move in way.moves}
    touched = {seat for move in way.moves for seat in (move.start, move.end)}
    for breach in way.breaches:
        for seat in _seats_of(lineup, breach):
            alone = lineup.crews[seat.entry][seat.position] not in moving
            if seat not in touched and (alone or seat.race not in {entry.race for entry in way.after}):
                yield seat


def _seats_of(lineup: Lineup, breach: Breach) -> Iterator[Seat]:
    if breach.rule in RULES or breach.rule == "one_seat":
        for race in lineup.races_of.get(breach.athlete or "", ()):
            yield lineup.seat_of[race, breach.athlete or ""]
    if breach.rule == "pin" and breach.race is not None:
        season = lineup.pricer.season
        for pin in season.pins:
            if pin.kind == "pair" and pin.athlete == breach.athlete and matches_race(season, pin, breach.race):
                for athlete in (pin.athlete, pin.other or ""):
                    seat = lineup.seat_of.get((breach.race, athlete))
                    if seat is not None:
                        yield seat


def replacements(study: Study, lineup: Lineup, seat: Seat, only_allowed: bool) -> Iterator[Moves]:
    """Somebody without a seat in the race comes in; where nobody must, the seat is left empty."""
    for athlete in could_fill(study, seat, only_allowed):
        if (seat.race, athlete) not in lineup.seat_of:
            yield (Move(athlete, None, seat), *_leave(lineup, seat))
    if study.season.positions[seat.position].filled == "if_possible" and _leave(lineup, seat):
        yield _leave(lineup, seat)


def exchanges(study: Study, lineup: Lineup, seat: Seat, only_allowed: bool = True) -> Iterator[Moves]:
    """Two athletes of the race change seats."""
    starter = _starter(lineup, seat)
    for athlete in could_fill(study, seat, only_allowed):
        other = lineup.seat_of.get((seat.race, athlete))
        if other is None or other == seat:
            continue
        if starter is None:
            yield (Move(athlete, other, seat),)
        elif starter in could_fill(study, other, only_allowed):
            yield Move(athlete, other, seat), Move(starter, seat, other)


def chains(study: Study, lineup: Lineup, seat: Seat) -> Iterator[Moves]:
    """Somebody from another seat of the race comes here, and a third person takes that seat."""
    starter, eligible = _starter(lineup, seat), study.problem.eligible
    for athlete in eligible[seat]:
        other = lineup.seat_of.get((seat.race, athlete))
        if other is None or other == seat:
            continue
        for third in eligible[other]:
            start = lineup.seat_of.get((seat.race, third))
            if third in (athlete, starter):
                continue
            if start is None:
                yield Move(athlete, other, seat), Move(third, None, other), *_leave(lineup, seat)
            elif starter is not None and start not in (seat, other) and starter in eligible[start]:
                yield Move(athlete, other, seat), Move(third, start, other), Move(starter, seat, start)


def could_fill(study: Study, seat: Seat, only_allowed: bool) -> tuple[str, ...]:
    """Return the athletes with a stop forecast for a seat's position: those who may fill it, or all of them."""
    if only_allowed:
        return study.problem.eligible[seat]
    return study.problem.cleared[seat]


def _starter(lineup: Lineup, seat: Seat) -> str | None:
    return lineup.crews.get(seat.entry, {}).get(seat.position)


def _leave(lineup: Lineup, seat: Seat) -> Moves:
    starter = _starter(lineup, seat)
    return () if starter is None else (Move(starter, seat, None),)
