"""Linear bounds from below on what a crew's stops cost, shared by all entries of a kind."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from lineup.optimize.crews import Crew, CrewValues, Kind
from lineup.optimize.frame import EntryFrame, Floats, Ints


@dataclass(frozen=True, slots=True)
class KindCut:
    """Per service of the kind: constant, shape (services,), and coefficients, shape (services, positions, athletes).

    For every crew x of the kind, stops of service b cost at least constant[b] + Σ coefficients[b] x, seconds.
    """

    constant: Floats
    coefficients: Floats

    def for_entry(self, entry: EntryFrame) -> tuple[float, Floats]:
        """Constant and coefficients, shape (positions, athletes), with the entry's weights."""
        return float(self.constant @ entry.weights), np.tensordot(entry.weights, self.coefficients, axes=1)


def cut_at(values: CrewValues, number: int, mix: Floats, tail: tuple[float, float]) -> KindCut:
    """Bound that touches the stops of kind `number` at `mix`, shares of shape (positions, athletes).

    `tail` holds the weight of the tail mean and the share it averages.
    """
    kind = values.kinds[number]
    constants, coefficients = [], []
    for bank, rows, columns in zip(kind.banks, kind.rows, kind.columns, strict=True):
        named = {p: np.zeros(len(bank.athletes[p])) for p in bank.positions}
        for p, column in enumerate(columns):
            if column >= 0:
                known = rows[p] >= 0
                named[bank.positions[column]][rows[p][known]] = mix[p][known]
        constant, by_position = bank.blended_cut(named, *tail)
        constants.append(constant)
        coefficients.append(_spread(kind, rows, by_position))
    return KindCut(np.array(constants), np.array(coefficients).reshape(len(constants), *mix.shape))


def uniform_mix(entry: EntryFrame, may: NDArray[np.bool_]) -> Floats:
    """Each athlete who may fill a seat of the entry with the same share, shape (positions, athletes)."""
    able = may[:, entry.seats].T.astype(np.float64)
    return np.asarray(able / np.maximum(able.sum(axis=1, keepdims=True), 1.0))


def _spread(kind: Kind, rows: Ints, by_position: dict[str, Floats]) -> Floats:
    """Coefficients of a bank's rows as coefficients of athlete numbers, shape (positions, athletes)."""
    table = np.zeros(rows.shape)
    for p, position in enumerate(kind.positions):
        known = rows[p] >= 0
        if position in by_position:
            table[p][known] = by_position[position][rows[p][known]]
    return table


def crew_mix(crew: Crew, athletes: int) -> Floats:
    """Return a crew as shares, shape (positions, athletes)."""
    mix = np.zeros((len(crew), athletes))
    for p, athlete in enumerate(crew):
        if athlete >= 0:
            mix[p, athlete] = 1.0
    return mix


@dataclass(eq=False)
class CutPool:
    """Cuts found so far, by kind; crews whose cut is already there are remembered."""

    values: CrewValues
    by_kind: dict[int, list[KindCut]] = field(default_factory=dict)
    _crews: dict[tuple[int, Crew], KindCut] = field(default_factory=dict)

    def at_mix(self, kind: int, mix: Floats) -> KindCut:
        """Add and return the cut that touches at `mix`."""
        cut = cut_at(self.values, kind, mix, self.values.frame.problem.tail)
        self.by_kind.setdefault(kind, []).append(cut)
        return cut

    def at_crews(self, kind: int, crews: Iterable[Crew]) -> list[KindCut]:
        """Add and return the cuts of the crews that have none yet."""
        added = []
        for crew in crews:
            if (kind, crew) not in self._crews:
                self._crews[kind, crew] = self.at_mix(kind, crew_mix(crew, len(self.values.frame.athletes)))
                added.append(self._crews[kind, crew])
        return added
