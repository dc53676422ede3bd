"""The cheapest schedule of each athlete against all there are, where cars race together and where they take turns."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise, product

import numpy as np
import pytest

from lineup.limits import Limit, Limits
from lineup.optimize.bench import Bench
from lineup.optimize.pricing import NONE, Pricing, Schedule
from lineup.season import Entry, Season, Weights
from tests.builders import tiny_season
from tests.optimize.seasons import make_problem

CHANGE_S = 2.0


def season_of(seed: int, cars: int, races: int) -> tuple[Season, np.random.Generator]:
    """Each race entered by some of the cars, weekends in a row limited or priced, people home for some of them."""
    rng = np.random.default_rng(seed)
    season = tiny_season(athletes=3, positions=2 if cars < 3 else 1, cars=cars, races=races, grades=0)
    entered = [rng.choice(cars, int(rng.integers(1, cars)) if cars > 1 else 1, replace=False) for _ in range(races)]
    entries = tuple(Entry(f"r{r + 1}", f"c{c + 1}") for r, own in enumerate(entered) for c in sorted(own))
    limit = Limit("weekends_in_a_row", at_most=2, price_s=None if seed % 2 else 1.5)
    weights = Weights(crew_change_s=CHANGE_S, travel_hour_s=0.01)
    return season.replace(entries=entries, limits=Limits({limit.name: limit}), weights=weights), rng


def every_schedule(pricing: Pricing, athlete: int) -> Iterator[tuple[float, tuple[int, ...]]]:
    """Cost and seats of every schedule that keeps the limits, tried blindly."""
    frame = pricing.frame
    for chosen in product(*([NONE, *seats.tolist()] for seats in frame.seats_of)):
        seats = tuple(k for k in chosen if k != NONE)
        races = [int(frame.seat_race[k]) for k in seats]
        if any(np.isinf(pricing.arcs[i, j, athlete]) for i, j in pairwise(races)):
            continue
        weeks = {pricing.bench.calendar.week[r] for r in races}
        if pricing.hard and any({w, w + 1, w + 2} <= weeks for w in weeks):
            continue
        yield pricing.fixed_s(Schedule(athlete, seats)), seats


@pytest.mark.parametrize(("cars", "races"), [(1, 5), (2, 5), (3, 6)])
@pytest.mark.parametrize("seed", range(6))
def test_the_cheapest_of_all_schedules(cars: int, races: int, seed: int) -> None:
    season, rng = season_of(seed, cars, races)
    pricing = Pricing(Bench(make_problem(season, seed)))
    prices = np.where(pricing.frame.may, rng.normal(-0.5, 2.0, pricing.frame.may.shape), np.inf)
    prices[rng.random(prices.shape) < 0.2] = np.inf
    least, schedules = pricing.solve(prices)
    found = {s.athlete: s for s in schedules}
    for a in range(len(prices)):
        best = min(fixed + prices[a, list(seats)].sum() for fixed, seats in every_schedule(pricing, a))
        # of three cars in turn one seat may be forgotten: then a change may stay uncharged
        assert least[a] == pytest.approx(best, abs=1e-9) if cars < 3 else least[a] <= best + 1e-9
        assert (a in found) == (least[a] < 0)
        if a in found and cars < 3:
            own = found[a]
            assert pricing.fixed_s(own) + prices[a, list(own.seats)].sum() == pytest.approx(least[a], abs=1e-9)


HEAT_S = 0.3


@pytest.mark.parametrize(("cars", "races"), [(1, 5), (2, 5)])
@pytest.mark.parametrize("seed", range(6))
def test_softened_as_over_all_schedules(cars: int, races: int, seed: int) -> None:
    """The sum over all schedules (log-sum-exp), handovers priced, and its derivatives, without the program."""
    season, rng = season_of(seed, cars, races)
    pricing = Pricing(Bench(make_problem(season, seed)))
    frame = pricing.frame
    prices = np.where(frame.may, rng.normal(-0.5, 2.0, frame.may.shape), np.inf)
    handovers = rng.random(prices.shape) * (frame.before != NONE)
    least, soft, shares = pricing.soften(prices, handovers, HEAT_S)
    for a in range(len(prices)):
        costs, done = [0.0], [np.zeros((3, prices.shape[1]))]
        for fixed, seats in every_schedule(pricing, a):
            if not seats:
                continue
            own = np.zeros((3, prices.shape[1]))
            own[0, list(seats)] = 1.0
            own[1, [k for k in seats if frame.before[k] not in (NONE, *seats)]] = 1.0
            own[2, [k for k in seats if frame.after[k] not in (NONE, *seats)]] = 1.0
            came, left = np.flatnonzero(own[1]), frame.after[np.flatnonzero(own[2])]
            handed = handovers[a, came].sum() - handovers[:, came].sum() + handovers[a, left].sum()
            costs.append(fixed + prices[a, list(seats)].sum() + handed)
            done.append(own)
        weights = np.exp((min(costs) - np.array(costs)) / HEAT_S)
        expected = np.tensordot(weights / weights.sum(), np.array(done), 1)
        assert least[a] == pytest.approx(min(costs), abs=1e-9)
        assert soft[a] == pytest.approx(min(costs) - HEAT_S * np.log(weights.sum()), abs=1e-5)
        for found, share in zip((shares.sits, shares.comes, shares.leaves), expected, strict=True):
            assert found[a] == pytest.approx(share, abs=1e-5)


def test_a_seat_held_again_after_the_other_car_s_race_is_no_change() -> None:
    """c1 and c2 race in turn: who works both and keeps his seats pays nothing, who trades them pays at every race."""
    season = tiny_season(athletes=1, positions=2, cars=2, races=4, grades=0, weights=Weights(crew_change_s=CHANGE_S))
    season = season.replace(entries=tuple(Entry(f"r{r}", f"c{2 - r % 2}") for r in range(1, 5)))
    pricing = Pricing(Bench(make_problem(season)))
    frame = pricing.frame

    def costs(*positions: str) -> float:
        seats = [
            next(int(k) for k in frame.seats_of[r] if frame.seats[k].position == p) for r, p in enumerate(positions)
        ]
        prices = np.full(frame.may.shape, np.inf)
        prices[0, seats] = -10.0
        return float(pricing.solve(prices)[0][0]) + 40.0

    assert costs("p1", "p2", "p1", "p2") == pytest.approx(0.0)
    assert costs("p1", "p2", "p2", "p2") == pytest.approx(CHANGE_S)
    assert costs("p1", "p1", "p2", "p2") == pytest.approx(2 * CHANGE_S)
