"""A problem as flat arrays for the search: everything a move looks at, with nobody as one more athlete."""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lineup.optimize.bench import Bench
from lineup.optimize.crew_tables import CrewTables
from lineup.optimize.frame import EMPTY, EntryFrame, Floats, Lineup
from lineup.optimize.seat_rules import place_price, places_of

Longs = NDArray[np.int64]
Bools = NDArray[np.bool_]

MUST, PAIR, APART = 0, 1, 2
SLOTS = 256  # of `able` where athletes are named as often as they are likely
RARE = 0.003  # share that any athlete counts as having on top
NO_LIMIT = 2**31


class Pins(NamedTuple):
    """Pins of race r are numbered first[r] to first[r + 1]; `match[i]` says which seats pin i looks at."""

    first: Longs
    kind: Longs
    who: Longs
    other: Longs
    match: Bools


class Board(NamedTuple):
    """What a walk does not change. Athlete number A (one past the last) is nobody.

    `able[k, :able_count[k]]` may fill seat k, each drawn as often as it is named. `place[r, p, a]` is the cell step of
    athlete a in position p of race r, -1 where he is no candidate; a crew's cell is first[r] plus the steps. `free`
    numbers the seats that may change.
    `bit[r]` is the bit of race r in the sets of `State`, 0 where the race is held; athletes with the same `group` have
    the same schedule costs. `exact` says which of `seconds` are exact where only those will do; empty: all will.
    """

    may: Bools
    able: Longs
    able_count: Longs
    cost: Floats
    before: Longs
    after: Longs
    seat_race: Longs
    seat_entry: Longs
    seat_car: Longs
    entry_seats: Longs
    entry_race: Longs
    priority: Floats
    place: Longs
    first: Longs
    seconds: Floats
    exact: Bools
    slow: Floats
    slow_limit: Floats
    change_s: float
    free: Longs
    bit: Longs
    group: Longs
    pins: Pins
    places: Longs
    place_price: float


class State(NamedTuple):
    """What a walk changes: the lineup now and the best one, and room for one move.

    `value` holds the cost now and the best one, counted from the start of the walk. `ask` holds what the walk cannot
    know by itself; see `moves.walk`.
    """

    seats: Longs
    where: Longs
    sets: Longs
    starters: Longs
    entry_s: Floats
    value: Floats
    best: Longs
    rng: NDArray[np.uint64]
    ask: Longs
    changed: Longs
    was: Longs
    becomes: Longs
    entries: Longs
    new_s: Floats
    cells: Longs
    links: Longs
    seen_entry: Bools
    seen_seat: Bools


def make_board(bench: Bench, tables: CrewTables, window: Collection[int]) -> Board:
    """Board on which the seats of the races in `window` may change."""
    frame, problem = bench.frame, bench.problem
    athletes, seats, races = len(frame.athletes), len(frame.seats), len(problem.races)
    may = np.vstack([tables.allowed, frame.optional[None]])
    counts = may.sum(axis=0)
    able = np.zeros((seats, int(counts.max(initial=1))), dtype=np.int64)
    for k in range(seats):
        able[k, : counts[k]] = np.flatnonzero(may[:, k])
    width = max(len(entry.seats) for entry in frame.entries)
    entry_seats = np.full((len(frame.entries), width), -1, dtype=np.int64)
    for entry in frame.entries:
        entry_seats[entry.number, : len(entry.seats)] = entry.seats
    cars = list(dict.fromkeys(seat.car for seat in frame.seats))
    limits = [problem.season.cars[entry.car].slowest_s for entry in frame.entries]
    inside = sorted(window)
    whole = len(inside) == races
    places = [places_of(problem, r) for r in range(races)]
    price_s = place_price(problem)
    return Board(
        may=may,
        able=able,
        able_count=counts.astype(np.int64),
        cost=np.vstack([frame.cost, frame.empty_cost[None]]),
        before=frame.before.astype(np.int64),
        after=frame.after.astype(np.int64),
        seat_race=frame.seat_race.astype(np.int64),
        seat_entry=frame.seat_entry.astype(np.int64),
        seat_car=np.array([cars.index(seat.car) for seat in frame.seats], dtype=np.int64),
        entry_seats=entry_seats,
        entry_race=np.array([entry.race for entry in frame.entries], dtype=np.int64),
        priority=np.array([problem.pricer.priority[entry.car] for entry in frame.entries]),
        place=_places(tables, width, athletes),
        first=tables.first[:-1].astype(np.int64),
        seconds=tables.estimates,
        exact=np.zeros(0, dtype=np.bool_),
        slow=tables.slowest,
        slow_limit=np.array([np.inf if limit is None else limit for limit in limits]),
        change_s=float(problem.season.weights.crew_change_s),
        free=np.flatnonzero(np.isin(frame.seat_race, inside) & (counts > 1)).astype(np.int64),
        bit=np.array([1 << inside.index(r) if r in inside else 0 for r in range(races)], dtype=np.int64),
        group=np.array(bench.schedules.class_of if whole else range(athletes), dtype=np.int64),
        pins=_pins(bench),
        places=np.array([NO_LIMIT if n is None else n for n in places], dtype=np.int64),
        place_price=np.inf if price_s is None else float(price_s),
    )


def favour(board: Board, shares: Floats) -> Board:
    """Return the board with athletes drawn for a seat as often as they are likely to be in it.

    Parameters
    ----------
    shares : how likely, shape (athletes, seats); nobody has what is left of one.
    """
    likely = RARE + np.vstack([shares, np.maximum(0.0, 1.0 - shares.sum(axis=0))])
    able = np.zeros((len(board.able), SLOTS + board.may.shape[0]), dtype=np.int64)
    count = np.zeros(len(able), dtype=np.int64)
    for k, may in enumerate(board.may.T):
        athletes = np.flatnonzero(may)
        own = likely[athletes, k]
        named = np.repeat(athletes, 1 + np.floor(SLOTS * own / own.sum()).astype(np.intp))
        able[k, : len(named)] = named
        count[k] = len(named)
    return board._replace(able=able, able_count=count)


def _places(tables: CrewTables, width: int, athletes: int) -> Longs:
    place = np.full((len(tables.of_race), width, athletes + 1), -1, dtype=np.int64)
    for r, table in enumerate(tables.of_race):
        step = 1
        for p in range(len(table.candidates) - 1, -1, -1):
            for i, a in enumerate(table.candidates[p]):
                place[r, p, athletes if a == EMPTY else a] = i * step
            step *= len(table.candidates[p])
    return place


def _pins(bench: Bench) -> Pins:
    frame = bench.frame
    kinds = {"must": MUST, "pair": PAIR, "apart": APART}
    pins = sorted(bench.team_pins, key=lambda found: found[1])
    races = [race for _, race, _ in pins]
    return Pins(
        np.searchsorted(races, range(len(bench.problem.races) + 1)).astype(np.int64),
        np.array([kinds[pin.kind] for pin, _, _ in pins], dtype=np.int64),
        np.array([frame.number.get(pin.athlete, EMPTY) for pin, _, _ in pins], dtype=np.int64),
        np.array([frame.number.get(pin.other or "", EMPTY) for pin, _, _ in pins], dtype=np.int64),
        np.array([[k in seats for k in range(len(frame.seats))] for _, _, seats in pins], dtype=np.bool_).reshape(
            len(pins), len(frame.seats)
        ),
    )


def seated(bench: Bench, lineup: Lineup) -> Longs:
    """Return a lineup in the board's numbers, nobody as the one past the last athlete."""
    return np.where(lineup == EMPTY, len(bench.frame.athletes), lineup).astype(np.int64)


def make_state(bench: Bench, board: Board, lineup: Lineup, seed: int) -> State:
    """State at a lineup that keeps the rules."""
    frame = bench.frame
    athletes, seats, races = len(frame.athletes), len(frame.seats), len(bench.problem.races)
    now = seated(bench, lineup)
    where = np.full((athletes + 1, races), -1, dtype=np.int64)
    sets = np.zeros(athletes + 1, dtype=np.int64)
    for k, a in enumerate(now.tolist()):
        if a < athletes:
            where[a, board.seat_race[k]] = k
            sets[a] |= board.bit[board.seat_race[k]]
    room = 4 * races + 8
    return State(
        seats=now,
        where=where,
        sets=sets,
        starters=(where[:athletes] >= 0).sum(axis=0).astype(np.int64),
        entry_s=board.priority * board.seconds[[crew_cell(board, entry, now) for entry in frame.entries]],
        value=np.zeros(2),
        best=now.copy(),
        rng=np.array([(2 * seed + 1) * 0x9E3779B97F4A7C15 % 2**64], dtype=np.uint64),
        ask=np.zeros(2, dtype=np.int64),
        changed=np.zeros(room, dtype=np.int64),
        was=np.zeros(room, dtype=np.int64),
        becomes=np.zeros(room, dtype=np.int64),
        entries=np.zeros(room, dtype=np.int64),
        new_s=np.zeros(room),
        cells=np.zeros(room, dtype=np.int64),
        links=np.zeros(2 * room, dtype=np.int64),
        seen_entry=np.zeros(len(frame.entries), dtype=np.bool_),
        seen_seat=np.zeros(seats, dtype=np.bool_),
    )


def crew_cell(board: Board, entry: EntryFrame, seats: Longs) -> int:
    """Cell of an entry's crew among those of all races; `seats` as in `State`."""
    steps = board.place[entry.race, np.arange(len(entry.seats)), seats[entry.seats]]
    return int(board.first[entry.race] + steps.sum())
