"""Studies of random tiny seasons and plans of them: what explanations are checked against."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from lineup.errors import Report
from lineup.plan import Assignment, Plan
from lineup.season import Season, Seat
from lineup.settings import Settings
from lineup.study import Study
from tests.optimize.brute import every_lineup
from tests.optimize.seasons import QUICK, random_model, random_season

MOST_LINEUPS = 6000
Lineups = dict[tuple[Assignment, ...], float]


def study_of(season: Season, seed: int = 1, settings: Settings = QUICK) -> Study:
    """A study of a season whose stops are random samples."""
    model = random_model(season, settings.scenarios, np.random.default_rng(seed))
    return Study(season, season.weekends, settings, Report(), None, model)


def priced_lineups(study: Study) -> Lineups:
    """Every lineup that keeps every hard rule, sorted, with its value."""
    found = (tuple(sorted(lineup)) for lineup in every_lineup(study.problem))
    return {lineup: study.pricer.value(lineup) for lineup in found}


def plan_of(study: Study, assignments: tuple[Assignment, ...]) -> Plan:
    return Plan("best_so_far", tuple(sorted(assignments)), weekends=study.weekends)


@lru_cache(maxsize=64)
def solved(seed: int) -> tuple[Study, Plan, tuple[tuple[tuple[Assignment, ...], float], ...]] | None:
    """A random study with its best plan and all its lineups; None where there are too many, or fewer than two."""
    season = random_season(seed)
    study = study_of(season, seed)
    if _choices(study) > 80_000:
        return None
    lineups = priced_lineups(study)
    if not 2 <= len(lineups) <= MOST_LINEUPS:
        return None
    best = min(lineups, key=lambda lineup: lineups[lineup])
    return study, plan_of(study, best), tuple(lineups.items())


def solved_seasons(count: int, first: int = 0):
    """The first so many random seasons that brute force can solve."""
    seed = first
    while count:
        found = solved(seed)
        if found is not None:
            count -= 1
            yield seed, *found
        seed += 1


def _choices(study: Study) -> float:
    return float(np.prod([len(study.problem.eligible[seat]) + 0.5 for seat in study.problem.seats]))


def changed_seats(one: tuple[Assignment, ...], other: tuple[Assignment, ...]) -> int:
    """Seats whose athlete differs, counted without the package's own function."""
    first: dict[Seat, str] = {a.seat: a.athlete for a in one}
    second: dict[Seat, str] = {a.seat: a.athlete for a in other}
    return sum(first.get(seat) != second.get(seat) for seat in first.keys() | second.keys())
