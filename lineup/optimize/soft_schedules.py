"""Schedules near the cheapest of every athlete, compiled: the dynamic program of `schedule_kernel`, softened."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from lineup.optimize.compiled import compiled
from lineup.optimize.frame import Floats, Ints
from lineup.optimize.schedule_kernel import NONE, NOWHERE, changes, forward, memory, new_states, run_after, settle

FAR = 16.0  # schedules dearer than the cheapest by so many times the heat count for nothing
STEPS = 20_000  # of one athlete's schedules near the cheapest, at most


class Shares(NamedTuple):
    """How often each athlete sits in, comes to and leaves each seat, shapes (athletes, seats); filled in."""

    sits: Floats
    comes: Floats
    leaves: Floats


class Steps(NamedTuple):
    """Steps from one duty to the next on an athlete's schedules near the cheapest, last races first.

    `source`, `target` : numbers of states, shape (steps,); see `States`. `weight` : exp(-seconds beyond the cheapest
    way to the target / heat). `comes` : whether he comes to the target's seat. `left` : seats he leaves, or NONE,
    shape (steps, 2).
    """

    source: Ints
    target: Ints
    weight: Floats
    comes: NDArray[np.bool_]
    left: Ints


@compiled
def _backwards(a, prices, duties, states, heat, best, back, steps):  # type: ignore[no-untyped-def]
    """Fill in what all ways to go on from a state weigh, the cheapest way as a whole weighing 1; and their steps.

    Returns the number of steps.
    """
    sitting, coming, leaving = prices
    value, _, own, owned = states
    races, most, memories, runs = value.shape
    unknown, reach, count = memories - 1, FAR * heat, 0
    left_s, memory_seat, memory_s = np.empty(most), np.empty(memories, np.int64), np.empty(memories)
    near = np.empty(most, np.int64)  # ranks of a race's seats on schedules near the cheapest
    flat = value.reshape(-1)
    back[:] = 0.0
    for r in range(races - 1, -1, -1):
        settle(a, r, races, duties, leaving, own, owned, left_s, memory_seat, memory_s)
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
        for e in range(r if near_count else 0):
            arc = duties.arcs[e, r, a]
            if arc == np.inf or owned[e] == 0:
                continue
            step = duties.week[r] - duties.week[e]
            recalled, wanted = duties.remembered[e], duties.remembered[r]
            settle(a, e, r, duties, leaving, own, owned, left_s, memory_seat, memory_s)
            for j in range(near_count):
                s = near[j]
                seat = duties.seats[duties.first_seat[r] + s]
                held, since, rank = duties.before[seat], NONE, NONE
                if held != NONE:
                    since, rank = duties.race_of[held], duties.rank_of[held]
                own_s = arc + sitting[a, seat] + duties.alone[a, r]
                for run_e in range(runs):
                    run = run_after(run_e, step, runs, duties.hard)
                    if run == NONE:
                        continue
                    run_s = duties.run_price_s if step > 0 and run == runs - 1 else 0.0
                    for i in range(owned[e]):
                        s_e = own[e, i]
                        for m_e in range(memories):
                            m = memory(e, s_e, m_e, recalled, wanted, unknown)
                            to = ((r * most + s) * memories + m) * runs + run
                            at = ((e * most + s_e) * memories + m_e) * runs + run_e
                            beyond = flat[at] + own_s - flat[to]
                            if back[to] == 0.0 or beyond + min(0.0, coming[a, seat]) >= reach:
                                continue
                            more, leaves, forgets, comes = changes(
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
                                recalled,
                                unknown,
                            )
                            beyond += more + run_s
                            if beyond >= reach or count == STEPS:
                                continue
                            steps.source[count], steps.target[count] = at, to
                            steps.weight[count], steps.comes[count] = math.exp(-beyond / heat), comes
                            steps.left[count, 0] = duties.seats[duties.first_seat[e] + s_e] if leaves else NONE
                            steps.left[count, 1] = memory_seat[m_e] if forgets else NONE
                            back[at] += steps.weight[count] * back[to]
                            count += 1
    return count


@compiled
def _forwards(a, prices, duties, states, heat, best, back, forth, steps, count, shares):  # type: ignore[no-untyped-def]
    """Add up the shares of an athlete from first duties on, in the weights of `_backwards`; return the sum of weights.

    `forth` is filled in with what all ways to a state weigh.
    """
    sitting, coming, leaving = prices
    sits, comes, leaves = shares
    value, _, own, owned = states
    races, most, memories, runs = value.shape
    reach = FAR * heat
    left_s, memory_seat, memory_s = np.empty(most), np.empty(memories, np.int64), np.empty(memories)
    flat = value.reshape(-1)
    forth[:] = 0.0
    total = math.exp(best / heat) if best > -reach else 0.0  # staying at home
    for r in range(races):
        for j in range(owned[r]):
            s = own[r, j]
            seat = duties.seats[duties.first_seat[r] + s]
            own_s = coming[a, seat] + sitting[a, seat] + duties.alone[a, r]
            for run in range(runs):
                at = ((r * most + s) * memories + NOWHERE) * runs + run
                beyond = duties.first[r, a, run] + own_s - flat[at]
                if back[at] > 0.0 and beyond < reach:
                    forth[at] = math.exp(-beyond / heat)
                    total += forth[at] * back[at]
                    if duties.before[seat] != NONE:
                        comes[a, seat] += forth[at] * back[at]
    for i in range(count - 1, -1, -1):
        flow = forth[steps.source[i]] * steps.weight[i]
        to = steps.target[i]
        forth[to] += flow
        flow *= back[to]
        if steps.comes[i]:
            r, s = to // (runs * memories * most), to // (runs * memories) % most
            comes[a, duties.seats[duties.first_seat[r] + s]] += flow
        for seat in steps.left[i]:
            if seat != NONE:
                leaves[a, seat] += flow
    for r in range(races):
        settle(a, r, races, duties, leaving, own, owned, left_s, memory_seat, memory_s)
        for j in range(owned[r]):
            s = own[r, j]
            seat = duties.seats[duties.first_seat[r] + s]
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
    return total


@compiled
def soft_schedules(prices, duties, heat, least, soft, shares):  # type: ignore[no-untyped-def]
    """Fill in the least cost of each athlete, the softened least, and how often he does what near it.

    Softened: -heat log Σ exp(-cost / heat) over all schedules, staying at home among them; its derivatives by prices
    are the shares (forward-backward algorithm).

    Parameters
    ----------
    heat : seconds. least, soft : filled in, shape (athletes,). shares : filled in.
    """
    states = new_states(duties)
    back, forth = np.empty(states.value.size), np.empty(states.value.size)
    source, target, weight = np.empty(STEPS, np.int64), np.empty(STEPS, np.int64), np.empty(STEPS)
    steps = Steps(source, target, weight, np.empty(STEPS, np.bool_), np.empty((STEPS, 2), np.int64))
    for share in shares:
        share[:] = 0.0
    for a in range(len(least)):
        best, _ = forward(a, prices, duties, states)
        count = _backwards(a, prices, duties, states, heat, best, back, steps)
        total = _forwards(a, prices, duties, states, heat, best, back, forth, steps, count, shares)
        least[a], soft[a] = best, best - heat * math.log(total)
        for share in shares:
            share[a] /= total
