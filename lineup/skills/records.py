"""What is known of every athlete's skills: the records that estimation fills and everything else reads."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

from scipy.special import ndtri

Scale = Literal["log", "plain"]

HIGH90 = float(ndtri(0.95))
"""Half-width of a central 90 % interval of the standard normal, in standard deviations."""


@dataclass(frozen=True, slots=True)
class SplitEstimate:
    """One athlete's clean time in one split of one position, in a race and on the reference tire.

    A clean time is exp(x) seconds (`scale` "log") or x seconds ("plain": tasks that may begin early), where
    x ~ Normal(level, spread²) from stop to stop and level ~ Normal(mean, sd²) is what is known of the athlete.
    Add `SkillEstimates.tire[split, tire]` to x for another tire.

    Attributes
    ----------
    athlete, position : empty for what car and driver do.
    mean : ln seconds, or seconds on the plain scale.
    sd : uncertainty of `mean`, on the same scale.
    spread : standard deviation from stop to stop, on the same scale.
    grades : effective number of grades behind it: recent ones count 1, old ones less.
    """

    athlete: str
    position: str
    split: str
    scale: Scale
    mean: float
    sd: float
    spread: float
    grades: float

    def seconds(self, x: float) -> float:
        """Turn a value on this estimate's scale into seconds."""
        return math.exp(x) if self.scale == "log" else x

    @property
    def median_s(self) -> float:
        """Median clean time, in seconds."""
        return self.seconds(self.mean)

    @property
    def interval90_s(self) -> tuple[float, float]:
        """Where the athlete's true median lies with 90 % chance, in seconds."""
        return self.seconds(self.mean - HIGH90 * self.sd), self.seconds(self.mean + HIGH90 * self.sd)

    @property
    def next90_s(self) -> tuple[float, float]:
        """Where the next clean time falls with 90 % chance, in seconds."""
        half = HIGH90 * math.hypot(self.sd, self.spread)
        return self.seconds(self.mean - half), self.seconds(self.mean + half)


@dataclass(frozen=True, slots=True)
class MissEstimate:
    """How often one athlete slips: expected count of a miss per execution of a task that lists it.

    The count in one execution is Poisson(rate); what is known of the rate is Gamma(alpha, beta), beta an inverse
    scale, so `rate` = alpha / beta. `chances`: effective number of graded executions.
    """

    athlete: str
    position: str
    miss: str
    rate: float
    alpha: float
    beta: float
    chances: float


@dataclass(frozen=True, slots=True)
class PoolEstimate:
    """The athletes of one split of one position taken together.

    Attributes
    ----------
    mean, se : level of the pool and its uncertainty, on the split's scale.
    between : standard deviation of the athletes' levels.
    spread : typical standard deviation from stop to stop.
    athletes : how many have grades.
    """

    position: str
    split: str
    scale: Scale
    mean: float
    se: float
    between: float
    spread: float
    athletes: int


@dataclass(frozen=True, slots=True)
class LeftOut:
    """Grades that did not count as a clean time.

    Attributes
    ----------
    spoiled : of stops with a spoiler.
    no_time : without a time, of which only the misses count.
    not_positive : rows (of graded_stops.csv) whose clean time came out at or below zero.
    pulled_in : rows so far off that they count only as the edge of what is believable.
    """

    spoiled: int = 0
    no_time: int = 0
    not_positive: tuple[int, ...] = ()
    pulled_in: tuple[int, ...] = ()


@dataclass(frozen=True)
class SkillEstimates:
    """Everything the graded stops say about skills, on the day `on`.

    Attributes
    ----------
    splits : by (athlete, position, split); ("", "", split) is what car and driver do.
    misses : by (athlete, position, miss); ("", "", miss) likewise.
    tire : by (split, tire): added on the split's scale; 0 for `reference_tire`; a pair not named adds 0.
    setting : by (split, setting): added on the split's scale in practice or tryout; 0 in a race.
    loss_s : seconds each miss costs the stop, estimated around misses.csv.
    pace : by athlete: factor on the clean time of each later log-scale task of the same stop after a miss.
    same_position, other_position : correlation of an athlete's effects between two splits of one position, and
        between positions, both relative to the pools.
    notes : sentences for the user.
    """

    on: date
    splits: Mapping[tuple[str, str, str], SplitEstimate]
    misses: Mapping[tuple[str, str, str], MissEstimate]
    pools: Mapping[tuple[str, str], PoolEstimate] = field(default_factory=dict)
    reference_tire: str = ""
    tire: Mapping[tuple[str, str], float] = field(default_factory=dict)
    setting: Mapping[tuple[str, str], float] = field(default_factory=dict)
    loss_s: Mapping[str, float] = field(default_factory=dict)
    pace: Mapping[str, float] = field(default_factory=dict)
    same_position: float = 0.0
    other_position: float = 0.0
    left_out: LeftOut = field(default_factory=LeftOut)
    notes: tuple[str, ...] = ()
