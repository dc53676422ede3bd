"""The cheapest schedule of every athlete at given prices, compiled: a dynamic program over duties in a row."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from lineup.optimize.compiled import compiled
from lineup.optimize.frame import Floats, Ints

NONE = -1
NOWHERE = 0  # memory: no seat in the race remembered; 1 + rank: that seat of it
FAR = 16.0  # schedules dearer than the cheapest by so many times the heat owned for nothing
STEPS = 20_000  # of one athlete's schedules near the cheapest, at most


class Duties(NamedTuple):
    """What prices do not change.

    `alone` : seconds of a duty, shape (athletes, races). `arcs` : of two duties in a row, inf where forbidden, shape
    (races, races, athletes). `first` : of beginning with a race, by the run of weekends it leads to, shape (races,
    athletes, runs). `week` : of each race, shape (races,). `first_seat`, `seats` : those of race r are
    seats[first_seat[r]:first_seat[r + 1]]. `race_of`, `rank_of` : race of each seat, and its place in that race's list.
    `before`, `after` : the same seat at the car's race before and at its next one, or NONE. `remembered` : after a duty
    in race r, the earlier race whose seat is remembered, or NONE, shape (races,). `memories` : numbers a memory can
    take; the last one means that the seat in the race remembered is not known. `run_price_s` : of each weekend in a
    row too many; `hard`: there is no such price.
    """

    alone: Floats
    arcs: Floats
    first: Floats
    week: Ints
    first_seat: Ints
    seats: Ints
    race_of: Ints
    rank_of: Ints
    before: Ints
    after: Ints
    remembered: Ints
    memories: int
    run_price_s: float
    hard: bool


class SeatPrices(NamedTuple):
    """Seconds, shapes (athletes, seats).

    `sitting` : of a seat, inf where he may not. `coming` : of a seat he did not hold at the car's race before.
    `leaving` : of a seat he does not hold at the car's next race, at least 0.
    """

    sitting: Floats
    coming: Floats
    leaving: Floats


class States(NamedTuple):
    """What the dynamic program knows of one athlete, by race, rank of his seat there, memory and run of weekends.

    `value` : least seconds up to there; `came` : the state before, or NONE. `own` : ranks of the seats he may fill, by
    race; `owned` : how many.
    """

    value: Floats
    came: Ints
    own: Ints
    owned: Ints


@compiled
def memory(e, seat, memory, recalled, wanted, unknown):  # type: ignore[no-untyped-def]
    """Return what is remembered of race `wanted` by who comes from race e, where he remembered race `recalled`."""
    if wanted == NONE or e < wanted:
        return NOWHERE
    if e == wanted:
        return 1 + seat
    return memory if recalled == wanted else unknown


@compiled
def run_after(run, step, runs, hard):  # type: ignore[no-untyped-def]
    """Weekends in a row, from 0 for one, after a step of so many weeks; NONE where they are too many."""
    if step == 0:
        return run
    if step > 1:
        return 0
    if run + 1 < runs:
        return run + 1
    return NONE if hard else runs - 1


@compiled
def changes(coming_s, left_s, memory_s, memory_seat, held, rank, since, e, s_e, m_e, recalled, unknown):  # type: ignore[no-untyped-def]
    """Return what leaving and coming cost on a step from race e, where he sat in s_e and remembered m_e of `recalled`.

    The seat he steps to was `held` by its car's crew in race `since`, of rank `rank` there; what he held then costs
    nothing to keep. Where what he held is not known, he comes if that costs less. `left_s`, `memory_s`, `memory_seat` :
    as filled in by `settle`, of s_e and m_e.

    Returns
    -------
    Seconds; whether he leaves s_e, the seat remembered, and comes to the next.
    """
    leaves = left_s != NONE and (since != e or s_e != rank)
    forgets = memory_s != NONE and memory_seat != held
    if since == NONE:
        comes = False
    elif since == e:
        comes = s_e != rank
    elif since > e:
        comes = True
    elif recalled != since or m_e == unknown:
        comes = coming_s < 0.0
    else:
        comes = m_e != 1 + rank
    seconds = 0.0
    if leaves:
        seconds += left_s
    if forgets:
        seconds += memory_s
    if comes:
        seconds += coming_s
    return seconds, leaves, forgets, comes


@compiled
def settle(a, e, r, duties, leaving, own, owned, left_s, memory_seat, memory_s):  # type: ignore[no-untyped-def]
    """Fill in, by rank of his seat in race e and by memory there, what leaving that seat costs if race r is next.

    Left is a seat whose car races again after e and until r; NONE in `left_s`: not settled by then.
    """
    for i in range(owned[e]):
        seat = duties.seats[duties.first_seat[e] + own[e, i]]
        then = duties.after[seat]
        settled = then != NONE and duties.race_of[then] <= r
        left_s[own[e, i]] = leaving[a, seat] if settled else NONE
    memory_seat[:] = NONE
    memory_s[:] = NONE
    if duties.remembered[e] != NONE:
        for m in range(1, duties.memories - 1):
            if m > duties.first_seat[duties.remembered[e] + 1] - duties.first_seat[duties.remembered[e]]:
                break
            memory_seat[m] = duties.seats[duties.first_seat[duties.remembered[e]] + m - 1]
            then = duties.after[memory_seat[m]]
            if then != NONE and e < duties.race_of[then] <= r:
                memory_s[m] = leaving[a, memory_seat[m]]


@compiled
def forward(a, prices, duties, states):  # type: ignore[no-untyped-def]
    """Fill in the states of an athlete; return the least cost of a schedule and the state that ends it."""
    sitting, coming, leaving = prices
    (alone, arcs, first, week, first_seat, seats, race_of, rank_of, before, _, remembered) = duties[:11]
    memories, run_price_s, hard = duties[11:]
    value, came, own, owned = states
    races, most, _, runs = value.shape
    unknown = memories - 1
    left_s, memory_seat, memory_s = np.empty(most), np.empty(memories, np.int64), np.empty(memories)
    nearest, second = np.empty((memories, runs), np.int64), np.empty((memories, runs), np.int64)  # seats to come from
    value[:] = np.inf
    came[:] = NONE
    best, best_at = 0.0, NONE
    for r in range(races):
        owned[r] = 0
        for s in range(first_seat[r + 1] - first_seat[r]):
            seat = seats[first_seat[r] + s]
            if sitting[a, seat] < np.inf:
                own[r, owned[r]] = s
                owned[r] += 1
                for run in range(runs):
                    value[r, s, NOWHERE, run] = first[r, a, run] + coming[a, seat]
        for e in range(r):
            arc = arcs[e, r, a]
            if arc == np.inf or owned[e] == 0:
                continue
            step = week[r] - week[e]
            settle(a, e, r, duties, leaving, own, owned, left_s, memory_seat, memory_s)
            each = e == remembered[r]
            if not each:
                for m in range(memories):
                    for run in range(runs):
                        one, two = np.inf, np.inf
                        nearest[m, run] = second[m, run] = NONE
                        for i in range(owned[e]):
                            s = own[e, i]
                            total = value[e, s, m, run] + max(0.0, left_s[s])
                            if total < one:
                                two, second[m, run] = one, nearest[m, run]
                                one, nearest[m, run] = total, s
                            elif total < two:
                                two, second[m, run] = total, s
            for j in range(owned[r]):
                s = own[r, j]
                seat = seats[first_seat[r] + s]
                held, since, rank = before[seat], NONE, NONE
                if held != NONE:
                    since, rank = race_of[held], rank_of[held]
                # his seat in race e matters where it is remembered, or where it is the one held before this
                ways = owned[e] if each else 1 + (e == since)
                for way in range(ways):
                    for m_e in range(memories):
                        for run_e in range(runs):
                            if each:
                                s_e = own[e, way]
                            elif way:
                                s_e = rank
                            else:
                                s_e = nearest[m_e, run_e]
                                if e == since and s_e == rank:
                                    s_e = second[m_e, run_e]
                            if s_e == NONE or value[e, s_e, m_e, run_e] == np.inf:
                                continue
                            run = run_after(run_e, step, runs, hard)
                            if run == NONE:
                                continue
                            more, _, _, _ = changes(
                                coming[a, seat],
                                left_s[s_e],
                                memory_s[m_e],
                                memory_seat[m_e],
                                held,
                                rank,
                                since,
                                e,
                                s_e,
                                m_e,
                                remembered[e],
                                unknown,
                            )
                            total = value[e, s_e, m_e, run_e] + arc + more
                            if step > 0 and run == runs - 1:
                                total += run_price_s
                            m = memory(e, s_e, m_e, remembered[e], remembered[r], unknown)
                            if total < value[r, s, m, run]:
                                value[r, s, m, run] = total
                                came[r, s, m, run] = ((e * most + s_e) * memories + m_e) * runs + run_e
        settle(a, r, races, duties, leaving, own, owned, left_s, memory_seat, memory_s)
        for j in range(owned[r]):
            s = own[r, j]
            seat = seats[first_seat[r] + s]
            for m in range(memories):
                for run in range(runs):
                    value[r, s, m, run] += sitting[a, seat] + alone[a, r]
                    total = value[r, s, m, run] + max(0.0, left_s[s]) + max(0.0, memory_s[m])
                    if total < best:
                        best, best_at = total, ((r * most + s) * memories + m) * runs + run
    return best, best_at


@compiled
def new_states(duties):  # type: ignore[no-untyped-def]
    """Return room for the states of one athlete."""
    races, runs = duties.alone.shape[1], duties.first.shape[2]
    most = 0
    for r in range(races):
        most = max(most, duties.first_seat[r + 1] - duties.first_seat[r])
    value = np.empty((races, most, duties.memories, runs))
    came = np.empty((races, most, duties.memories, runs), np.int64)
    return States(value, came, np.empty((races, most), np.int64), np.zeros(races, np.int64))


@compiled
def cheapest_schedules(prices, duties, least, chosen):  # type: ignore[no-untyped-def]
    """Fill in the least cost of each athlete, shape (athletes,), and the seats that give it.

    `chosen` has shape (athletes, races); NONE where he rests.
    """
    states = new_states(duties)
    _, most, memories, runs = states.value.shape
    came = states.came.reshape(-1)
    for a in range(len(least)):
        least[a], at = forward(a, prices, duties, states)
        chosen[a] = NONE
        while at != NONE:
            r, s = at // (runs * memories * most), at // (runs * memories) % most
            chosen[a, r] = duties.seats[duties.first_seat[r] + s]
            at = came[at]
