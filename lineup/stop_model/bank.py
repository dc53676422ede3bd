"""Sampled stops of one service on one kind of tire, and what any crew makes of them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lineup.choreography import places
from lineup.errors import InputError
from lineup.season import Choreography
from lineup.stop_model.blend import blend_weights
from lineup.stop_model.network import Network
from lineup.stop_model.path_cut import Cut, TaskBounds

Floats = NDArray[np.float64]

CHUNK = 16384  # sampled stops timed together, so that their arrays stay in the processor's cache


@dataclass(frozen=True, eq=False)
class ServiceBank:
    """Sampled durations of every athlete who could work a position, with scenarios shared by all of them.

    Attributes
    ----------
    service, tire : which stops these are.
    choreography : the tasks and who waits for whom.
    athletes : athlete ids of each position of the choreography; a row below is an index into them.
    durations : seconds, by position, shape (athletes, tasks of the position in choreography order, scenarios).
    car : seconds of what car and driver do, shape (car tasks in choreography order, scenarios).
    clean : by position, whether an athlete's stop is free of misses, shape (athletes, scenarios).
    penalty_s : by position, expected penalty seconds per stop, shape (athletes,).
    lost_s : by task that lists misses, seconds of `durations` lost to them, shape (athletes, scenarios).

    `clean` and `penalty_s` speak of the tasks that exist when every seat is filled.
    """

    service: str
    tire: str
    choreography: Choreography
    athletes: Mapping[str, tuple[str, ...]]
    durations: Mapping[str, Floats]
    car: Floats
    clean: Mapping[str, NDArray[np.bool_]]
    penalty_s: Mapping[str, Floats]
    lost_s: Mapping[str, Floats] = field(default_factory=dict)

    @property
    def scenarios(self) -> int:
        """Number of sampled stops."""
        return int(self.car.shape[-1])

    @property
    def positions(self) -> tuple[str, ...]:
        """Positions in the order of a crew row."""
        return self.choreography.positions

    @cached_property
    def rows(self) -> Mapping[str, Mapping[str, int]]:
        """Row of each athlete, by position."""
        return {p: {athlete: i for i, athlete in enumerate(self.athletes[p])} for p in self.positions}

    def crew_row(self, crew: Mapping[str, str]) -> NDArray[np.intp]:
        """Rows of a crew given as athlete by position, shape (positions,); -1 where a seat is empty.

        Positions that this service does not name are passed over.

        Raises
        ------
        InputError
            When someone in the crew has no clearance, hence no sampled stops, at the position.
        """
        row = np.full(len(self.positions), -1, dtype=np.intp)
        for column, position in enumerate(self.positions):
            if position in crew:
                row[column] = self.row(position, crew[position])
        return row

    def row(self, position: str, athlete: str) -> int:
        """Row of an athlete in a position; raises as `crew_row` does."""
        if athlete not in self.rows[position]:
            raise InputError(f"{athlete} has no clearance for {position}, so no stop can be forecast")
        return self.rows[position][athlete]

    def stop_times(self, crews: NDArray[np.integer]) -> Floats:
        """Stop time of each crew in each scenario.

        Parameters
        ----------
        crews : rows into `athletes`, shape (n, positions) or (positions,), -1 where a seat is empty.

        Returns
        -------
        Seconds, shape (n, scenarios).
        """
        crews = np.atleast_2d(crews)
        times = np.empty((len(crews), self.scenarios))
        patterns, group = np.unique(crews < 0, axis=0, return_inverse=True)
        step = max(1, CHUNK // self.scenarios)
        for number, pattern in enumerate(patterns):
            network = self.network(pattern)
            members = np.flatnonzero(group.ravel() == number)
            for first in range(0, len(members), step):
                chunk = members[first : first + step]
                times[chunk] = network.stop_time(network.finishes(self._taken(network, crews[chunk])))
        return times

    def with_each(self, crew: NDArray[np.integer], position: str, rows: Sequence[int]) -> Floats:
        """Stop times of a crew with each of some athletes in turn at one position.

        Parameters
        ----------
        crew : rows into `athletes`, shape (positions,); what it says of `position` does not matter.
        rows : of the athletes of `position`, n of them.

        Returns
        -------
        Seconds, shape (n, scenarios).
        """
        step = max(1, CHUNK // self.scenarios)
        parts = (rows[first : first + step] for first in range(0, len(rows), step))
        own = self.durations[position]
        return np.concatenate([self.with_durations(crew, position, own[np.array(part)]) for part in parts])

    def with_durations(self, crew: NDArray[np.integer], position: str, durations: Floats) -> Floats:
        """Stop times of a crew if its work at one position took other times.

        Parameters
        ----------
        crew : rows into `athletes`, shape (positions,); what it says of `position` does not matter.
        durations : seconds, shape (n, tasks of the position, scenarios).

        Returns
        -------
        Seconds, shape (n, scenarios).
        """
        crew = crew.copy()
        crew[self.positions.index(position)] = 0
        network = self.network(crew < 0)
        taken = self._taken(network, crew[None])
        swapped = (
            durations[:, rank] if who == position and exists else own
            for (who, rank), exists, own in zip(self._places, network.exists, taken, strict=True)
        )
        times = network.stop_time(network.finishes(swapped))
        return np.broadcast_to(times, (len(durations), self.scenarios))

    def network(self, empty: NDArray[np.bool_]) -> Network:
        """Network when the seats flagged in `empty`, shape (positions,), are empty."""
        return Network(self.choreography, frozenset(p for p, gone in zip(self.positions, empty, strict=True) if gone))

    def crew_durations(self, crew: NDArray[np.integer]) -> Floats:
        """Seconds of each task of one crew, shape (tasks, scenarios); 0 where a task does not exist."""
        taken = self._taken(self.network(crew < 0), crew[None])
        return np.array([np.broadcast_to(own, (1, self.scenarios))[0] for own in taken])

    def clean_share(self, crew: NDArray[np.integer]) -> float:
        """Share of stops of one crew without a miss by anyone."""
        clean = np.ones(self.scenarios, dtype=np.bool_)
        for position, row in zip(self.positions, crew, strict=True):
            if row >= 0:
                clean &= self.clean[position][row]
        return float(clean.mean())

    def longest_path(self, crew: NDArray[np.integer]) -> NDArray[np.bool_]:
        """Which tasks hold up the stop of one crew, shape (tasks, scenarios)."""
        network = self.network(crew < 0)
        on_path = network.longest_path(network.finish(self.crew_durations(crew)))
        return np.asarray(on_path & network.exists[:, None])

    def path_cut(self, mix: Mapping[str, Floats], scenario_weights: Floats) -> Cut:
        """Linear bound from below on a crew's weighted stop time, touching it at `mix`.

        With x[p, a] = 1 where athlete a works position p, every crew satisfies
        Σ_s w_s stop_s(x) >= constant + Σ coefficients[p][a] x[p, a], with equality at `mix` when that is a crew:
        in any scenario the stop of any crew lasts at least as long as the tasks along any one path, and the path
        taken is the longest one at `mix`.

        Parameters
        ----------
        mix : share of each athlete in each position, shape (athletes,) each; shares of a position sum to at most 1.
        scenario_weights : not negative, shape (scenarios,).

        Returns
        -------
        Constant in seconds, and coefficients by position, shape (athletes,) each.
        """
        bounds, network = self._bounds, Network(self.choreography)
        at_mix = bounds.at(mix)
        finish = network.finish_all(at_mix.values)
        return at_mix.along(network.longest_path(finish) * scenario_weights)

    def blended_cut(self, mix: Mapping[str, Floats], tail: float, tail_share: float) -> Cut:
        """Bound from below on mean and tail mean blended, touching it at `mix`; see `path_cut` and `blend_weights`."""
        bounds, network = self._bounds, Network(self.choreography)
        at_mix = bounds.at(mix)
        finish = network.finish_all(at_mix.values)
        weights = blend_weights(network.stop_time(finish), tail, tail_share)
        return at_mix.along(network.longest_path(finish) * weights)

    def crew_mix(self, crew: NDArray[np.integer]) -> dict[str, Floats]:
        """Mix in which each position of a crew row, shape (positions,), is worked by one athlete or by nobody."""
        mix = {p: np.zeros(len(self.athletes[p])) for p in self.positions}
        for position, row in zip(self.positions, crew, strict=True):
            if row >= 0:
                mix[position][row] = 1.0
        return mix

    @cached_property
    def _places(self) -> tuple[tuple[str | None, int], ...]:
        return places(self.choreography)

    @cached_property
    def _bounds(self) -> TaskBounds:
        return TaskBounds(self.choreography, self.durations, self.car)

    def _taken(self, network: Network, crews: NDArray[np.integer]) -> Iterator[Floats]:
        """Seconds of each task, shape (n or 1, scenarios) or 0 where it does not exist; crews shape (n, positions)."""
        column = {position: i for i, position in enumerate(self.positions)}
        for (position, rank), exists in zip(self._places, network.exists, strict=True):
            if not exists:
                yield np.zeros((1, 1))
            elif position is None:
                yield self.car[rank][None]
            else:
                yield self.durations[position][crews[:, column[position]], rank]
