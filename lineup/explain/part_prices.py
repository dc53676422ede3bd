"""About what athletes cost in the seats of some races, and what the stops of those races cost under a lineup."""

from __future__ import annotations

from collections.abc import Collection

from lineup.explain.block import Block, Seating
from lineup.price import Pricer
from lineup.season import Entry, Seat


def seat_prices(pricer: Pricer, block: Block, races: Collection[str]) -> dict[tuple[Seat, str], float]:
    """Weighted seconds that each athlete adds to the stops of a race in each seat, near the quickest crew."""
    prices: dict[tuple[Seat, str], float] = {}
    for seat in block.seats(races):
        for service, tire in block.services(seat.race, seat.car):
            _, coefficients = block.bounds.near_quickest((service, tire))[-1]
            weight = pricer.priority[seat.car] * block.season.service_counts[seat.race][service]
            able = block.bounds.bank((service, tire)).athletes.get(seat.position, ())
            for athlete, seconds in zip(able, coefficients.get(seat.position, ()), strict=True):
                prices[seat, athlete] = prices.get((seat, athlete), 0.0) + weight * float(seconds)
    return prices


def stops_s(pricer: Pricer, block: Block, lineup: Seating, races: Collection[str]) -> float | None:
    """Cost of the stops of these races, or None when somebody has no sampled stops in his seat."""
    total = 0.0
    for race in races:
        for car in block.season.cars_in[race]:
            crew = {seat.position: lineup[seat] for seat in block.season.seats(race, car) if seat in lineup}
            if any(block.bounds.mean_s(service, crew) is None for service in block.services(race, car)):
                return None
            total += pricer.entry_value(Entry(race, car), crew)
    return total
