"""What each crew's stops cost, exactly and in bulk, each crew computed once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from lineup.optimize.fast import FastBank
from lineup.optimize.frame import EMPTY, EntryFrame, Floats, Frame, Ints
from lineup.stop_model.stops import ServiceBank, blend

Crew = tuple[int, ...]  # athlete number per position of the entry, EMPTY where nobody works it


@dataclass(frozen=True, eq=False)
class Kind:
    """Entries that share their services and tire: the banks, and how an athlete number becomes a row of each.

    `positions` are those of the entries' seats. `columns[b]` places them in bank b's crew row; `rows[b]` has shape
    (positions, athletes), -1 where the bank does not know the athlete.
    """

    positions: tuple[str, ...]
    banks: tuple[ServiceBank, ...]
    rows: tuple[Ints, ...]
    columns: tuple[tuple[int, ...], ...]


def make_kinds(frame: Frame) -> tuple[Kind, ...]:
    """Kinds of entries by number."""
    kinds: dict[int, Kind] = {}
    for entry in frame.entries:
        if entry.kind in kinds:
            continue
        race = frame.problem.races[entry.race].id
        positions = frame.problem.season.positions_of(race)
        banks = tuple(bank for bank, _ in frame.problem.services(race))
        kinds[entry.kind] = Kind(
            positions,
            banks,
            tuple(_rows(frame, bank, positions) for bank in banks),
            tuple(tuple(b.positions.index(p) if p in b.positions else -1 for p in positions) for b in banks),
        )
    return tuple(kinds[number] for number in range(len(kinds)))


def _rows(frame: Frame, bank: ServiceBank, positions: Sequence[str]) -> Ints:
    table = np.full((len(positions), len(frame.athletes)), -1, dtype=np.intp)
    for p, position in enumerate(positions):
        for athlete, row in bank.rows.get(position, {}).items():
            if athlete in frame.number:
                table[p, frame.number[athlete]] = row
    return table


@dataclass(eq=False)
class CrewValues:
    """Stop seconds of crews, remembered: blended (mean and tail mean) and plain mean, per service of the kind."""

    frame: Frame
    _known: dict[tuple[int, Crew], tuple[Floats, Floats]] = field(default_factory=dict)

    @cached_property
    def kinds(self) -> tuple[Kind, ...]:
        """Kinds of entries by number."""
        return make_kinds(self.frame)

    def learn(self, kind: int, crews: Sequence[Crew]) -> None:
        """Compute those of the crews that are not known yet, all at once."""
        fresh = list(dict.fromkeys(crew for crew in crews if (kind, crew) not in self._known))
        if not fresh:
            return
        blended, means = [], []
        for bank, rows, columns in zip(*_parts(self.kinds[kind]), strict=True):
            times = bank.stop_times(bank_rows(np.array(fresh, dtype=np.intp), rows, columns, len(bank.positions)))
            blended.append(blend(times, *self.frame.problem.tail))
            means.append(times.mean(axis=1))
        services = len(blended)
        values = np.array(blended).reshape(services, len(fresh)).T
        plain = np.array(means).reshape(services, len(fresh)).T
        self._known.update(((kind, crew), (values[i], plain[i])) for i, crew in enumerate(fresh))

    def cost(self, entry: EntryFrame, crew: Crew) -> float:
        """Weighted stop seconds of a crew in an entry."""
        return float(self._of(entry.kind, crew)[0] @ entry.weights)

    def costs(self, entry: EntryFrame, crews: Sequence[Crew]) -> Floats:
        """Weighted stop seconds of several crews in an entry, shape (crews,)."""
        self.learn(entry.kind, crews)
        if not crews:
            return np.zeros(0)
        return np.array([self._known[entry.kind, crew][0] for crew in crews]) @ entry.weights

    def unit_costs(self, kind: int, crews: Sequence[Crew]) -> Floats:
        """Stop seconds of crews by service of the kind, shape (crews, services), without counts and priority."""
        self.learn(kind, crews)
        return np.array([self._known[kind, crew][0] for crew in crews])

    def slowest_mean(self, entry: EntryFrame, crew: Crew) -> float:
        """Mean of the slowest service of a crew, seconds."""
        return float(self._of(entry.kind, crew)[1].max(initial=0.0))

    def _of(self, kind: int, crew: Crew) -> tuple[Floats, Floats]:
        found = self._known.get((kind, crew))
        if found is None:
            found = self._known[kind, crew] = self._one(kind, crew)
        return found

    def _one(self, kind: int, crew: Crew) -> tuple[Floats, Floats]:
        blended, means = [], []
        for fast, rows, columns in self._fast[kind]:
            row = [EMPTY] * len(fast.bank.positions)
            for athlete, known, column in zip(crew, rows, columns, strict=True):
                if column >= 0 and athlete >= 0:
                    row[column] = known[athlete]
            times = fast.stop_times(row)
            means.append(float(times.mean()))
            blended.append(means[-1] if self._tail[0] == 0 else float(blend(times, *self._tail)))
        return np.array(blended), np.array(means)

    @cached_property
    def _tail(self) -> tuple[float, float]:
        return self.frame.problem.tail

    @cached_property
    def _fast(self) -> list[list[tuple[FastBank, list[list[int]], tuple[int, ...]]]]:
        return [
            [(FastBank(bank), rows.tolist(), columns) for bank, rows, columns in zip(*_parts(kind), strict=True)]
            for kind in self.kinds
        ]


def _parts(kind: Kind) -> tuple[tuple[ServiceBank, ...], tuple[Ints, ...], tuple[tuple[int, ...], ...]]:
    return kind.banks, kind.rows, kind.columns


def bank_rows(crews: Ints, rows: Ints, columns: Sequence[int], width: int) -> Ints:
    """Crews by athlete number, shape (n, positions), as rows of a bank with `width` positions."""
    table = np.full((len(crews), width), EMPTY, dtype=np.intp)
    for p, column in enumerate(columns):
        if column >= 0:
            athletes = crews[:, p]
            table[:, column] = np.where(athletes >= 0, rows[p, athletes], EMPTY)
    return table
