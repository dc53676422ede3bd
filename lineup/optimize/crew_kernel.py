"""Crews of an entry near the cheapest when the work of its members is paid for, compiled."""

from __future__ import annotations

import math

import numpy as np

from lineup.optimize.compiled import compiled

ROUNDING = 1e-10
FAR = 20.0  # crews dearer than the cheapest by so many times the heat count for nothing


@compiled
def least_of_rows(seconds, priority, earned, rows):  # type: ignore[no-untyped-def]
    """Fill in the least seconds of each row of a table, what the member in the last position earns taken off.

    Crews of a row are alike but for that position; `seconds` is the flat table, `earned` of its candidates.
    """
    last = len(earned)
    for row in range(len(rows)):
        least = np.inf
        for i in range(last):
            least = min(least, priority * seconds[row * last + i] - earned[i])
        rows[row] = least


@compiled
def near_crews(seconds, sizes, priority, earned, rows, drift, least, reach, places, costs):  # type: ignore[no-untyped-def]
    """Find the crews whose seconds, less what their members earn, are within `reach` of the least.

    Parameters
    ----------
    seconds : flat table, per unit of priority, shape (crews,). sizes : candidates by position, shape (positions,).
    earned : seconds, shape (positions, candidates). rows : as by `least_of_rows`, at earlier earnings. drift : most by
        which earnings in the last position have risen since. least : a cost not below the least.
    places, costs : filled in with candidates by position and priority times seconds, as far as there is room.

    Returns
    -------
    The least, and how many there are; one more than there is room for if they are too many.
    """
    others = len(sizes) - 1
    last = sizes[others]
    place, sums = np.zeros(others + 1, np.int64), np.zeros(others + 1)  # sums: what members before a position earn
    count = 0
    for found in (False, True):
        place[:] = 0
        for p in range(others):
            sums[p + 1] = sums[p] + earned[p, 0]
        for row in range(len(rows)):
            limit = (least + reach if found else least) + ROUNDING * (1.0 + abs(least))
            if rows[row] - drift - sums[others] <= limit:
                for i in range(last):
                    cost = priority * seconds[row * last + i]
                    slack = cost - sums[others] - earned[others, i]
                    if not found:
                        least = min(least, slack)
                    elif slack <= limit:
                        if count == len(costs):
                            return least, count + 1
                        costs[count] = cost
                        places[count, others] = i
                        for p in range(others):
                            places[count, p] = place[p]
                        count += 1
            p = others - 1
            while p >= 0 and place[p] + 1 == sizes[p]:
                place[p] = 0
                p -= 1
            if p >= 0:
                place[p] += 1
            for q in range(max(p, 0), others):
                sums[q + 1] = sums[q] + earned[q, place[q]]
    return least, count


@compiled
def soft_crews(places, costs, earned, heat, slack, shares):  # type: ignore[no-untyped-def]
    """Return the least and the softened least of some crews, and fill in how often each candidate is in them.

    Softened: -heat log Σ exp(-slack / heat), whose derivatives by the earnings are the shares, negative.

    Parameters
    ----------
    places, costs, earned : as of `near_crews`. heat : seconds. slack : filled in, shape (crews,).
    shares : filled in, shape (positions, candidates).
    """
    positions = places.shape[1]
    least, z = np.inf, 0.0
    shares[:] = 0.0
    for c in range(len(costs)):
        own = costs[c]
        for p in range(positions):
            own -= earned[p, places[c, p]]
        slack[c] = own
        least = min(least, own)
    for c in range(len(costs)):
        beyond = (slack[c] - least) / heat
        if beyond < FAR:
            weight = math.exp(-beyond)
            z += weight
            for p in range(positions):
                shares[p, places[c, p]] += weight
    for p in range(positions):
        for i in range(shares.shape[1]):
            shares[p, i] /= z
    return least, least - heat * math.log(z)
