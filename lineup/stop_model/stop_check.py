"""How well whole stops are forecast: stops.csv against the model, and against what plain averages would say."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from lineup.errors import InputError
from lineup.season import Season
from lineup.skills import SkillEstimates, estimate_skills
from lineup.stop_model.network import Network
from lineup.stop_model.past_stops import NOT_CLEARED, Forecaster, PastStop, past_stops
from lineup.stop_model.stop_luck import places_by_luck

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Coverage:
    """How often stops fell inside their intervals; shares between 0 and 1.

    Attributes
    ----------
    stops : how many.
    cover50, cover90 : share that fell inside the predicted 50 % and 90 % interval.
    luck50, luck90 : standard deviation of those shares when every forecast is right: see `stop_luck`.
    bias_s : mean of time less forecast mean, seconds; above 0: stops are slower than forecast.
    """

    stops: int
    cover50: float
    cover90: float
    luck50: float
    luck90: float
    bias_s: float

    @property
    def text(self) -> str:
        """Both shares, with what luck does to them."""
        pairs = ((self.cover50, self.luck50, "50 %"), (self.cover90, self.luck90, "90 %"))
        shares = [f"{share:.0%} ± {luck:.0%} inside the {name} interval" for share, luck, name in pairs]
        pace = "slower" if self.bias_s > 0 else "quicker"
        return f"{', '.join(shares)}, {abs(self.bias_s):.2f} s {pace} than forecast on average"


@dataclass(frozen=True, slots=True)
class StopCalibration:
    """Forecasts of whole stops against their times; seconds, and shares between 0 and 1.

    Attributes
    ----------
    since : first day of the stops that were forecast; None: all of them.
    overall : every stop that was forecast.
    known, unknown : those whose whole crew had grades in what it did, and those with somebody who had none.
    pit : where each stop fell in its forecast, 0 quickest, 1 slowest; even over 0 to 1 when forecasts are right.
    rmse_s : error of the forecast mean.
    plain_rmse_s : error when each split is the athlete's plain average of earlier grades, put into the same network.
    average_rmse_s : error of the average of earlier stops of the same service, whoever made them; NaN where there
        is none.
    new_settings : stops in practice or a tryout without an earlier grade of that setting; forecast like a race.
    left_out : stops that were not forecast, by reason.
    """

    since: date | None
    overall: Coverage
    known: Coverage | None
    unknown: Coverage | None
    pit: tuple[float, ...]
    rmse_s: float
    plain_rmse_s: float
    average_rmse_s: float
    new_settings: Mapping[str, int]
    left_out: Mapping[str, int]

    @property
    def text(self) -> str:
        """The result in a few sentences."""
        lines = [
            f"Of {_stops(self.overall)}: {self.overall.text}; ± is what luck alone does to so few stops, as far as one "
            "standard deviation goes, those of the same athletes erring together."
        ]
        if self.known and self.unknown:
            lines.append(f"Whole crew graded before, {_stops(self.known)}: {self.known.text}.")
            lines.append(f"Somebody never graded before, {_stops(self.unknown)}: {self.unknown.text}.")
        if self.new_settings:
            named = ", ".join(f"{count} in a {setting}" for setting, count in self.new_settings.items())
            lines.append(f"Forecast like a race, there being no earlier grade of its kind: {named}.")
        average = "" if math.isnan(self.average_rmse_s) else f", the average stop by {self.average_rmse_s:.2f} s"
        lines.append(
            f"The forecast misses by {self.rmse_s:.2f} s, plain averages of each athlete's splits by "
            f"{self.plain_rmse_s:.2f} s{average}."
        )
        return " ".join(lines)


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
    pit, off = _places(total, times), total - times.mean(axis=1)
    luck = places_by_luck(season, estimates, stops, times, seed)
    known = np.array([_all_graded(estimates, season, stop) for stop in stops], dtype=np.bool_)
    earlier = _before(season, since)
    graded_settings = {"race", *earlier.grades["setting"]}
    return StopCalibration(
        since=since,
        overall=_coverage(pit, luck, off),
        known=_coverage(pit[known], luck[known], off[known]) if known.any() else None,
        unknown=_coverage(pit[~known], luck[~known], off[~known]) if not known.all() else None,
        pit=tuple(pit.tolist()),
        rmse_s=_rmse(off),
        plain_rmse_s=_rmse(total - _plain_forecasts(earlier, stops)),
        average_rmse_s=_rmse(total - _average_stops(earlier, stops)),
        new_settings=dict(Counter(stop.setting for stop in stops if stop.setting not in graded_settings)),
        left_out=left_out,
    )


def _coverage(pit: Floats, luck: Floats, off: Floats) -> Coverage:
    """Sum up places, shape (stops,), what luck makes of them, shape (stops, worlds), and errors, shape (stops,)."""
    shares = [
        (np.mean((pit > low) & (pit < 1 - low)), np.mean((luck > low) & (luck < 1 - low), axis=0).std())
        for low in (0.25, 0.05)
    ]
    (cover50, luck50), (cover90, luck90) = shares
    return Coverage(len(pit), float(cover50), float(cover90), float(luck50), float(luck90), float(np.mean(off)))


def _all_graded(estimates: SkillEstimates, season: Season, stop: PastStop) -> bool:
    """Whether everyone in the crew has a grade in some split of what he did."""
    tasks = season.choreographies[stop.service].tasks
    return all(
        any(estimates.splits[athlete, position, task.split].grades > 0 for task in tasks if task.position == position)
        for position, athlete in stop.crew.items()
    )


def _stops(coverage: Coverage) -> str:
    return f"{coverage.stops} stop{'s' if coverage.stops != 1 else ''}"


def held_out_calibration(season: Season, split_date: date, seed: int = 1, scenarios: int = 1024) -> StopCalibration:
    """Forecast the stops from a day on with nothing but the grades before it; raises as `stops_calibration` does."""
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
            seconds.append(own.get((athlete, position, task.split), fallback))
        network = Network(choreography, empty)
        forecasts.append(float(network.stop_time(network.finish(np.array(seconds)))))
    return np.array(forecasts)


def _average_stops(season: Season, stops: Sequence[PastStop]) -> Floats:
    """Average total of the earlier unspoiled stops of the same service, else of all of them; NaN without any."""
    clean = _unspoiled(season.stops)
    by_service = clean.groupby("service")["total_s"].mean().to_dict()
    overall = float(clean["total_s"].mean())
    return np.array([by_service.get(stop.service, overall) for stop in stops])


def _unspoiled(table: pd.DataFrame) -> pd.DataFrame:
    return table[np.array([not spoilers for spoilers in table["spoilers"]], dtype=np.bool_)]


def _rmse(errors: Floats) -> float:
    return float(np.sqrt(np.mean(errors**2)))
