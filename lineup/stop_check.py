"""How well whole stops are forecast: stops.csv against the model, and against what plain averages would say."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from lineup.choreography import Network, exists
from lineup.errors import InputError
from lineup.past_stops import NOT_CLEARED, Forecaster, PastStop, past_stops
from lineup.season import Season
from lineup.skills import SkillEstimates, estimate_skills

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class StopCalibration:
    """Forecasts of whole stops against their times; seconds, and shares between 0 and 1.

    Attributes
    ----------
    since : first day of the stops that were forecast; None: all of them.
    stops : how many were forecast.
    cover50, cover90 : share that fell inside the predicted 50 % and 90 % interval.
    pit : where each stop fell in its forecast, 0 quickest, 1 slowest; even over 0 to 1 when forecasts are right.
    bias_s : mean of time less forecast mean; above 0: stops are slower than forecast.
    rmse_s : error of the forecast mean.
    plain_rmse_s : error when each split is the athlete's plain average of earlier grades, put into the same network.
    average_rmse_s : error of the average of earlier stops of the same service, whoever made them.
    left_out : stops that were not forecast, by reason.
    """

    since: date | None
    stops: int
    cover50: float
    cover90: float
    pit: tuple[float, ...]
    bias_s: float
    rmse_s: float
    plain_rmse_s: float
    average_rmse_s: float
    left_out: Mapping[str, int]

    @property
    def text(self) -> str:
        """The result in two sentences."""
        return (
            f"Of {self.stops} stops, {self.cover50:.0%} fell inside the predicted 50 % interval and "
            f"{self.cover90:.0%} inside the 90 % interval. The forecast misses by {self.rmse_s:.2f} s, plain averages "
            f"of each athlete's splits by {self.plain_rmse_s:.2f} s, the average stop by {self.average_rmse_s:.2f} s."
        )


def stops_calibration(
    season: Season, estimates: SkillEstimates, since: date | None = None, seed: int = 1, scenarios: int = 1024
) -> StopCalibration:
    """Compare the stops of stops.csv, from a day on, with their forecasts; averages are taken from before that day.

    Without `since` everything is judged on the stops it was learned from: see `held_out_calibration`.

    Raises
    ------
    InputError
        When no stop can be forecast.
    """
    found = past_stops(season, since)
    stops, times, not_cleared = Forecaster(season, estimates, seed, scenarios).forecast(found.stops)
    left_out = {**found.left_out, **({NOT_CLEARED: not_cleared} if not_cleared else {})}
    if not stops:
        reasons = ", ".join(f"{count} {reason}" for reason, count in left_out.items()) or "there is none"
        raise InputError(f"no stop of stops.csv can be compared with its forecast: {reasons}")
    total = np.array([stop.total_s for stop in stops])
    pit = _places(total, times)
    earlier = _before(season, since)
    return StopCalibration(
        since=since,
        stops=len(stops),
        cover50=float(np.mean((pit > 0.25) & (pit < 0.75))),
        cover90=float(np.mean((pit > 0.05) & (pit < 0.95))),
        pit=tuple(pit.tolist()),
        bias_s=float(np.mean(total - times.mean(axis=1))),
        rmse_s=_rmse(total - times.mean(axis=1)),
        plain_rmse_s=_rmse(total - _plain_forecasts(earlier, stops)),
        average_rmse_s=_rmse(total - _average_stops(earlier, stops)),
        left_out=left_out,
    )


def held_out_calibration(season: Season, split_date: date, seed: int = 1, scenarios: int = 1024) -> StopCalibration:
    """Forecast the stops from a day on with nothing but the grades before it."""
    estimates = estimate_skills(_before(season, split_date), on=split_date)
    return stops_calibration(season, estimates, split_date, seed, scenarios)


def _before(season: Season, day: date | None) -> Season:
    if day is None:
        return season
    grades, stops = (table[table["date"] < pd.Timestamp(day)] for table in (season.grades, season.stops))
    return season.replace(grades=grades, stops=stops)


def _places(total: Floats, times: Floats) -> Floats:
    """Place of each stop among its sampled ones, ties shared, shape (stops,)."""
    return np.asarray((times < total[:, None]).mean(axis=1) + 0.5 * (times == total[:, None]).mean(axis=1))


def _plain_forecasts(season: Season, stops: Sequence[PastStop]) -> Floats:
    """Stop seconds when each task takes the plain average of the athlete's graded times in its split.

    Without a grade of his own the average of the position stands in, and without any the nominal time.
    """
    splits = {(s, t.id): t.split for s, c in season.choreographies.items() for t in c.tasks}
    graded = _unspoiled(season.grades).dropna(subset=["seconds"])
    graded = graded.assign(split=[splits.get(key, "") for key in zip(graded["service"], graded["task"], strict=True)])
    own = graded.groupby(["athlete", "position", "split"])["seconds"].mean().to_dict()
    anyone = graded.groupby(["position", "split"])["seconds"].mean().to_dict()
    forecasts = []
    for stop in stops:
        choreography = season.choreographies[stop.service]
        empty = frozenset(p for p in choreography.positions if p not in stop.crew)
        seconds = []
        for task in choreography.tasks:
            position = task.position or ""
            fallback = anyone.get((position, task.split), task.seconds)
            athlete = stop.crew.get(position, "")
            seconds.append(own.get((athlete, position, task.split), fallback) if exists(task, empty) else 0.0)
        network = Network(choreography, empty)
        forecasts.append(float(network.stop_time(network.finish(np.array(seconds)))))
    return np.array(forecasts)


def _average_stops(season: Season, stops: Sequence[PastStop]) -> Floats:
    """Average total of the earlier unspoiled stops of the same service; of all of them where there is none."""
    clean = _unspoiled(season.stops)
    by_service = clean.groupby("service")["total_s"].mean().to_dict()
    overall = float(clean["total_s"].mean()) if len(clean) else float("nan")
    return np.array([by_service.get(stop.service, overall) for stop in stops])


def _unspoiled(table: pd.DataFrame) -> pd.DataFrame:
    return table[np.array([not spoilers for spoilers in table["spoilers"]], dtype=np.bool_)]


def _rmse(errors: Floats) -> float:
    return float(np.sqrt(np.mean(errors**2)))
