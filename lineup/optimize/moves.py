"""Moves of the search, compiled: two athletes change places over some races in a row; costs as in `Bench.value`.

What a move costs is known in three steps, each taken only where the one before lets it pass: schedules of both
athletes; seats and crew changes; stops of the crews. Numbers are drawn with xorshift64* (Vigna, An experimental
exploration of Marsaglia's xorshift generators, scrambled, 2016), so that a seed gives the same walk everywhere.
"""

from __future__ import annotations

import math

import numpy as np

from lineup.optimize.board import APART, MUST, PAIR
from lineup.optimize.compiled import compiled

LONGER = 0.6  # chance that a run of races goes on
UNKNOWN = -1
CREW = -1
COOL_EVERY = 256


@compiled
def _draw(rng):  # type: ignore[no-untyped-def]
    """Draw a number in [0, 1)."""
    x = rng[0]
    x ^= x >> np.uint64(12)
    x ^= x << np.uint64(25)
    x ^= x >> np.uint64(27)
    rng[0] = x
    return float((x * np.uint64(0x2545F4914F6CDD1D)) >> np.uint64(11)) * (1.0 / 9007199254740992.0)


@compiled
def slot_of(keys, key):  # type: ignore[no-untyped-def]
    """Slot of a key in an open table whose length is a power of two, or the free slot where it would go."""
    last = len(keys) - 1
    slot = np.int64((np.uint64(key) * np.uint64(0x9E3779B97F4A7C15)) >> np.uint64(20)) & last
    while keys[slot] != UNKNOWN and keys[slot] != key:
        slot = (slot + 1) & last
    return slot


@compiled
def walk(board, state, keys, costs, temperature, ratio, first, until, steps):  # type: ignore[no-untyped-def]
    """Take moves `first` to `until` of `steps`, cooling by `ratio` over all of them.

    One function, because calls with arrays cost: to put athletes in seats by one took a third of the speed.

    Parameters
    ----------
    board, state : see `board`.
    keys, costs : an open table of seconds by schedule: key group << 32 | races (see `slot_of`), inf if forbidden.

    Returns
    -------
    The move reached: `until`, or one that needs to know more. `state.ask` then names a schedule that is not in the
    table (athlete, races), or CREW and a cell that is not exact; once that is mended, the walk goes on from that move.
    """
    (may, able, able_count, cost, before, after, seat_race, seat_entry, seat_car, entry_seats, entry_race) = board[:11]
    (priority, place, cell_first, seconds, exact, slow, slow_limit, change_s, free, bit, group) = board[11:22]
    (pins, places, place_price) = board[22:]
    (pin_first, pin_kind, pin_who, pin_other, pin_match) = pins
    (seats, where, sets, starters, entry_s, value, best, rng, ask) = state[:9]
    (changed, was, becomes, entries, new_s, cells, links, seen_entry, seen_seat) = state[9:]
    nobody, races, width, free_count = len(may) - 1, len(bit), entry_seats.shape[1], len(free)
    now = temperature
    for step in range(first, until):
        if step % COOL_EVERY == 0 or step == first:
            now = temperature * ratio ** (step // COOL_EVERY * COOL_EVERY / steps)
        begin = rng[0]
        most = -now * math.log(1.0 - _draw(rng))

        # Who changes places, where.
        k = free[int(_draw(rng) * free_count)]
        a, b = seats[k], able[k, int(_draw(rng) * able_count[k])]
        if a == b:
            continue
        n, r = 0, seat_race[k]
        if a == nobody or b == nobody:
            changed[0], was[0], becomes[0], n = k, a, b, 1
            left = where[b, r]
            if left >= 0:
                if not may[nobody, left]:
                    continue
                changed[1], was[1], becomes[1], n = left, b, nobody, 2
        else:
            while r < races and bit[r] != 0:
                mine, theirs = where[a, r], where[b, r]
                if (mine >= 0 and not may[b, mine]) or (theirs >= 0 and not may[a, theirs]):
                    break
                if mine >= 0:
                    changed[n], was[n], becomes[n] = mine, a, b
                    n += 1
                if theirs >= 0:
                    changed[n], was[n], becomes[n] = theirs, b, a
                    n += 1
                r += 1
                if _draw(rng) > LONGER:
                    break
        if n == 0:
            continue

        # Schedules of both, and travel places.
        set_a, set_b = sets[a], sets[b]
        for i in range(n):
            own = bit[seat_race[changed[i]]]
            if was[i] == a:
                set_a &= ~own
            elif was[i] == b:
                set_b &= ~own
        for i in range(n):
            own = bit[seat_race[changed[i]]]
            if becomes[i] == a:
                set_a |= own
            elif becomes[i] == b:
                set_b |= own
        delta = 0.0
        asked = False
        for athlete, races_now in ((a, set_a), (b, set_b)):
            if athlete == nobody or races_now == sets[athlete] or delta == math.inf or asked:
                continue
            for sign, races_asked in ((1.0, races_now), (-1.0, sets[athlete])):
                key = group[athlete] << 32 | races_asked
                slot = slot_of(keys, key)
                if keys[slot] != key:
                    ask[0], ask[1], asked = athlete, races_asked, True
                    break
                delta += sign * costs[slot]
                if delta == math.inf:
                    break
        if asked:
            rng[0] = begin
            return step
        if delta == math.inf:
            continue
        for i in range(n):
            more = int(becomes[i] != nobody) - int(was[i] != nobody)
            if more != 0:
                r = seat_race[changed[i]]
                beyond = max(0, starters[r] + more - places[r]) - max(0, starters[r] - places[r])
                if beyond != 0:
                    delta += beyond * place_price
        if delta == math.inf:
            continue

        # Seats and crew changes; the move is made, and undone below if it is not kept.
        count = 0
        for i in range(n):
            k = changed[i]
            delta += cost[becomes[i], k] - cost[was[i], k]
            for link in (k, after[k]):
                if link >= 0 and before[link] >= 0 and not seen_seat[link]:
                    seen_seat[link] = True
                    links[count] = link
                    count += 1
        for i in range(count):
            held, sits = seats[before[links[i]]], seats[links[i]]
            if held != sits and held != nobody and sits != nobody:
                delta -= change_s
        for i in range(n):
            where[was[i], seat_race[changed[i]]] = -1
        for i in range(n):
            k = changed[i]
            seats[k] = becomes[i]
            if becomes[i] != nobody:
                where[becomes[i], seat_race[k]] = k
        for i in range(count):
            seen_seat[links[i]] = False
            held, sits = seats[before[links[i]]], seats[links[i]]
            if held != sits and held != nobody and sits != nobody:
                delta += change_s

        # Pins of the races it touches.
        for i in range(n):
            r = seat_race[changed[i]]
            for pin in range(pin_first[r], pin_first[r + 1]):
                own = -1 if pin_who[pin] < 0 else where[pin_who[pin], r]
                if pin_kind[pin] == MUST:
                    if own < 0 or not pin_match[pin, own]:
                        delta = math.inf
                    continue
                other = -1 if pin_other[pin] < 0 else where[pin_other[pin], r]
                own_car = -1 if own < 0 else seat_car[own]
                other_car = -1 if other < 0 else seat_car[other]
                if pin_kind[pin] == PAIR and own_car != other_car:
                    delta = math.inf
                if pin_kind[pin] == APART and own_car >= 0 and own_car == other_car:
                    delta = math.inf

        # Stops of the crews it touches.
        crews = 0
        if delta < math.inf:
            for i in range(n):
                entry = seat_entry[changed[i]]
                if not seen_entry[entry]:
                    seen_entry[entry] = True
                    entries[crews] = entry
                    crews += 1
            for i in range(crews):
                entry = entries[i]
                seen_entry[entry] = False
                r = entry_race[entry]
                cell = cell_first[r]
                for p in range(width):
                    if entry_seats[entry, p] >= 0:
                        cell += place[r, p, seats[entry_seats[entry, p]]]
                cells[i] = cell
                new_s[i] = priority[entry] * seconds[cell]
                if slow_limit[entry] < math.inf and slow[cell] > slow_limit[entry]:
                    new_s[i] = math.inf
                delta += new_s[i] - entry_s[entry]
        unsure = -1
        if delta <= most and len(exact) > 0:
            for i in range(crews):
                if not exact[cells[i]]:
                    unsure = cells[i]
        if delta <= most and unsure < 0:
            for i in range(crews):
                entry_s[entries[i]] = new_s[i]
            sets[a], sets[b] = set_a, set_b
            for i in range(n):
                starters[seat_race[changed[i]]] += int(becomes[i] != nobody) - int(was[i] != nobody)
            value[0] += delta
            if value[0] < value[1] - 1e-9:
                value[1] = value[0]
                best[:] = seats
            continue
        for i in range(n):
            where[becomes[i], seat_race[changed[i]]] = -1
        for i in range(n):
            k = changed[i]
            seats[k] = was[i]
            if was[i] != nobody:
                where[was[i], seat_race[k]] = k
        if unsure >= 0:
            ask[0], ask[1], rng[0] = CREW, unsure, begin
            return step
    return until
