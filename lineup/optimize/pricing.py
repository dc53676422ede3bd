"""The cheapest schedule of every athlete under given seat prices, by a dynamic program over duties in a row.

State: the seat of the last duty; how many weekends in a row have been worked (the last state means "that many or
more" where the limit has a price); and the seat held at one earlier race, the latest whose cars race again only after
the last duty, as where two series take turns. Steps know rest, overlaps, travel between two duties, and crew changes.
Where a seat that matters is in no state (three series in turn), no change is charged: the answer is then at or below
the exact cost, which keeps every bound built on it valid.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from lineup.optimize.bench import Bench
from lineup.optimize.frame import Floats, Ints
from lineup.optimize.nogoods import IN_A_ROW
from lineup.optimize.rows import Row, tying_rows
from lineup.optimize.schedule_kernel import NONE, Duties, SeatPrices, cheapest_schedules
from lineup.optimize.soft_schedules import Shares, soft_schedules


@dataclass(frozen=True, eq=False)
class Schedule:
    """Seats an athlete works, in order, and what they cost apart from seat prices (see `Pricing.fixed_s`)."""

    athlete: int
    seats: tuple[int, ...]


class Pricing:
    """Dynamic program of one problem; everything that does not depend on prices is computed once."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.frame = bench.frame
        self.races = len(self.frame.problem.races)
        limit = self.frame.problem.season.limits.get("weekends_in_a_row")
        bound = limit is not None and limit.at_most is not None
        self.most = int(limit.at_most or 0) if limit is not None and bound else None
        self.price = (limit.price_s or 0.0) if limit is not None and bound else 0.0
        self.hard = limit is not None and bound and limit.price_s is None
        self.runs = 1 if self.most is None else max(1, self.most if self.hard else self.most + 1)
        self.change_s = self.frame.problem.season.weights.crew_change_s

    def prepare(self) -> None:
        """Compute all that prices do not change, before several threads ask for it."""
        _ = self.ties, self.duties

    # ------------------------------------------------------------------------------------- what prices do not change

    @cached_property
    def ties(self) -> list[Row]:
        """Rows that tie athletes or races together."""
        return tying_rows(self.bench)

    @cached_property
    def alone(self) -> Floats:
        """Seconds of each duty alone, shape (athletes, races)."""
        return np.array([self.bench.pairs.of(c)[0] for c in self.bench.schedules.class_of]).reshape(-1, self.races)

    @cached_property
    def arcs(self) -> Floats:
        """Seconds of two duties in a row on top, inf where a rule forbids it; shape (races, races, athletes)."""
        schedules = self.bench.schedules
        by_class = []
        for number, athlete in enumerate(schedules.samples):
            table = np.full((self.races, self.races), np.inf)
            _, pairs = self.bench.pairs.of(number)
            verdicts = self.frame.problem.rules.pair_verdicts(self.frame.athletes[athlete])
            for j in range(self.races):
                for i in range(j):
                    table[i, j] = pairs.get((i, j), 0.0)
            for (first, second), verdict in verdicts.items():
                if verdict.breaches:
                    table[self.frame.race_number[first], self.frame.race_number[second]] = np.inf
            by_class.append(table)
        return np.stack([by_class[c] for c in schedules.class_of], axis=-1)

    @cached_property
    def first(self) -> Floats:
        """Seconds of beginning with a race, by the run it leads to: shape (races, athletes, runs), inf elsewhere."""
        table = np.full((self.races, len(self.frame.athletes), self.runs), np.inf)
        for a in range(len(self.frame.athletes)):
            for r in range(self.races):
                broken = self.bench.schedules.of(a, 1 << r).broken
                run = int(self.bench.calendar.run_before[a, r]) + 1
                if any(rule in IN_A_ROW for rule in broken) or (
                    self.hard and self.most is not None and run > self.most
                ):
                    continue
                beyond = self.most is not None and not self.hard and run > self.most
                table[r, a, min(run, self.runs) - 1] = self.price * beyond
        return table

    @cached_property
    def remembered(self) -> Ints:
        """For each race, the latest one before it whose cars, or some, race again only after it; or NONE."""
        frame = self.frame
        linked = frame.linked
        links = set(zip(frame.seat_race[frame.before[linked]].tolist(), frame.seat_race[linked].tolist(), strict=True))
        latest = [
            max((first for first, second in links if first < r < second), default=NONE) for r in range(self.races)
        ]
        return np.array(latest, dtype=np.intp)

    @cached_property
    def duties(self) -> Duties:
        """All of it, as the compiled program takes it."""
        frame = self.frame
        rank = np.zeros(len(frame.seats), dtype=np.intp)
        for seats in frame.seats_of:
            rank[seats] = np.arange(len(seats))
        known = [len(frame.seats_of[r]) + 2 for r in self.remembered if r != NONE]
        return Duties(
            alone=self.alone,
            arcs=self.arcs,
            first=self.first,
            week=self._weeks,
            first_seat=np.cumsum([0, *map(len, frame.seats_of)]),
            seats=np.concatenate([np.zeros(0, dtype=np.intp), *frame.seats_of]),
            race_of=frame.seat_race,
            rank_of=rank,
            before=frame.before,
            after=frame.after,
            remembered=self.remembered,
            memories=max(known, default=1),
            run_price_s=float(self.price),
            hard=self.hard,
        )

    @cached_property
    def _weeks(self) -> Ints:
        return np.array(self.bench.calendar.week, dtype=np.intp)

    # ---------------------------------------------------------------------------------------------------------- solve

    def solve(self, prices: Floats) -> tuple[Floats, list[Schedule]]:
        """Cheapest schedule of each athlete.

        Parameters
        ----------
        prices : seconds each seat costs each athlete, shape (athletes, seats); inf where he may not.

        Returns
        -------
        Least cost of each of them, shape (athletes,), at most 0: he may stay at home; and the schedules below 0.
        """
        least, chosen = np.zeros(len(prices)), np.full((len(prices), self.races), NONE, dtype=np.intp)
        cheapest_schedules(self._with_changes(prices), self.duties, least, chosen)
        seats = ((a, chosen[a][chosen[a] != NONE].tolist()) for a in np.flatnonzero(least < 0).tolist())
        schedules = [Schedule(a, tuple(own)) for a, own in seats]
        return least, schedules

    def soften(self, prices: Floats, handovers: Floats, heat_s: float) -> tuple[Floats, Floats, Shares]:
        """Least cost of each athlete as `solve` finds it, softened as well, and what he does near it.

        Parameters
        ----------
        prices : as for `solve`.
        handovers : seconds, at least 0, shape (athletes, seats): each time he comes to a seat or leaves it (at the
            car's next race; the seat is that of the race left for) he pays this, and whoever comes to a seat earns
            the sum of all its prices. Where all come and go as in a lineup, that adds up to nothing or a gain.
        heat_s : how much dearer than the least still counts, seconds.

        Returns
        -------
        Least and softened least cost, shape (athletes,), and shares, the derivatives of the softened cost.
        """
        least, soft = np.zeros(len(prices)), np.zeros(len(prices))
        shares = Shares(*(np.zeros(prices.shape) for _ in range(3)))
        soft_schedules(self._with_changes(prices, handovers), self.duties, heat_s, least, soft, shares)
        return least, soft, shares

    def _with_changes(self, prices: Floats, handovers: Floats | None = None) -> SeatPrices:
        linked = self.frame.linked
        coming, leaving = np.zeros(prices.shape), np.zeros(prices.shape)
        coming[:, linked] = self.change_s
        if handovers is not None:
            coming[:, linked] += handovers[:, linked] - handovers[:, linked].sum(axis=0)
            leaving[:, self.frame.before[linked]] = handovers[:, linked]
        return SeatPrices(np.ascontiguousarray(prices), coming, leaving)

    # ---------------------------------------------------------------------------------------------------------- costs

    def fixed_s(self, schedule: Schedule) -> float:
        """Seconds of a schedule, seat prices left out."""
        total, run, last = 0.0, 0, NONE
        a = schedule.athlete
        for k in schedule.seats:
            r = int(self.frame.seat_race[k])
            total += float(self.alone[a, r])
            if last == NONE:
                run = int(self.bench.calendar.run_before[a, r]) + 1
                total += self._beyond(run)
            else:
                total += float(self.arcs[last, r, a])
                step = self._weeks[r] - self._weeks[last]
                run = run if step == 0 else run + 1 if step == 1 else 1
                total += self._beyond(run) if step else 0.0
            before = int(self.frame.before[k])
            total += self.change_s if before != NONE and before not in schedule.seats else 0.0
            last = r
        return total

    def cost(self, schedule: Schedule) -> float:
        """Seconds of a schedule as the relaxations count them, stops left out."""
        own = self.frame.cost[schedule.athlete, list(schedule.seats)]
        return self.fixed_s(schedule) + float(own.sum())

    def _beyond(self, run: int) -> float:
        return self.price if self.most is not None and not self.hard and run > self.most else 0.0
