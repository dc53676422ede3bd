"""From skill estimates to sampled stops: one bank per service and kind of tire, and the forecast of a crew."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lineup.choreography import exists
from lineup.plan import EntryForecast
from lineup.season import Choreography, Season
from lineup.skills import SkillEstimates
from lineup.stop_model.bank import ServiceBank
from lineup.stop_model.blend import blend, blend_weights, tail_mean
from lineup.stop_model.sampling import Drawn, Sampler, sobol_points, tasks_of

__all__ = [
    "ServiceBank",
    "StopModel",
    "blend",
    "blend_weights",
    "forecast_entry",
    "sample_service",
    "sample_stops",
    "tail_mean",
]


@dataclass(frozen=True, eq=False)
class StopModel:
    """Banks by (service, tire), with the seed and the number of scenarios they were sampled with."""

    banks: Mapping[tuple[str, str], ServiceBank]
    seed: int
    scenarios: int


def sample_stops(
    season: Season, estimates: SkillEstimates, seed: int, scenarios: int, weekends: Sequence[str] | None = None
) -> StopModel:
    """Sample the stops of everyone with a clearance, of any level and series, for the races of some weekends.

    Parameters
    ----------
    seed : the same seed gives the same bank; athletes who come or go do not change the others' samples.
    scenarios : sampled stops per service and tire; powers of two keep the points balanced.
    weekends : labels; `None` means every weekend.

    Raises
    ------
    InputError
        When an athlete with a clearance has no estimate.
    """
    races = [race for race in season.races.values() if weekends is None or race.weekend in weekends]
    kinds = dict.fromkeys((service, race.tire) for race in races for service in season.service_counts.get(race.id, {}))
    return StopModel(
        {(service, tire): sample_service(season, estimates, service, tire, seed, scenarios) for service, tire in kinds},
        seed,
        scenarios,
    )


def sample_service(
    season: Season,
    estimates: SkillEstimates,
    service: str,
    tire: str,
    seed: int,
    scenarios: int,
    setting: str = "race",
) -> ServiceBank:
    """Sample one service on one kind of tire; see `sample_stops`."""
    choreography = season.choreographies[service]
    sampler = Sampler(choreography, estimates, tire, sobol_points(choreography, seed, scenarios), setting)
    athletes = {p: cleared(season, p) for p in choreography.positions}
    drawn = {p: sampler.draw(p, athletes[p]) for p in choreography.positions}
    car = sampler.draw("", [""])
    return ServiceBank(
        service=service,
        tire=tire,
        choreography=choreography,
        athletes=athletes,
        durations={p: d.seconds for p, d in drawn.items()},
        car=car.seconds[0],
        clean={p: clean_stops(choreography, p, d) for p, d in drawn.items()},
        penalty_s={p: expected_penalty(season, estimates, choreography, p, athletes[p]) for p in drawn},
        lost_s=_lost(choreography, drawn | {"": car}),
    )


def cleared(season: Season, position: str) -> tuple[str, ...]:
    """Athletes with a clearance of any level and series for a position, in file order."""
    named = {clearance.athlete for clearance in season.clearances if clearance.position == position}
    return tuple(athlete for athlete in season.athletes if athlete in named)


def clean_stops(choreography: Choreography, position: str, drawn: Drawn) -> NDArray[np.bool_]:
    """Whether an athlete's stop is free of misses when every seat is filled, shape (athletes, scenarios)."""
    counted = [exists(task, frozenset()) for task in tasks_of(choreography, position)]
    return np.asarray(~drawn.slips[:, counted].any(axis=1))


def expected_penalty(
    season: Season, estimates: SkillEstimates, choreography: Choreography, position: str, athletes: Sequence[str]
) -> NDArray[np.float64]:
    """Return the expected penalty seconds per stop when every seat is filled, shape (athletes,)."""
    penalty = np.zeros(len(athletes))
    for task in tasks_of(choreography, position):
        if exists(task, frozenset()):
            for miss in task.misses:
                rates = np.array([estimates.misses[athlete, position, miss].rate for athlete in athletes])
                penalty += rates * season.misses[miss].penalty_s
    return penalty


def _lost(choreography: Choreography, drawn: Mapping[str, Drawn]) -> dict[str, NDArray[np.float64]]:
    """Seconds lost to misses in each task that lists any, shape (athletes, scenarios)."""
    lost = {}
    for position, sampled in drawn.items():
        for rank, task in enumerate(tasks_of(choreography, position)):
            if task.misses:
                lost[task.id] = sampled.lost[:, rank].copy()
    return lost


def forecast_entry(bank: ServiceBank, crew: Mapping[str, str], race: str, car: str, tail_share: float) -> EntryForecast:
    """Forecast stop of one crew, given as athlete by position."""
    row = bank.crew_row(crew)
    times = bank.stop_times(row)[0]
    median, p90 = np.quantile(times, (0.5, 0.9))
    return EntryForecast(
        race=race,
        car=car,
        service=bank.service,
        mean_s=float(times.mean()),
        median_s=float(median),
        p90_s=float(p90),
        tail_mean_s=float(tail_mean(times, tail_share)),
        clean_share=bank.clean_share(row),
        critical_share=critical_positions(bank, row),
    )


def critical_positions(bank: ServiceBank, crew: NDArray[np.integer]) -> dict[str, float]:
    """Share of stops in which each filled position holds up the stop: some task of it lies on the longest path."""
    on_path = bank.longest_path(crew)
    shares = {}
    for position, row in zip(bank.positions, crew, strict=True):
        if row >= 0:
            own = [i for i, task in enumerate(bank.choreography.tasks) if task.position == position]
            shares[position] = float(on_path[own].any(axis=0).mean())
    return shares
