"""Rows of the relaxation that are linear in who sits where: limits that tie athletes or races together."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from lineup.limits import KNOWN_LIMITS
from lineup.optimize.bench import Bench
from lineup.optimize.frame import Floats, Ints
from lineup.optimize.seat_rules import place_price, places_of

INF = float("inf")
IN_PRICING = ("one_seat", "rest_hours", "duty_hours", "weekends_in_a_row")


@dataclass(frozen=True, eq=False)
class Row:
    """low <= Σ coefficients[i] x[index[i]] - beyond <= high; index = athlete x seats + seat.

    `price_s` None: no "beyond". Else each unit beyond `high` costs that much.
    """

    index: Ints
    coefficients: Floats
    low: float
    high: float
    price_s: float | None = None

    def fit(self, price: float) -> float:
        """Nearest price this row can have in a bound: not above 0 where it has no least, below where no most."""
        if self.low == -INF:
            price = min(price, 0.0)
        if self.high == INF:
            price = max(price, 0.0)
        return price if self.price_s is None else max(price, -self.price_s)


def sides(rows: Sequence[Row], prices: Floats) -> Floats:
    """Side of each row that counts at a fitting price, shape (rows,): the least for a price above 0, else the most."""
    pairs = zip(rows, prices, strict=True)
    return np.array([row.low if price > 0 or row.high == INF else row.high for row, price in pairs])


def worth(rows: Sequence[Row], prices: Floats) -> float:
    """Seconds that the sides of rows add to a bound at fitting prices, shape (rows,)."""
    return float(prices @ sides(rows, prices)) if len(rows) else 0.0


def tying_rows(bench: Bench) -> list[Row]:
    """Rows of travel places, pins, counts of races and starts, and uneven load."""
    return [*_places(bench), *_pins(bench), *_windows(bench), *_uneven(bench)]


def left_out(bench: Bench) -> tuple[str, ...]:
    """Limits that the relaxation does not know, or knows only in part, in words."""
    known = ("travel_places", "starts", "height", "recent_grades", "cover", *IN_PRICING)
    counted = ("races_in_days", "races_per_weekend")
    words = [
        KNOWN_LIMITS[name][0]
        for name, limit in bench.problem.season.limits.by_name.items()
        if name not in known and not (name in counted and limit.hard)
    ]
    slow = any(car.slowest_s is not None for car in bench.problem.season.cars.values())
    return (*words, *(["the slowest stop of a car"] if slow else []))


def _row(bench: Bench, athletes: Ints, seats: Ints, low: float, high: float, price_s: float | None = None) -> Row:
    """Row that counts these athletes in these seats, as far as they may sit there."""
    a, k = np.meshgrid(athletes, seats, indexing="ij")
    may = bench.frame.may[a, k]
    index = (a * len(bench.frame.seats) + k)[may]
    return Row(index, np.ones(len(index)), low, high, price_s)


def _places(bench: Bench) -> Iterator[Row]:
    everyone = np.arange(len(bench.frame.athletes))
    for r, seats in enumerate(bench.frame.seats_of):
        places = places_of(bench.problem, r)
        if places is not None and places < len(seats):
            yield _row(bench, everyone, seats, -INF, float(places), place_price(bench.problem))


def _pins(bench: Bench) -> Iterator[Row]:
    frame = bench.frame
    for pin, _, asked in bench.team_pins:
        seats = np.array(sorted(asked), dtype=np.intp)
        first = np.array([frame.number[a] for a in (pin.athlete,) if a in frame.number], dtype=np.intp)
        second = np.array([frame.number[a] for a in (pin.other or "",) if a in frame.number], dtype=np.intp)
        if pin.kind == "must":
            yield _row(bench, first, seats, 1.0, INF)
            continue
        for car in dict.fromkeys(frame.seats[k].car for k in seats):
            own = np.array([k for k in seats if frame.seats[k].car == car], dtype=np.intp)
            one, two = _row(bench, first, own, 0.0, 0.0), _row(bench, second, own, 0.0, 0.0)
            index = np.concatenate([one.index, two.index])
            if pin.kind == "apart":
                yield Row(index, np.ones(len(index)), -INF, 1.0)
            else:
                yield Row(index, np.concatenate([one.coefficients, -two.coefficients]), 0.0, 0.0)


def _windows(bench: Bench) -> Iterator[Row]:
    frame = bench.frame
    for a in range(len(frame.athletes)):
        for window in bench.schedules.windows[a]:
            plain = all(len(group) == 1 for group in window.groups)
            if window.rule == "weekends_in_a_row" or not plain or (window.price_s is not None and window.trigger):
                continue
            seats = [k for (race,) in window.groups for k in frame.seats_of[frame.race_number[race]]]
            who, where = np.array([a], dtype=np.intp), np.array(seats, dtype=np.intp)
            if window.most is not None and window.most < len(window.groups):
                most = float(math.floor(window.most))
                yield _row(
                    bench, who, where, -INF, most if window.price_s is not None else max(most, 0.0), window.price_s
                )
            if window.least is not None and window.least > 0:
                row = _row(bench, who, where, -INF, -float(math.ceil(window.least)), window.price_s)
                yield Row(row.index, -row.coefficients, row.low, row.high, row.price_s)


def _uneven(bench: Bench) -> Iterator[Row]:
    """Count |starts - share| as what goes beyond the share from either side."""
    price, share = bench.problem.season.weights.uneven_s, bench.problem.even_share
    seats = np.arange(len(bench.frame.seats))
    for a in range(len(bench.frame.athletes)) if price > 0 else ():
        row = _row(bench, np.array([a], dtype=np.intp), seats, -INF, share, price)
        yield row
        yield Row(row.index, -row.coefficients, -INF, -share, price)
