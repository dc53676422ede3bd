"""Schedules of every athlete at given prices, compiled: a dynamic program over duties in a row.

The cheapest one; or, softened, all that are nearly as cheap, and how often each seat is in them.
"""

from __future__ import annotations

import math
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


class Shares(NamedTuple):
    """How often each athlete sits in, comes to and leaves each seat, shapes (athletes, seats); filled in."""

    sits: Floats
    comes: Floats
    leaves: Floats


@compiled
def _memory(e, seat, memory, recalled, wanted, unknown):  # type: ignore[no-untyped-def]
    """Return what is remembered of race `wanted` by who comes from race e, where he remembered race `recalled`."""
    if wanted == NONE or e < wanted:
        return NOWHERE
    if e == wanted:
        return 1 + seat
    return memory if recalled == wanted else unknown


@compiled
def _run_after(run, step, runs, hard):  # type: ignore[no-untyped-def]
    """Weekends in a row, from 0 for one, after a step of so many weeks; NONE where they are too many."""
    if step == 0:
        return run
    if step > 1:
        return 0
    if run + 1 < runs:
        return run + 1
    return NONE if hard else runs - 1


@compiled
def _comes(coming_s, e, since, rank, s_e, m_e, recalled, unknown):  # type: ignore[no-untyped-def]
    """Whether he comes to a seat: its car raced `since`, where `rank` sat in it; he held s_e in race e.

    Where what he held is not known, he comes if that costs less.
    """
    if since == NONE:
        return False
    if since == e:
        return s_e != rank
    if since > e:
        return True
    if recalled != since or m_e == unknown:
        return coming_s < 0.0
    return m_e != 1 + rank


@compiled
def _settle(a, e, r, duties, leaving, own, owned, left_s, memory_seat, memory_s):  # type: ignore[no-untyped-def]
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
def _forward(a, prices, duties, states):  # type: ignore[no-untyped-def]
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
            _settle(a, e, r, duties, leaving, own, owned, left_s, memory_seat, memory_s)
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
                            run = _run_after(run_e, step, runs, hard)
                            if run == NONE:
                                continue
                            total = value[e, s_e, m_e, run_e] + arc
                            if since != e or s_e != rank:
                                total += max(0.0, left_s[s_e])
                            if memory_seat[m_e] != held:
                                total += max(0.0, memory_s[m_e])
                            if _comes(coming[a, seat], e, since, rank, s_e, m_e, remembered[e], unknown):
                                total += coming[a, seat]
                            if step > 0 and run == runs - 1:
                                total += run_price_s
                            m = _memory(e, s_e, m_e, remembered[e], remembered[r], unknown)
                            if total < value[r, s, m, run]:
                                value[r, s, m, run] = total
                                came[r, s, m, run] = ((e * most + s_e) * memories + m_e) * runs + run_e
        _settle(a, r, races, duties, leaving, own, owned, left_s, memory_seat, memory_s)
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
def _new_states(duties):  # type: ignore[no-untyped-def]
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
    states = _new_states(duties)
    _, most, memories, runs = states.value.shape
    came = states.came.reshape(-1)
    for a in range(len(least)):
        least[a], at = _forward(a, prices, duties, states)
        chosen[a] = NONE
        while at != NONE:
            r, s = at // (runs * memories * most), at // (runs * memories) % most
            chosen[a, r] = duties.seats[duties.first_seat[r] + s]
            at = came[at]


@compiled
def soft_schedules(prices, duties, heat, least, soft, shares):  # type: ignore[no-untyped-def]
    """Fill in the least cost of each athlete, the softened least, and how often he does what near it.

    Softened: -heat log Σ exp(-cost / heat) over all schedules, staying at home among them; its derivatives by prices
    are the shares (forward-backward algorithm).

    Parameters
    ----------
    heat : seconds. least, soft : filled in, shape (athletes,). shares : filled in.
    """
    sitting, coming, leaving = prices
    (alone, arcs, first, week, first_seat, seats, race_of, rank_of, before, _, remembered) = duties[:11]
    memories, run_price_s, hard = duties[11:]
    sits, comes, leaves = shares
    states = _new_states(duties)
    value, _, own, owned = states
    races, most, _, runs = value.shape
    unknown, reach = memories - 1, FAR * heat
    left_s, memory_seat, memory_s = np.empty(most), np.empty(memories, np.int64), np.empty(memories)
    flat = value.reshape(-1)
    back, forth = np.zeros(flat.size), np.zeros(flat.size)
    near, near_count = np.empty(most, np.int64), 0  # ranks of a race's seats on schedules near the cheapest
    # steps from one duty to the next on schedules near the cheapest, last races first
    source, target, weight = np.empty(STEPS, np.int64), np.empty(STEPS, np.int64), np.empty(STEPS)
    comes_to, left = np.empty(STEPS, np.bool_), np.empty((STEPS, 2), np.int64)
    sits[:] = 0.0
    comes[:] = 0.0
    leaves[:] = 0.0
    for a in range(len(least)):
        best, _ = _forward(a, prices, duties, states)
        back[:] = 0.0
        forth[:] = 0.0
        steps = 0
        z = math.exp(best / heat) if best > -reach else 0.0

        # Backwards: what all ways to go on from a state weigh, the cheapest way as a whole weighing 1.
        for r in range(races - 1, -1, -1):
            _settle(a, r, races, duties, leaving, own, owned, left_s, memory_seat, memory_s)
            near_count = 0
            for j in range(owned[r]):
                s = own[r, j]
                reached = False
                for m in range(memories):
                    for run in range(runs):
                        at = ((r * most + s) * memories + m) * runs + run
                        beyond = flat[at] + max(0.0, left_s[s]) + max(0.0, memory_s[m]) - best
                        if beyond < reach:
                            back[at] += math.exp(-beyond / heat)
                        reached |= back[at] > 0.0
                if reached:
                    near[near_count] = s
                    near_count += 1
            if near_count == 0:
                continue
            for e in range(r):
                arc = arcs[e, r, a]
                if arc == np.inf or owned[e] == 0:
                    continue
                step = week[r] - week[e]
                _settle(a, e, r, duties, leaving, own, owned, left_s, memory_seat, memory_s)
                for j in range(near_count):
                    s = near[j]
                    seat = seats[first_seat[r] + s]
                    held, since, rank = before[seat], NONE, NONE
                    if held != NONE:
                        since, rank = race_of[held], rank_of[held]
                    least_more = arc + sitting[a, seat] + alone[a, r] + min(0.0, coming[a, seat])
                    for run_e in range(runs):
                        run = _run_after(run_e, step, runs, hard)
                        if run == NONE:
                            continue
                        for i in range(owned[e]):
                            s_e = own[e, i]
                            for m_e in range(memories):
                                m = _memory(e, s_e, m_e, remembered[e], remembered[r], unknown)
                                to = ((r * most + s) * memories + m) * runs + run
                                at = ((e * most + s_e) * memories + m_e) * runs + run_e
                                if back[to] == 0.0 or flat[at] + least_more - flat[to] >= reach:
                                    continue
                                beyond = flat[at] + arc + sitting[a, seat] + alone[a, r] - flat[to]
                                left[steps] = NONE
                                if (since != e or s_e != rank) and left_s[s_e] != NONE:
                                    left[steps, 0] = seats[first_seat[e] + s_e]
                                    beyond += left_s[s_e]
                                if memory_seat[m_e] != held and memory_s[m_e] != NONE:
                                    left[steps, 1] = memory_seat[m_e]
                                    beyond += memory_s[m_e]
                                comes_to[steps] = _comes(
                                    coming[a, seat], e, since, rank, s_e, m_e, remembered[e], unknown
                                )
                                if comes_to[steps]:
                                    beyond += coming[a, seat]
                                if step > 0 and run == runs - 1:
                                    beyond += run_price_s
                                if beyond >= reach or steps == STEPS - 1:
                                    continue
                                source[steps], target[steps], weight[steps] = at, to, math.exp(-beyond / heat)
                                back[at] += weight[steps] * back[to]
                                steps += 1

        # Schedules begin with one of the duties reached.
        for r in range(races):
            for j in range(owned[r]):
                s = own[r, j]
                seat = seats[first_seat[r] + s]
                for run in range(runs):
                    at = ((r * most + s) * memories + NOWHERE) * runs + run
                    beyond = first[r, a, run] + coming[a, seat] + sitting[a, seat] + alone[a, r] - flat[at]
                    if back[at] > 0.0 and beyond < reach:
                        forth[at] = math.exp(-beyond / heat)
                        z += forth[at] * back[at]
                        if before[seat] != NONE:
                            comes[a, seat] += forth[at] * back[at]

        # Forwards: the steps again, first races first.
        for i in range(steps - 1, -1, -1):
            flow = forth[source[i]] * weight[i]
            forth[target[i]] += flow
            flow *= back[target[i]]
            if comes_to[i]:
                r, s = target[i] // (runs * memories * most), target[i] // (runs * memories) % most
                comes[a, seats[first_seat[r] + s]] += flow
            for seat in left[i]:
                if seat != NONE:
                    leaves[a, seat] += flow
        for r in range(races):
            _settle(a, r, races, duties, leaving, own, owned, left_s, memory_seat, memory_s)
            for j in range(owned[r]):
                s = own[r, j]
                seat = seats[first_seat[r] + s]
                for m in range(memories):
                    for run in range(runs):
                        at = ((r * most + s) * memories + m) * runs + run
                        sits[a, seat] += forth[at] * back[at]
                        beyond = flat[at] + max(0.0, left_s[s]) + max(0.0, memory_s[m]) - best
                        if forth[at] > 0.0 and beyond < reach:
                            ends = forth[at] * math.exp(-beyond / heat)
                            if left_s[s] != NONE:
                                leaves[a, seat] += ends
                            if memory_s[m] != NONE:
                                leaves[a, memory_seat[m]] += ends
        least[a], soft[a] = best, best - heat * math.log(z)
        for k in range(sits.shape[1]):
            sits[a, k] /= z
            comes[a, k] /= z
            leaves[a, k] /= z
