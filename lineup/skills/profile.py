"""One athlete's profile, and the table of all skills: estimates set against the pool, in seconds."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import numpy as np
from scipy.special import gammaincinv, ndtr

from lineup.errors import InputError
from lineup.season import Season
from lineup.skills.assumptions import Assumptions
from lineup.skills.grades import make_cells, make_rows, tasks_of
from lineup.skills.net import net_values
from lineup.skills.records import MissEstimate, PoolEstimate, SkillEstimates, SplitEstimate

RECENT_DAYS = 30
_FEW = 5.0  # effective grades below which an estimate leans on the pool
_LEAST_EACH = 2  # grades on either side of a trend


@dataclass(frozen=True, slots=True)
class Trend:
    """Recent grades (the last `RECENT_DAYS` days) against earlier ones: `change_s` below zero is faster.

    `se_s` is its standard error; `chance_faster` the chance that the athlete got faster, each side taken as it is.
    """

    change_s: float
    se_s: float
    chance_faster: float
    recent: int
    earlier: int


@dataclass(frozen=True, slots=True)
class SplitProfile:
    """One split against its pool.

    Attributes
    ----------
    against_pool_s : median minus the pool's; below zero is faster.
    against_low_s, against_high_s : where its true value lies with 90 % chance, the pool's level taken as known.
    chance_faster_than_pool : that the true median is below the pool's mean level.
    place, of : rank by median among all who may work the position, the fastest first.
    consistency : spread as a share of the pool's typical spread; below 1 is steadier.
    trend : None where there are not enough grades on either side.
    """

    estimate: SplitEstimate
    pool: PoolEstimate
    against_pool_s: float
    against_low_s: float
    against_high_s: float
    chance_faster_than_pool: float
    place: int
    of: int
    consistency: float
    trend: Trend | None


@dataclass(frozen=True, slots=True)
class MissProfile:
    """One miss: expected count per execution with its 90 % interval, what the others do, what each costs."""

    estimate: MissEstimate
    low90: float
    high90: float
    others: float
    loss_s: float
    penalty_s: float


@dataclass(frozen=True, slots=True)
class PositionProfile:
    """Everything known of an athlete in one position.

    Attributes
    ----------
    level : "cleared", "training" or "none": the best clearance in any series.
    grades : effective number of grades, over all splits.
    own_s, pool_s : the position's splits, once each, added up: the athlete's medians and the pool's.
    trend : of the splits that have one, added up.
    unknown : sentences.
    """

    position: str
    level: str
    grades: float
    own_s: float
    pool_s: float
    trend: Trend | None
    splits: tuple[SplitProfile, ...]
    misses: tuple[MissProfile, ...]
    unknown: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AthleteProfile:
    """An athlete's profile; `pace`: factor on later times of a stop after a miss."""

    athlete: str
    name: str
    pace: float
    pace_of_all: float
    positions: tuple[PositionProfile, ...]


def profile(season: Season, estimates: SkillEstimates, athlete: str) -> AthleteProfile:
    """Set an athlete's estimates against the pools; `season` must be the one they were estimated from."""
    if athlete not in season.athletes:
        raise InputError(f"No athlete {athlete!r} in athletes.csv.")
    mine = dict.fromkeys(position for a, position, _ in estimates.splits if a == athlete)
    trends = _trends(season, estimates, athlete)
    return AthleteProfile(
        athlete=athlete,
        name=season.athletes[athlete].name,
        pace=estimates.pace.get(athlete, 1.0),
        pace_of_all=math.exp(float(np.mean(np.log(list(estimates.pace.values()) or [1.0])))),
        positions=tuple(_position(season, estimates, athlete, p, trends) for p in season.positions if p in mine),
    )


def _position(
    season: Season, estimates: SkillEstimates, athlete: str, position: str, trends: dict[tuple[str, str], Trend]
) -> PositionProfile:
    levels = {c.level for c in season.clearances if (c.athlete, c.position) == (athlete, position)}
    splits = tuple(
        _split(estimates, estimate, trends.get((position, split)))
        for (a, p, split), estimate in estimates.splits.items()
        if (a, p) == (athlete, position)
    )
    misses = tuple(
        _miss(season, estimates, estimate)
        for (a, p, _), estimate in estimates.misses.items()
        if (a, p) == (athlete, position)
    )
    return PositionProfile(
        position=position,
        level="cleared" if "cleared" in levels else "training" if levels else "none",
        grades=math.fsum(s.estimate.grades for s in splits),
        own_s=math.fsum(s.estimate.median_s for s in splits),
        pool_s=math.fsum(s.estimate.median_s - s.against_pool_s for s in splits),
        trend=_sum_of([s.trend for s in splits if s.trend]),
        splits=splits,
        misses=misses,
        unknown=_unknown(season, athlete, position, splits, misses),
    )


def _split(estimates: SkillEstimates, own: SplitEstimate, trend: Trend | None) -> SplitProfile:
    pool = estimates.pools[own.position, own.split]
    means = [e.mean for (_, p, s), e in estimates.splits.items() if (p, s) == (own.position, own.split)]
    return SplitProfile(
        estimate=own,
        pool=pool,
        against_pool_s=own.median_s - own.seconds(pool.mean),
        against_low_s=own.interval90_s[0] - own.seconds(pool.mean),
        against_high_s=own.interval90_s[1] - own.seconds(pool.mean),
        chance_faster_than_pool=float(ndtr((pool.mean - own.mean) / own.sd)),
        place=1 + sum(mean < own.mean for mean in means),
        of=len(means),
        consistency=own.spread / pool.spread,
        trend=trend,
    )


def _miss(season: Season, estimates: SkillEstimates, own: MissEstimate) -> MissProfile:
    others = [
        e.rate for (a, p, m), e in estimates.misses.items() if (p, m) == (own.position, own.miss) and a != own.athlete
    ]
    low, high = (float(gammaincinv(own.alpha, q)) / own.beta for q in (0.05, 0.95))
    return MissProfile(
        estimate=own,
        low90=low,
        high90=high,
        others=math.fsum(others) / len(others) if others else own.rate,
        loss_s=estimates.loss_s[own.miss],
        penalty_s=season.misses[own.miss].penalty_s,
    )


def _unknown(
    season: Season,
    athlete: str,
    position: str,
    splits: tuple[SplitProfile, ...],
    misses: tuple[MissProfile, ...],
) -> tuple[str, ...]:
    """Say what the grades do not tell."""
    said = []
    never = [s.estimate.split for s in splits if s.estimate.grades == 0]
    thin = [s.estimate.split for s in splits if 0 < s.estimate.grades < _FEW]
    if len(never) == len(splits):
        said.append("No grade in this position: what is shown is what its pool, and other positions, suggest.")
    elif never:
        said.append(f"No grade in {', '.join(never)}.")
    if thin:
        said.append(f"Few recent grades in {', '.join(thin)}: these lean on the pool.")
    mine = season.grades[(season.grades["athlete"] == athlete) & (season.grades["position"] == position)]
    if len(mine) and not (mine["setting"] == "race").any():
        said.append("Never graded in a race in this position.")
    if len(never) < len(splits) and not any(s.trend for s in splits):
        said.append(f"No trend: not enough grades in the last {RECENT_DAYS} days, or before.")
    unseen = [m.estimate.miss for m in misses if m.estimate.chances == 0]
    if unseen and len(never) < len(splits):
        said.append(f"Never graded in a task that can bring {', '.join(unseen)}.")
    return tuple(said)


def _trends(season: Season, estimates: SkillEstimates, athlete: str) -> dict[tuple[str, str], Trend]:
    """Trend of each (position, split) the athlete has enough grades in."""
    mine = season.replace(grades=season.grades[season.grades["athlete"] == athlete])
    cells = make_cells(mine, Assumptions().least_unit_s)
    rows, _ = make_rows(mine, cells, estimates.on, Assumptions().half_life_days)
    net = net_values(estimates, cells, rows)
    since = np.datetime64(estimates.on - timedelta(days=RECENT_DAYS))
    trends = {}
    for number in np.unique(rows.cell):
        own = estimates.splits[cells.keys[number]]
        part = (rows.cell == number) & np.isfinite(net)
        late, early = net[part & (rows.day >= since)], net[part & (rows.day < since)]
        if min(len(late), len(early)) < _LEAST_EACH:
            continue
        change, se = late.mean() - early.mean(), own.spread * math.sqrt(1 / len(late) + 1 / len(early))
        one_s = own.median_s if own.scale == "log" else 1.0
        trends[own.position, own.split] = _trend(float(change) * one_s, se * one_s, len(late), len(early))
    return trends


def _trend(change_s: float, se_s: float, recent: int, earlier: int) -> Trend:
    return Trend(change_s, se_s, float(ndtr(-change_s / se_s)), recent, earlier)


def _sum_of(trends: list[Trend]) -> Trend | None:
    """Add up the trends of a position's splits."""
    if not trends:
        return None
    return _trend(
        math.fsum(t.change_s for t in trends),
        math.hypot(*(t.se_s for t in trends)),
        sum(t.recent for t in trends),
        sum(t.earlier for t in trends),
    )


def skills_table(season: Season, estimates: SkillEstimates) -> list[dict[str, Any]]:
    """Return one record per athlete, position and split, car and driver (empty ids) last.

    `median_s` is the median clean time in a race on the reference tire, and its true value lies between `low90_s` and
    `high90_s` with 90 % chance; `spread` is the standard deviation from stop to stop on the split's scale (about a
    share of the time; seconds for tasks that may begin early); `misses` the expected count per execution.
    """
    listed: dict[tuple[str, str], dict[str, None]] = {}
    for task in tasks_of(season):
        listed.setdefault((task.position or "", task.split), {}).update(dict.fromkeys(task.misses))
    athletes, positions, pools = [*season.athletes, ""], [*season.positions, ""], list(listed)
    order = sorted(
        estimates.splits,
        key=lambda key: (positions.index(key[1]), athletes.index(key[0]), pools.index((key[1], key[2]))),
    )
    table = []
    for athlete, position, split in order:
        own = estimates.splits[athlete, position, split]
        low, high = own.interval90_s
        names = {"athlete": athlete, "position": position, "split": split}
        times = {"median_s": own.median_s, "low90_s": low, "high90_s": high}
        misses = {miss: estimates.misses[athlete, position, miss].rate for miss in listed[position, split]}
        table.append({**names, **times, "spread": own.spread, "grades": own.grades, "misses": misses})
    return table
