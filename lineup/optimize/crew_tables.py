"""Tables of what every crew's stops cost in each race, small enough to be held in full.

With the plain mean the tables are exact. With a tail mean, or where joining every crew would take too long, they
bound from below, and cells are settled as they are needed.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Iterable, Sequence, Sized
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import cached_property, reduce

import numpy as np
from numpy.typing import NDArray

from lineup.optimize.bench import Bench
from lineup.optimize.crew_grid import weighted_stops
from lineup.optimize.crews import CrewValues
from lineup.optimize.cuts import uniform_mix
from lineup.optimize.frame import EMPTY, Floats, Frame, Ints, Lineup
from lineup.optimize.stopped import Over, Stopped
from lineup.stop_model.blend import blend_weights
from lineup.stop_model.stops import ServiceBank

MOST_CELLS = 4_000_000  # crews of one race; beyond it there are no tables
MOST_IN_ALL = 60_000_000  # crews of all races
MOST_JOINED = 4e9  # crews times scenarios; beyond it scenarios are joined in groups
GROUPS = 64
NO_KIND = -1  # of a race that none of the cars enters

Candidates = tuple[tuple[int, ...], ...]  # athlete numbers by position of the kind, EMPTY last where a seat may be


@dataclass(eq=False)
class CrewTable:
    """Stop seconds of every crew of a race, per unit of priority; axis p counts the candidates of position p.

    Attributes
    ----------
    seconds : the exact figure where `exact` says so, elsewhere a bound from below.
    """

    values: CrewValues
    kind: int
    counts: Floats
    candidates: Candidates
    seconds: Floats
    exact: NDArray[np.bool_]

    def settle(self, cells: Ints) -> None:
        """Make cells, numbered flat, exact."""
        cells = cells[~self.exact.flat[cells]]
        if len(cells):
            self.seconds.flat[cells] = self.values.unit_costs(self.kind, self.crews(cells)) @ self.counts
            self.exact.flat[cells] = True

    def crews(self, cells: Ints) -> list[tuple[int, ...]]:
        """Crews of cells numbered flat."""
        places = np.unravel_index(cells, self.seconds.shape)
        columns = [np.array(able)[place].tolist() for able, place in zip(self.candidates, places, strict=True)]
        return list(zip(*columns, strict=True))


@dataclass(frozen=True, eq=False)
class ServiceTables:
    """Stops of one service by crew, an axis per position of the kind: blended, and the mean if a limit asks for it."""

    blended: Floats
    mean: Floats
    exact: bool

    def part(self, places: Sequence[Sequence[int]]) -> ServiceTables:
        """Tables of some of the candidates, by position."""
        rows = np.ix_(*(np.array(p if self.blended.shape[q] > 1 else [0], dtype=np.intp) for q, p in enumerate(places)))
        return ServiceTables(self.blended[rows], self.mean[rows], self.exact)


Made = dict[tuple[int, Candidates], list[ServiceTables]]  # by kind and candidates, a table for each service


@dataclass(eq=False)
class CrewTables:
    """Tables of all races of a problem, made once.

    Attributes
    ----------
    may : whose crews they know, shape (athletes, seats); by default those of all who may.
    of_race : table of each race, in order, once `prepare` has made them; its arrays are parts of `seconds`, `exact`.
    """

    values: CrewValues
    may: NDArray[np.bool_] | None = None
    of_race: list[CrewTable] = field(default_factory=list)
    frame: Frame = field(init=False)

    def __post_init__(self) -> None:
        self.frame = self.values.frame
        self.lock = threading.Lock()

    @cached_property
    def kind_of(self) -> list[int]:
        """Kind of the entries of each race."""
        kinds = [NO_KIND] * len(self.frame.problem.races)
        for entry in self.frame.entries:
            kinds[entry.race] = entry.kind
        return kinds

    @cached_property
    def candidates(self) -> list[Candidates]:
        """Candidates of each race, over all its entries."""
        frame, may = self.frame, self.allowed
        found: list[Candidates] = []
        for r in range(len(frame.problem.races)):
            seats = [entry.seats for entry in frame.entries if entry.race == r]
            able = [
                (*np.flatnonzero(may[:, k].any(axis=1)).tolist(), *([EMPTY] if frame.optional[k].any() else []))
                for k in (np.array(column) for column in zip(*seats, strict=True))
            ]
            found.append(tuple(able))
        return found

    @cached_property
    def slowest(self) -> Floats:
        """Mean of the slowest service of each cell, nearly; empty where no car has a limit."""
        return np.empty(self.first[-1] if self.limited else 0)

    @cached_property
    def estimates(self) -> Floats:
        """Cells of all races as comparisons see them: all exact, or all from below by about as much."""
        return self.seconds if bool(self.exact.all()) else self.seconds.copy()

    @cached_property
    def limited(self) -> bool:
        """Whether a car has a limit on its slowest service."""
        return any(car.slowest_s is not None for car in self.frame.problem.season.cars.values())

    @property
    def allowed(self) -> NDArray[np.bool_]:
        """Who is a candidate for which seat, shape (athletes, seats)."""
        return self.frame.may if self.may is None else self.may

    @property
    def fit(self) -> bool:
        """Whether the tables are small enough to be made."""
        crews = [_crews(candidates) for candidates in self.candidates]
        return max(crews, default=0) <= MOST_CELLS and sum(crews) <= MOST_IN_ALL and min(crews, default=0) > 0

    @cached_property
    def first(self) -> Ints:
        """Where each race's cells begin in `seconds` and `exact`, and where the last ones end, shape (races + 1,)."""
        return np.cumsum([0, *map(_crews, self.candidates)])

    @cached_property
    def seconds(self) -> Floats:
        """Cells of all races, one race after the other."""
        return np.empty(self.first[-1])

    @cached_property
    def exact(self) -> NDArray[np.bool_]:
        """Which cells of `seconds` are exact."""
        return np.empty(self.first[-1], dtype=np.bool_)

    def prepare(self, over: Over) -> bool:
        """Make the tables unless `over` says to stop; return whether they are there."""
        with self.lock:
            if not self.of_race:
                made = self._make(over)
                if made is None:
                    return False
                self.of_race = [self._race(r, made) for r in range(len(self.frame.problem.races))]
                _ = self.estimates
        return True

    def _make(self, over: Over) -> Made | None:
        """Make the tables of every service over the candidates of its races, side by side; None where stopped."""
        raced = [r for r, kind in enumerate(self.kind_of) if kind != NO_KIND]
        jobs = []
        for kind, candidates in dict.fromkeys((self.kind_of[r], self._wide(r)) for r in raced):
            own = self.values.kinds[kind]
            parts = zip(own.banks, own.rows, own.columns, strict=True)
            jobs += [((kind, candidates), part) for part in parts]
        found: Made = {}
        with ThreadPoolExecutor(self.frame.problem.settings.workers) as pool:
            made = [pool.submit(self._service, *part, key[1], over) for key, part in jobs]
            try:
                for (key, _), service in zip(jobs, made, strict=True):
                    found.setdefault(key, []).append(service.result())
            except Stopped:
                return None
        return found

    def _wide(self, r: int) -> Candidates:
        """Candidates that the tables of a race's services are made for."""
        return self._union[self.kind_of[r]] or self.candidates[r]

    def _race(self, r: int, made: Made) -> CrewTable:
        kind, candidates, part = self.kind_of[r], self.candidates[r], slice(self.first[r], self.first[r + 1])
        shape = tuple(len(able) for able in candidates)
        seconds, exact = self.seconds[part].reshape(shape), self.exact[part].reshape(shape)
        counts = np.array([count for _, count in self.frame.problem.services(self.frame.problem.races[r].id)])
        if kind == NO_KIND:
            seconds[...], exact[...] = 0.0, True
            return CrewTable(self.values, kind, counts, candidates, seconds, exact)
        wide = self._wide(r)
        places = [[able.index(a) for a in own] for able, own in zip(wide, candidates, strict=True)]
        services = [service.part(places) for service in made[kind, wide]]
        seconds[:] = sum((count * s.blended for count, s in zip(counts, services, strict=True)), np.zeros(()))
        exact[:] = all(service.exact for service in services)
        if self.limited:
            self.slowest[part].reshape(shape)[:] = reduce(np.maximum, [service.mean for service in services])
        return CrewTable(self.values, kind, counts, candidates, seconds, exact)

    @cached_property
    def _union(self) -> list[Candidates | None]:
        """Candidates of all races of a kind together, where one table of them is less work than one for each race."""
        found: list[Candidates | None] = []
        for kind in range(len(self.values.kinds)):
            own = {c for c, k in zip(self.candidates, self.kind_of, strict=True) if k == kind}
            together = tuple(
                (*sorted(set().union(*able) - {EMPTY}), *([EMPTY] if EMPTY in set().union(*able) else []))
                for able in zip(*own, strict=True)
            )
            found.append(together if _crews(together) <= sum(map(_crews, own)) else None)
        return found

    def _service(
        self, bank: ServiceBank, rows: Ints, columns: Sequence[int], candidates: Candidates, over: Over
    ) -> ServiceTables:
        tail, tail_share = self.frame.problem.tail
        own = [np.zeros(0, dtype=np.intp)] * len(bank.positions)
        for p, column in enumerate(columns):
            if column >= 0:
                own[column] = np.array([rows[p, a] if a != EMPTY else EMPTY for a in candidates[p]], dtype=np.intp)
        groups = GROUPS if tail > 0 or _crews(own) * bank.scenarios > MOST_JOINED else None
        weights = [np.full(bank.scenarios, 1.0 / bank.scenarios)] if tail == 0 or self.limited else []
        if tail > 0:
            weights.append(blend_weights(bank.stop_times(_quick_crew(bank, own))[0], tail, tail_share))
        tables = weighted_stops(bank, own, np.array(weights), groups, over)
        order = [c for c in columns if c >= 0]
        shape = [len(candidates[p]) if c >= 0 else 1 for p, c in enumerate(columns)]
        turned = [np.transpose(table, order).reshape(shape) for table in tables]
        return ServiceTables(turned[-1], turned[0], groups is None)


def _crews(candidates: Iterable[Sized]) -> int:
    """Count the crews that candidates by position can make."""
    return math.prod(map(len, candidates))


def search_tables(bench: Bench, tables: CrewTables, lineup: Lineup) -> CrewTables:
    """Return the tables a search can use from a lineup: those given, or smaller ones where they would not fit.

    The smaller ones know only the most promising candidates of each race and position, and who works there now.
    """
    if not tables.fit:
        return CrewTables(tables.values, _shortlist(bench, tables, lineup))
    return tables


def _shortlist(bench: Bench, tables: CrewTables, lineup: Lineup) -> NDArray[np.bool_]:
    frame, may = bench.frame, np.zeros(bench.frame.may.shape, dtype=np.bool_)
    for r, candidates in enumerate(tables.candidates):
        entries = [entry for entry in frame.entries if entry.race == r]
        if not entries:
            continue
        seconds = bench.pool.at_mix(entries[0].kind, uniform_mix(entries[0], frame.may)).for_entry(entries[0])[1]
        most = _widest(candidates, min(MOST_CELLS, MOST_IN_ALL // len(tables.candidates)))
        for p, able in enumerate(candidates):
            seats = np.array([entry.seats[p] for entry in entries])
            now = set(lineup[seats].tolist())
            ranked = sorted((a for a in able if a != EMPTY), key=lambda a: (a not in now, seconds[p, a]))
            chosen = np.ix_(np.array(ranked[:most], dtype=np.intp), seats)
            may[chosen] = frame.may[chosen]
    return may


def _widest(candidates: Candidates, cells: int) -> int:
    """Most candidates of each position such that their crews are no more than so many."""
    longest = max(len(able) for able in candidates)
    fits = [n for n in range(1, longest + 1) if _crews([able[:n] for able in candidates]) <= cells]
    return max(fits, default=1)


def _quick_crew(bank: ServiceBank, candidates: Sequence[Ints]) -> Ints:
    """Rows of the quickest of each position, shape (positions,): their worst scenarios stand for everybody's."""
    quickest = np.full(len(bank.positions), EMPTY, dtype=np.intp)
    for q, (position, able) in enumerate(zip(bank.positions, candidates, strict=True)):
        some = able[able != EMPTY]
        if len(some):
            quickest[q] = some[bank.durations[position][some].sum(axis=1).mean(axis=1).argmin()]
    return quickest
