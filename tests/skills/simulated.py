"""A season whose true skills are known, drawn from a seed: what the estimates should find again."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

import numpy as np

from lineup.season import Clearance, Miss, Season, Task
from tests.builders import grade_row, grade_table, tiny_season

POSITIONS = ("front-changer", "rear-changer", "jack", "carrier")
BLOCK_DAY = date(2026, 4, 5)  # the first race of a tiny season
MISSES = {"restrike": Miss("restrike", "Second strike", 0.3), "spill": Miss("spill", "Wheel dropped", 1.0, 5.0)}
TRUE_LOSS_S = {"restrike": 0.36, "spill": 0.8}
TRUE_RATE = {"restrike": 0.08, "spill": 0.015}
PRACTICE, HEAVY, PACE = -0.03, 0.05, 0.03
CENTRE = {"off": np.log(1.1), "on": np.log(1.2), "move": np.log(2.2), "reach": 0.2}
BETWEEN = {"off": 0.06, "on": 0.07, "move": 0.05, "reach": 0.06}
SPREAD = {"off": 0.09, "on": 0.09, "move": 0.09, "reach": 0.05}
SAME, OTHER = 0.5, 0.25  # correlations of an athlete's levels, within a position and between positions


@dataclass
class Truth:
    """Hidden values by (athlete, position, split), (athlete, position, miss) and athlete."""

    level: dict[tuple[str, str, str], float] = field(default_factory=dict)
    spread: dict[tuple[str, str, str], float] = field(default_factory=dict)
    rate: dict[tuple[str, str, str], float] = field(default_factory=dict)
    pace: dict[str, float] = field(default_factory=dict)


def tasks() -> tuple[Task, ...]:
    """Each position: reach (may begin early), then off, on, move, off, on; the car brakes."""
    made = [Task("brake", "Stop on the marks", None, (), "brake", 0.8)]
    for position in POSITIONS:
        before: tuple[str, ...] = ()
        for name, kind, seconds in (
            ("reach", "reach", 0.25),
            ("off-1", "off", 1.1),
            ("on-1", "on", 1.15),
            ("move", "move", 2.1),
            ("off-2", "off", 1.1),
            ("on-2", "on", 1.15),
        ):
            misses = {"on": ("restrike",), "move": ("spill",)}.get(kind, ())
            flags = {"early": kind == "reach", "load": kind == "move", "release": name == "on-2"}
            split = f"{position}-{kind}"
            made.append(Task(f"{position}-{name}", name, position, before, split, seconds, misses, **flags))
            before = (f"{position}-{name}",)
    return tuple(made)


def simulate(seed: int = 1, *, athletes: int = 40, most: int = 60, days: int = 240) -> tuple[Season, Truth]:
    """Make the season: every athlete has a main position, half of them a second one with a quarter of the grades."""
    rng = np.random.default_rng(seed)
    season = tiny_season(athletes=athletes, positions=POSITIONS, shape=tasks(), grades=0, misses=MISSES)
    truth, rows, clearances = Truth(), [], []
    for number, athlete in enumerate(season.athletes):
        general, steady = rng.standard_normal(2)
        truth.pace[athlete] = float(np.exp(PACE + 0.02 * rng.standard_normal()))
        second = [POSITIONS[(number + 1) % 4]] if rng.random() < 0.5 else []
        for place, position in enumerate([POSITIONS[number % 4], *second]):
            clearances.append(Clearance(athlete, position, "cleared"))
            _draw_skills(truth, rng, athlete, position, general, steady)
            stops = int(rng.choice([0, 2, most // 8, most // 2, most])) // (4 if place else 1)
            for stop in range(stops):
                rows += _stop(truth, rng, athlete, position, f"{athlete}-{position}-{stop}", days)
    day = BLOCK_DAY - timedelta(days=30)
    rows += [grade_row("", "", "brake", float(s), on=day, setting="race") for s in rng.normal(0.9, 0.08, 60)]
    return season.replace(grades=grade_table(rows), clearances=tuple(clearances)), truth


def _draw_skills(
    truth: Truth, rng: np.random.Generator, athlete: str, position: str, general: float, steady: float
) -> None:
    here = rng.standard_normal()
    for kind, centre in CENTRE.items():
        key = (athlete, position, f"{position}-{kind}")
        z = np.sqrt(OTHER) * general + np.sqrt(SAME - OTHER) * here + np.sqrt(1 - SAME) * rng.standard_normal()
        truth.level[key] = float(centre + BETWEEN[kind] * z)
        truth.spread[key] = float(SPREAD[kind] * np.exp(0.15 * steady + 0.15 * rng.standard_normal()))
    for miss, rate in TRUE_RATE.items():
        shape = 16.0 if MISSES[miss].penalty_s else 4.0
        truth.rate[athlete, position, miss] = float(rng.gamma(shape, rate / shape))


def _stop(
    truth: Truth, rng: np.random.Generator, athlete: str, position: str, stop: str, days: int
) -> Iterator[dict[str, Any]]:
    """One graded stop of one athlete."""
    day = BLOCK_DAY - timedelta(days=int(rng.integers(1, days)))
    setting, tire = str(rng.choice(["race", "practice"])), str(rng.choice(["plain", "heavy"], p=[0.7, 0.3]))
    dragged = 0.0
    for task in (t for t in tasks() if t.position == position):
        key = (athlete, position, task.split)
        x = truth.level[key] + truth.spread[key] * rng.standard_normal()
        if not task.early:
            x += dragged + (PRACTICE if setting == "practice" else 0) + (HEAVY if task.load and tire == "heavy" else 0)
        slips = [m for m in task.misses for _ in range(rng.poisson(truth.rate[athlete, position, m]))]
        lost = sum(TRUE_LOSS_S[m] * (1 + 0.2 * rng.standard_normal()) for m in slips)
        seconds = float(x if task.early else np.exp(x)) + float(lost)
        if slips:
            dragged = float(np.log(truth.pace[athlete]))
        facts = {"setting": setting, "tire": tire, "stop": stop, "misses": tuple(slips)}
        yield grade_row(athlete, position, task.id, seconds, on=day, **facts)
