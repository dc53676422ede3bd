"""The cheapest schedule of every athlete at given prices, compiled: a dynamic program over duties in a row."""

from __future__ import annotations

import numpy as np

from lineup.optimize.compiled import compiled

NONE = -1
NOWHERE = 0  # memory: no seat in the race remembered; 1 + rank: that seat of it


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
def cheapest_schedules(  # type: ignore[no-untyped-def]
    prices,
    alone,
    arcs,
    first,
    week,
    first_seat,
    seats,
    race_of,
    rank_of,
    before,
    remembered,
    change_s,
    run_price_s,
    hard,
    memories,
    least,
    chosen,
):
    """Fill in the least cost of each athlete, and the seats that give it.

    Parameters
    ----------
    prices : of seats, inf where he may not, shape (athletes, seats). alone : of a duty, shape (athletes, races).
    arcs : of two duties in a row, inf where forbidden, shape (races, races, athletes). first : of beginning with a
        race, by the run of weekends it leads to, shape (races, athletes, runs). week : of each race, shape (races,).
    first_seat, seats : those of race r are seats[first_seat[r]:first_seat[r + 1]]. race_of, rank_of : race of each
        seat, and its place in that race's list. before : the same seat at the car's race before, or NONE.
    remembered : after a duty in race r, the earlier race whose seat is remembered, or NONE, shape (races,).
    change_s : of a crew change. run_price_s : of each weekend in a row too many; `hard`: there is no such price.
    memories : numbers a memory can take; the last one means that the seat in the race remembered is not known.
    least, chosen : filled in, shapes (athletes,) and (athletes, races); NONE where he rests.
    """
    athletes, races, runs = alone.shape[0], alone.shape[1], first.shape[2]
    most = 0
    for r in range(races):
        most = max(most, first_seat[r + 1] - first_seat[r])
    value = np.empty((races, most, memories, runs))
    came = np.empty((races, most, memories, runs), np.int64)
    least_at = np.zeros((races, memories, runs), np.int64)  # seat of least value
    unknown = memories - 1
    for a in range(athletes):
        value[:] = np.inf
        came[:] = NONE
        best, best_at = 0.0, NONE
        for r in range(races):
            for s in range(first_seat[r + 1] - first_seat[r]):
                seat = seats[first_seat[r] + s]
                if prices[a, seat] == np.inf:
                    continue
                own = prices[a, seat] + alone[a, r]
                held, change, since = before[seat], 0.0, NONE
                if held != NONE:
                    change, since = change_s, race_of[held]
                for run in range(runs):
                    value[r, s, NOWHERE, run] = first[r, a, run] + change
                for e in range(r):
                    arc = arcs[e, r, a]
                    if arc == np.inf:
                        continue
                    step = week[r] - week[e]
                    # his seat in race e matters where it is remembered, or where it is the one held before this
                    each = e == remembered[r]
                    ways = first_seat[e + 1] - first_seat[e] if each else 1 + (e == since)
                    for way in range(ways):
                        s_e = way if each else rank_of[held] if way else NONE
                        for m_e in range(memories):
                            m = _memory(e, s_e, m_e, remembered[e], remembered[r], unknown)
                            more = change
                            if since == e and s_e == rank_of[held]:
                                more = 0.0
                            elif since != NONE and since < e:
                                known = remembered[e] == since and m_e != unknown
                                more = change if known and m_e != 1 + rank_of[held] else 0.0
                            for run_e in range(runs):
                                came_s = s_e if s_e != NONE else least_at[e, m_e, run_e]
                                total = value[e, came_s, m_e, run_e]
                                if total == np.inf:
                                    continue
                                run = _run_after(run_e, step, runs, hard)
                                if run == NONE:
                                    continue
                                total += arc + more
                                if step > 0 and run == runs - 1:
                                    total += run_price_s
                                if total < value[r, s, m, run]:
                                    value[r, s, m, run] = total
                                    came[r, s, m, run] = ((e * most + came_s) * memories + m_e) * runs + run_e
                for m in range(memories):
                    for run in range(runs):
                        value[r, s, m, run] += own
                        if value[r, s, m, run] < best:
                            best = value[r, s, m, run]
                            best_at = ((r * most + s) * memories + m) * runs + run
            for m in range(memories):
                for run in range(runs):
                    least_at[r, m, run] = value[r, :, m, run].argmin()
        least[a] = best
        chosen[a] = NONE
        while best_at != NONE:
            run = best_at % runs
            m = best_at // runs % memories
            s = best_at // (runs * memories) % most
            r = best_at // (runs * memories * most)
            chosen[a, r] = seats[first_seat[r] + s]
            best_at = came[r, s, m, run]
