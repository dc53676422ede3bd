"""What there is to say about one crew's stop: how long, how clean, what holds it up, what practice would bring."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lineup.choreography import places
from lineup.season import Season
from lineup.stop_model.bank import ServiceBank
from lineup.stop_model.blend import tail_mean

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
DOTS = 50


@dataclass(frozen=True, slots=True)
class TaskReport:
    """One task of the stop; `position` and `athlete` are empty for what car and driver do.

    Attributes
    ----------
    mean_s : mean own time, misses included.
    start_s, finish_s : mean of when it begins and is done, counted from the car's stop.
    critical_share : share of stops in which the task lies on the longest path.
    slack_s : mean of how much later it could finish without the car leaving later; None where nothing that lets
        the car go waits for it.
    """

    task: str
    name: str
    position: str
    athlete: str
    mean_s: float
    start_s: float
    finish_s: float
    critical_share: float
    slack_s: float | None


@dataclass(frozen=True, slots=True)
class PositionReport:
    """One position of the stop, "" being car and driver.

    `critical_share`: share of stops in which some task of it lies on the longest path; `critical_s`: mean seconds
    of the longest path that are its own work; `clean_share`: share of stops without a miss of its own.
    """

    position: str
    athlete: str
    critical_share: float
    critical_s: float
    clean_share: float


@dataclass(frozen=True, slots=True)
class SplitWorth:
    """What a quicker split of one athlete brings to the mean stop, seconds; to first order in the change.

    `hundredth_s`: 0.01 s quicker each time; `percent_s`: its clean time one percent quicker.
    """

    position: str
    athlete: str
    split: str
    hundredth_s: float
    percent_s: float


@dataclass(frozen=True, slots=True)
class CrewReport:
    """The stop of one crew in one service on one kind of tire; seconds, and shares between 0 and 1.

    `dots` are fifty equally likely stop times in rising order; `splits` are sorted by what one percent brings.
    """

    service: str
    tire: str
    crew: Mapping[str, str]
    mean_s: float
    median_s: float
    p90_s: float
    tail_mean_s: float
    clean_share: float
    dots: tuple[float, ...]
    tasks: tuple[TaskReport, ...]
    positions: tuple[PositionReport, ...]
    splits: tuple[SplitWorth, ...]
    holds_up: str


def crew_report(
    bank: ServiceBank, crew: Mapping[str, str], tail_share: float, season: Season | None = None
) -> CrewReport:
    """Report on one crew, given as athlete by position; names of a season are used in sentences when it is given."""
    row = bank.crew_row(crew)
    times = bank.stop_times(row)[0]
    stop = _Stop(bank, {p: crew[p] for p in bank.positions if p in crew})
    positions = stop.positions()
    tasks = stop.tasks()
    return CrewReport(
        service=bank.service,
        tire=bank.tire,
        crew=stop.crew,
        mean_s=float(times.mean()),
        median_s=float(np.median(times)),
        p90_s=float(np.quantile(times, 0.9)),
        tail_mean_s=float(tail_mean(times, tail_share)),
        clean_share=bank.clean_share(row),
        dots=tuple(np.quantile(times, (np.arange(DOTS) + 0.5) / DOTS).tolist()),
        tasks=tasks,
        positions=positions,
        splits=stop.splits(),
        holds_up=_holds_up(positions, tasks, float(times.mean()), season),
    )


class _Stop:
    """One crew's sampled stop, task by task."""

    def __init__(self, bank: ServiceBank, crew: Mapping[str, str]) -> None:
        self.bank = bank
        self.crew = crew
        self.row = bank.crew_row(crew)
        self.network = bank.network(self.row < 0)
        self.durations = bank.crew_durations(self.row)
        self.on_path = bank.longest_path(self.row)
        self.who = [position or "" for position, _ in places(bank.choreography)]

    def tasks(self) -> tuple[TaskReport, ...]:
        slack = self.network.slack(self.durations).mean(axis=1)
        finish = self.network.finish(self.durations)
        start = (finish - self.durations).mean(axis=1)
        return tuple(
            TaskReport(
                task=task.id,
                name=task.name,
                position=self.who[i],
                athlete=self.crew.get(self.who[i], ""),
                mean_s=float(self.durations[i].mean()),
                start_s=float(start[i]),
                finish_s=float(finish[i].mean()),
                critical_share=float(self.on_path[i].mean()),
                slack_s=float(slack[i]) if np.isfinite(slack[i]) else None,
            )
            for i, task in enumerate(self.bank.choreography.tasks)
            if self.network.exists[i]
        )

    def positions(self) -> tuple[PositionReport, ...]:
        found = []
        for position in dict.fromkeys(("", *self.crew)):
            own = [i for i, who in enumerate(self.who) if who == position]
            clean: Bools | None = None
            if position:
                clean = self.bank.clean[position][self.bank.rows[position][self.crew[position]]]
            found.append(
                PositionReport(
                    position=position,
                    athlete=self.crew.get(position, ""),
                    critical_share=float(self.on_path[own].any(axis=0).mean()),
                    critical_s=float((self.durations[own] * self.on_path[own]).sum(axis=0).mean()),
                    clean_share=1.0 if clean is None else float(clean.mean()),
                )
            )
        return tuple(found)

    def splits(self) -> tuple[SplitWorth, ...]:
        worth: dict[tuple[str, str], tuple[float, float]] = {}
        for i, task in enumerate(self.bank.choreography.tasks):
            if self.network.exists[i] and task.position is not None:
                key = (task.position, task.split)
                hundredth, percent = worth.get(key, (0.0, 0.0))
                clean = np.maximum(self.durations[i] - self._lost(i), 0.0)
                worth[key] = (
                    hundredth + 0.01 * float(self.on_path[i].mean()),
                    percent + 0.01 * float((self.on_path[i] * clean).mean()),
                )
        found = [SplitWorth(p, self.crew[p], split, *seconds) for (p, split), seconds in worth.items()]
        return tuple(sorted(found, key=lambda w: -w.percent_s))

    def _lost(self, i: int) -> Floats | float:
        """Seconds lost to misses in a task, shape (scenarios,)."""
        lost = self.bank.lost_s.get(self.bank.choreography.tasks[i].id)
        position = self.who[i]
        return 0.0 if lost is None else lost[self.bank.rows[position][self.crew[position]]]


def _holds_up(
    positions: tuple[PositionReport, ...], tasks: tuple[TaskReport, ...], mean_s: float, season: Season | None
) -> str:
    """Say in one sentence whose work makes up most of the longest path, and which task most of all."""
    most = max(positions, key=lambda p: p.critical_s)
    own = [task for task in tasks if task.position == most.position]
    longest = max(own, key=lambda task: task.critical_share * task.mean_s)
    if not most.position:
        who = "Car and driver hold"
    elif season is None:
        who = f"{most.position} {most.athlete} holds"
    else:
        who = f"{season.positions[most.position].name} {season.label('athletes', most.athlete)} holds"
    decisive = f"{longest.mean_s:.2f} s, decisive in {round(100 * longest.critical_share)} of 100 stops"
    return (
        f"{who} this stop up: {most.critical_s:.1f} of its {mean_s:.1f} s are spent waiting for that work, "
        f"most of all for “{longest.name}” ({decisive})."
    )
