"""Graded stops as arrays: which cells (athlete, position, split) get an estimate, and the rows that speak of them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from lineup.season import Season, Task
from lineup.skills.arrays import Bools, Floats, Ints, group_sums
from lineup.skills.records import LeftOut

SETTINGS = ("race", "practice", "tryout")
RISING = ("developing", "candidate")
NEWCOMER = 0  # place of that trait in `Cells.traits`
_LEAST_SECONDS = 0.05  # nominal seconds at or below zero have no logarithm
_LEAST_WEIGHT = 1e-6  # however old, a grade is not nothing
Pool = tuple[str, str]


@dataclass(frozen=True)
class Cells:
    """Every (athlete, position, split) to estimate; car and driver under ("", "").

    Per cell, shape (cells,): `athlete`, `pool`, `newcomer` (in training, or a candidate), and `traits`, shape (cells,
    3): newcomer, lead, and developing or candidate. Per pool: its (position, split), `log` scale or plain, `nominal`
    (on the scale, in units), `unit` (1 on the log scale, else seconds; the same wherever a split is shared) and
    `load` (whether the tire matters).
    """

    keys: tuple[tuple[str, str, str], ...]
    athletes: tuple[str, ...]
    pools: tuple[Pool, ...]
    athlete: Ints
    pool: Ints
    newcomer: Bools
    traits: Floats
    log: Bools
    nominal: Floats
    unit: Floats
    load: Bools

    @cached_property
    def index(self) -> Mapping[tuple[str, str, str], int]:
        """Number of each cell."""
        return {key: i for i, key in enumerate(self.keys)}

    @cached_property
    def splits(self) -> tuple[str, ...]:
        """Every split once, whichever positions share it."""
        return tuple(dict.fromkeys(split for _, split in self.pools))

    def scaled(self, seconds: Floats, cell: Ints) -> Floats:
        """Seconds on the scale of their cells, in units; NaN where a logarithm does not exist."""
        pool = self.pool[cell]
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(self.log[pool], np.where(seconds > 0, np.log(seconds), np.nan), seconds / self.unit[pool])

    def seconds(self, x: Floats, cell: Ints) -> Floats:
        """Turn values on the scale of their cells back into seconds."""
        pool = self.pool[cell]
        return np.where(self.log[pool], np.exp(np.where(self.log[pool], x, 0.0)), x * self.unit[pool])


@dataclass(frozen=True)
class Rows:
    """Graded executions that count, oldest knowledge discounted.

    Shape (rows,): `cell`, `seconds` (NaN: no time), `weight` (1 for a grade of the day, less for older ones), `day`,
    `setting` (place in SETTINGS), `tire` (place in `tires`), `after` (the athlete slipped earlier in the stop),
    `number` (row in the file), `task` (place in `tasks`). Shape (slips,): `slip_row`, `slip_miss` (place in `misses`).
    """

    cell: Ints
    seconds: Floats
    weight: Floats
    day: NDArray[np.datetime64]
    setting: Ints
    tire: Ints
    after: Bools
    number: Ints
    task: Ints
    slip_row: Ints
    slip_miss: Ints
    tires: tuple[str, ...]
    tasks: tuple[Task, ...]
    misses: tuple[str, ...]

    def loss(self, loss_s: Floats) -> Floats:
        """Seconds lost to misses in each row, given the loss of each miss; shape (rows,)."""
        return group_sums(self.slip_row, loss_s[self.slip_miss], len(self.cell))


def tasks_of(season: Season) -> Iterator[Task]:
    """Every task of every service."""
    return (task for choreography in season.choreographies.values() for task in choreography.tasks)


def make_cells(season: Season, least_unit_s: float) -> Cells:
    """List every cell: those of a clearance of any level, those graded, and what car and driver do."""
    by_pool: dict[Pool, list[Task]] = {}
    for task in tasks_of(season):
        by_pool.setdefault((task.position or "", task.split), []).append(task)
    early = {task.split for task in tasks_of(season) if task.early}
    pools = tuple(by_pool)
    nominal = np.array([float(np.mean([task.seconds for task in by_pool[pool]])) for pool in pools])
    log = np.array([split not in early for _, split in pools], dtype=bool)
    by_split = {s: [own for (_, other), own in zip(pools, nominal, strict=True) if other == s] for _, s in pools}
    shared = np.array([np.mean(by_split[split]) for _, split in pools])
    unit = np.where(log, 1.0, np.maximum(np.abs(shared), least_unit_s))
    on_scale = np.where(log, np.log(np.maximum(nominal, _LEAST_SECONDS)), nominal / unit)

    who = _who(season)
    keys = tuple((athlete, *pool) for athlete, position in who for pool in pools if pool[0] == position)
    athletes = tuple(dict.fromkeys(athlete for athlete, _, _ in keys))
    new = np.array([who[a, p] for a, p, _ in keys], dtype=bool)
    groups = np.array([season.athletes[a].group if a else "" for a, _, _ in keys])
    athlete_code, pool_code = {a: i for i, a in enumerate(athletes)}, {p: i for i, p in enumerate(pools)}
    return Cells(
        keys=keys,
        athletes=athletes,
        pools=pools,
        athlete=np.array([athlete_code[a] for a, _, _ in keys], dtype=np.intp),
        pool=np.array([pool_code[p, s] for _, p, s in keys], dtype=np.intp),
        newcomer=new,
        traits=np.column_stack([new, groups == "lead", np.isin(groups, RISING)]).astype(np.float64),
        log=log,
        nominal=on_scale,
        unit=unit,
        load=np.array([any(task.load for task in by_pool[pool]) for pool in pools], dtype=bool),
    )


def _who(season: Season) -> dict[tuple[str, str], bool]:
    """Every (athlete, position) to estimate, and whether it is a newcomer to it; ("", "") is car and driver."""
    levels: dict[tuple[str, str], set[str]] = {}
    for clearance in season.clearances:
        levels.setdefault((clearance.athlete, clearance.position), set()).add(clearance.level)
    graded = season.grades[["athlete", "position"]].drop_duplicates().itertuples(index=False, name=None)
    who = dict.fromkeys([*levels, *((str(a), str(p)) for a, p in graded if a in season.athletes)])
    newcomers = {
        (a, p): season.athletes[a].group == "candidate" or "cleared" not in levels.get((a, p), ()) for a, p in who if a
    }
    return newcomers | {("", ""): False}


def make_rows(season: Season, cells: Cells, on: date, half_life_days: float) -> tuple[Rows, LeftOut]:
    """Turn the grades of stops that are not spoiled into arrays; `on` is the day their age is counted from."""
    table = season.grades
    spoiled = table["spoilers"].map(len).to_numpy(dtype=np.int64) > 0
    found = _match(season, cells, table)
    table, found = table[~spoiled & (found["cell"].to_numpy() >= 0)], found[~spoiled & (found["cell"] >= 0)]
    seconds = table["seconds"].to_numpy(dtype=np.float64)
    misses = tuple(season.misses)
    slip_row, slip_miss = _slips(table, misses)
    tire, tires = pd.factorize(table["tire"].astype(str), sort=True)
    days = table["date"].to_numpy(dtype="datetime64[D]")
    age = np.maximum((np.datetime64(on, "D") - days).astype(np.int64), 0)
    rows = Rows(
        cell=found["cell"].to_numpy(dtype=np.intp),
        seconds=seconds,
        weight=np.maximum(np.exp2(-age / half_life_days), _LEAST_WEIGHT),
        day=days,
        setting=table["setting"].map(SETTINGS.index).to_numpy(dtype=np.intp),
        tire=tire.astype(np.intp),
        after=_after_a_slip(table, found, np.bincount(slip_row, minlength=len(table))),
        number=table["row"].to_numpy(dtype=np.intp),
        task=found["task"].to_numpy(dtype=np.intp),
        slip_row=slip_row,
        slip_miss=slip_miss,
        tires=tuple(str(t) for t in tires),
        tasks=tuple(tasks_of(season)),
        misses=misses,
    )
    return rows, LeftOut(spoiled=int(spoiled.sum()), no_time=int(np.isnan(seconds).sum()))


def _match(season: Season, cells: Cells, table: pd.DataFrame) -> pd.DataFrame:
    """Find the task and the cell of each row; -1 where there is none."""
    order = {
        (service, task.id): number
        for number, (service, task) in enumerate(
            (name, task) for name, c in season.choreographies.items() for task in c.tasks
        )
    }
    tasks = tuple(tasks_of(season))
    kinds = table[["athlete", "position", "service", "task"]].drop_duplicates()
    number, cell = [], []
    for athlete, position, service, task in kinds.itertuples(index=False, name=None):
        at = order.get((service, task), -1)
        number.append(at)
        cell.append(cells.index.get((athlete, position, tasks[at].split), -1) if at >= 0 else -1)
    kinds = kinds.assign(number=number, cell=cell)
    joined = table[list(kinds.columns[:4])].merge(kinds, how="left", on=list(kinds.columns[:4]))
    return pd.DataFrame({"task": joined["number"].to_numpy(), "cell": joined["cell"].to_numpy()})


def _slips(table: pd.DataFrame, misses: tuple[str, ...]) -> tuple[Ints, Ints]:
    known = {miss: i for i, miss in enumerate(misses)}
    pairs = [
        (row, known[miss])
        for row, slipped in enumerate(table["misses"].to_numpy())
        if slipped
        for miss in slipped
        if miss in known
    ]
    return (
        np.array([row for row, _ in pairs], dtype=np.intp),
        np.array([miss for _, miss in pairs], dtype=np.intp),
    )


def _after_a_slip(table: pd.DataFrame, found: pd.DataFrame, slips: Ints) -> Bools:
    """Whether the same athlete slipped in an earlier task of the same stop; unknown without a stop counts as no."""
    known = (table["stop"] != "").to_numpy() & (table["athlete"] != "").to_numpy()
    after = np.zeros(len(table), dtype=bool)
    if not known.any():
        return after
    frame = pd.DataFrame(
        {"stop": table["stop"].to_numpy(), "athlete": table["athlete"].to_numpy(), "task": found["task"].to_numpy()}
    ).assign(slips=slips, place=np.arange(len(table)))
    frame = frame[known].sort_values(["stop", "athlete", "task"])
    before = frame.groupby(["stop", "athlete"], sort=False)["slips"].cumsum() - frame["slips"]
    after[frame["place"].to_numpy()] = before.to_numpy() > 0
    return after


def default_day(season: Season) -> date:
    """Return the day of the first race's report, on the site's clock; without races, the day of the last grade."""
    for race in season.races:
        return season.duty_days(race)[0]
    if len(season.grades):
        last: date = season.grades["date"].max().date()
        return last
    return date(1970, 1, 1)
