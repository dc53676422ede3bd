"""One line per car over a block: its stops, what holds them up, and how two plans differ for it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import fsum

from lineup.plan import EntryForecast, Plan
from lineup.season import Season


@dataclass(frozen=True, slots=True)
class CarRow:
    """A car's block.

    Attributes
    ----------
    mean_s : mean forecast stop over all its expected stops.
    best, worst : forecasts of its main service with the lowest and the highest median.
    held_up_by : positions by the share of stops their work is decisive in, the highest first.
    """

    car: str
    races: int
    stops: float
    mean_s: float
    best: EntryForecast
    worst: EntryForecast
    held_up_by: tuple[tuple[str, float], ...]


def car_rows(season: Season, plan: Plan) -> tuple[CarRow, ...]:
    """Return a row for every car with a forecast in the plan, the most important car first."""
    cars = sorted(season.cars.values(), key=lambda car: -car.priority)
    rows = (_row(season, [e for e in plan.entries if e.car == car.id], car.id) for car in cars)
    return tuple(row for row in rows if row is not None)


def main_service(season: Season, race: str) -> str:
    """Return the service a race expects most stops of."""
    counts = season.service_counts[race]
    return max(counts, key=lambda service: counts[service])


def main_stops(season: Season, plan: Plan) -> Iterator[EntryForecast]:
    """Yield the forecast of each entry's main service, in order of report."""
    told = {(e.race, e.car, e.service): e for e in plan.entries}
    for race in season.races:
        for car in season.cars_in[race]:
            found = told.get((race, car, main_service(season, race)))
            if found is not None:
                yield found


def _row(season: Season, entries: list[EntryForecast], car: str) -> CarRow | None:
    if not entries:
        return None
    weights = [season.service_counts[e.race][e.service] for e in entries]
    total = fsum(weights)
    main = [e for e in entries if e.service == main_service(season, e.race)]
    positions = dict.fromkeys(p for e in entries for p in e.critical_share)
    shares = {
        p: fsum(w * e.critical_share.get(p, 0.0) for w, e in zip(weights, entries, strict=True)) / total
        for p in positions
    }
    return CarRow(
        car=car,
        races=len({e.race for e in entries}),
        stops=total,
        mean_s=fsum(w * e.mean_s for w, e in zip(weights, entries, strict=True)) / total,
        best=min(main, key=lambda e: e.median_s),
        worst=max(main, key=lambda e: e.median_s),
        held_up_by=tuple(sorted(shares.items(), key=lambda item: -item[1])),
    )
