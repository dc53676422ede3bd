"""Every crew of a network in turn, compiled: when one member changes, only what depends on him is computed again."""

from __future__ import annotations

import numpy as np

from lineup.optimize.compiled import compiled

NONE = -1


@compiled
def join_crews(  # type: ignore[no-untyped-def]
    seconds,
    empty,
    sizes,
    place,
    needs,
    avoids,
    first_before,
    before,
    first_of_level,
    by_level,
    arms,
    groups,
    weights,
    outer,
    begin,
    end,
    table,
):
    """Fill rows `begin` to `end` of a table with weighted stop times.

    Parameters
    ----------
    seconds : own times, shape (tasks, candidates, scenarios). empty : which candidates are nobody (places, candidates).
    sizes : candidates of each place, shape (places,). A place is a position; the last one changes fastest.
    place : place of each task's position, or NONE for the car. needs, avoids : place whose seat must be filled, and
        empty, for a task to exist, or NONE.
    first_before, before : tasks that task t waits for are before[first_before[t]:first_before[t + 1]].
    first_of_level, by_level : tasks to compute when place p changes are
        by_level[first_of_level[p + 1]:first_of_level[p + 2]]; those of level 0 are computed once.
    arms : pairs of a release (or NONE) and the task it follows (or NONE), shape (arms, 2).
    groups : where each group of scenarios begins, and the end, shape (groups + 1,).
    weights : of scenarios, shape (n, scenarios). outer : the other arm in each combination of other positions, weighted
        and summed by group, shape (n, combinations, groups); combinations 0: there is none.
    table : shape (n, combinations of the places, combinations of the others or 1).
    """
    tasks, scenarios, places = len(place), seconds.shape[2], len(sizes)
    finish = np.zeros((tasks, scenarios), seconds.dtype)
    latest = np.zeros(scenarios, seconds.dtype)
    own = np.zeros(len(groups) - 1, seconds.dtype)
    now = np.zeros(places, np.int64)
    rest = begin
    for p in range(places - 1, -1, -1):
        now[p] = rest % sizes[p]
        rest //= sizes[p]
    changed = -1  # the outermost place that has changed; -1: everything is new
    for cell in range(begin, end):
        for level in range(changed, places):
            for j in range(first_of_level[level + 1], first_of_level[level + 2]):
                t = by_level[j]
                out = finish[t]
                first, last = first_before[t], first_before[t + 1]
                if first == last:
                    out[:] = 0.0
                else:
                    out[:] = finish[before[first]]
                    for b in range(first + 1, last):
                        np.maximum(out, finish[before[b]], out)
                who = 0 if place[t] == NONE else now[place[t]]
                there = place[t] == NONE or not empty[place[t], who]
                there = there and (needs[t] == NONE or not empty[needs[t], now[needs[t]]])
                if there and (avoids[t] == NONE or empty[avoids[t], now[avoids[t]]]):
                    out += seconds[t, who]
        for a in range(len(arms)):
            release, after = arms[a]
            who = 0 if place[release] == NONE else now[place[release]]
            exists = place[release] == NONE or not empty[place[release], who]
            exists = exists and (needs[release] == NONE or not empty[needs[release], now[needs[release]]])
            exists = exists and (avoids[release] == NONE or empty[avoids[release], now[avoids[release]]])
            for s in range(scenarios):
                x = finish[after, s] if after != NONE else seconds.dtype.type(0.0)
                if exists:
                    x += seconds[release, who, s]
                if a == 0 or x > latest[s]:
                    latest[s] = x
        for n in range(len(weights)):
            if outer.shape[1] == 0:
                total = 0.0
                for s in range(scenarios):
                    total += weights[n, s] * latest[s]
                table[n, cell, 0] = total
                continue
            for g in range(len(groups) - 1):
                part = 0.0
                for s in range(groups[g], groups[g + 1]):
                    part += weights[n, s] * latest[s]
                own[g] = part
            for m in range(outer.shape[1]):
                total = 0.0
                for g in range(len(groups) - 1):
                    total += max(own[g], outer[n, m, g])
                table[n, cell, m] = total
        changed = places - 1
        while changed >= 0:
            now[changed] += 1
            if now[changed] < sizes[changed]:
                break
            now[changed] = 0
            changed -= 1
