"""Choreographies and sampled banks for tests of the stop model: one like a real stop, many at random."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from datetime import date
from typing import Any

import numpy as np

from lineup.choreography import order_tasks
from lineup.season import Choreography, Miss, Position, Season, Task
from lineup.skills import MissEstimate, SkillEstimates, SplitEstimate
from lineup.stop_model.bank import ServiceBank
from tests.builders import tiny_season

FRONT, REAR, JACK, CARRIER, FUELER, STAGER = "front-changer", "rear-changer", "jack", "carrier", "fueler", "stager"


def task(id: str, position: str | None, after: str = "", seconds: float = 1.0, **more: Any) -> Task:
    """Make a task whose split is its own id unless `split` is given; `after` holds ids, separated by blanks."""
    facts: dict[str, Any] = {"name": id, "split": id, "seconds": seconds} | more
    return Task(id=id, position=position, after=tuple(after.split()), **facts)


def four_tires() -> Choreography:
    """Four tires and fuel, right side first; without a stager the jack fetches the left rear tire.

    Nominal times are common practice, no source: checked on the demo season in tests/test_demo.py.
    """
    off, on = ("restrike",), ("restrike", "trigger")
    tasks = [
        task("marks", None, seconds=0.1),
        task("f-run", FRONT, seconds=0.2, early=True),
        task("r-run", REAR, seconds=0.7, early=True),
        task("j-run", JACK, seconds=0.5, early=True),
        task("c-run", CARRIER, seconds=0.9, early=True),
        task("fuel-run", FUELER, seconds=1.0, early=True),
        task("fuel-1", FUELER, "fuel-run marks", 4.6),
        task("fuel-swap", FUELER, "fuel-1", 1.2),
        task("fuel-2", FUELER, "fuel-swap", 3.6, release=True),
        task("j-up-right", JACK, "j-run marks", 0.45, split="jack-up"),
        task("f-off-right", FRONT, "f-run marks", 1.1, split="f-off", misses=off),
        task("r-off-right", REAR, "r-run marks", 1.1, split="r-off", misses=off),
        task("c-set-right", CARRIER, "c-run f-off-right j-up-right", 0.9, split="set-tire"),
        task("j-set-right", JACK, "j-up-right r-off-right", 0.9, split="set-tire"),
        task("f-on-right", FRONT, "f-off-right c-set-right", 1.15, split="f-on", misses=on),
        task("r-on-right", REAR, "r-off-right j-set-right", 1.15, split="r-on", misses=on),
        task("j-drop-right", JACK, "j-set-right f-on-right r-on-right", 0.25, split="jack-down"),
        task("f-cross", FRONT, "f-on-right j-drop-right", 2.0),
        task("r-cross", REAR, "r-on-right j-drop-right", 2.1),
        task("c-cross", CARRIER, "c-set-right", 2.6),
        task("j-cross", JACK, "j-drop-right", 2.0),
        task("j-fetch", JACK, "j-cross", 0.8, only_without=STAGER),
        task("s-stage", STAGER, seconds=6.0, early=True),
        task("s-hold", STAGER, "s-stage", 0.3, only_with=STAGER),
        task("j-up-left", JACK, "j-cross j-fetch s-hold", 0.45, split="jack-up"),
        task("f-off-left", FRONT, "f-cross", 1.1, split="f-off", misses=off),
        task("r-off-left", REAR, "r-cross", 1.1, split="r-off", misses=off),
        task("c-set-left", CARRIER, "c-cross f-off-left j-up-left", 0.9, split="set-tire"),
        task("j-set-left", JACK, "j-up-left r-off-left", 0.9, split="set-tire"),
        task("f-on-left", FRONT, "f-off-left c-set-left", 1.15, split="f-on", misses=on),
        task("r-on-left", REAR, "r-off-left j-set-left", 1.15, split="r-on", misses=on),
        task("j-drop-left", JACK, "j-set-left f-on-left r-on-left", 0.25, split="jack-down", release=True),
    ]
    return Choreography("four", "Four tires and fuel", order_tasks(tasks))


def random_choreography(rng: np.random.Generator, positions: Sequence[str] = ("a", "b", "c")) -> Choreography:
    """Make a choreography with conditional, early and car tasks; any position but the last may wait for its seat."""
    count = int(rng.integers(4, 10))
    tasks: list[Task] = []
    last: dict[str | None, str] = {}
    for i in range(count):
        position = [None, *positions][rng.integers(len(positions) + 1)]
        after = {t.id for t in tasks if rng.random() < 0.25} | ({last[position]} if position in last else set())
        last[position] = f"t{i}"
        conditions: dict[str, Any] = {}
        others = [p for p in positions if p != position]
        if rng.random() < 0.4:
            conditions["only_with"] = others[rng.integers(len(others))]
        if rng.random() < 0.3:
            conditions["only_without"] = others[rng.integers(len(others))]
        release = i == count - 1 or rng.random() < 0.2
        tasks.append(task(f"t{i}", position, " ".join(sorted(after)), release=release, **conditions))
    return Choreography("random", "Random", order_tasks(tasks))


def random_bank(
    rng: np.random.Generator, choreography: Choreography, athletes: int = 3, scenarios: int = 8, mean: float = 0.5
) -> ServiceBank:
    """Bank of normal durations, spread 1, so that some are negative."""
    names = tuple(f"athlete-{i}" for i in range(athletes))
    count = {p: sum(t.position == p for t in choreography.tasks) for p in (None, *choreography.positions)}
    positions = choreography.positions
    return ServiceBank(
        service=choreography.service,
        tire="plain",
        choreography=choreography,
        athletes=dict.fromkeys(positions, names),
        durations={p: rng.normal(mean, 1.0, (athletes, count[p], scenarios)) for p in positions},
        car=rng.normal(mean, 1.0, (count[None], scenarios)),
        clean={p: rng.random((athletes, scenarios)) < 0.9 for p in positions},
        penalty_s={p: rng.random(athletes) for p in positions},
    )


def made_estimates(
    season: Season, level: Callable[[str, str, str], SplitEstimate], rate: float = 0.0, **more: Any
) -> SkillEstimates:
    """Estimates of everyone with a clearance, each split from `level(athlete, position, split)`."""
    tasks = [t for choreography in season.choreographies.values() for t in choreography.tasks]
    holders = {(c.athlete, c.position) for c in season.clearances} | {("", "")}
    wanted = {(a, p, t.split) for a, p in holders for t in tasks if (t.position or "") == p}
    slips = {(a, p, miss) for a, p in holders for t in tasks if (t.position or "") == p for miss in t.misses}
    return SkillEstimates(
        on=date(2026, 4, 1),
        splits={key: level(*key) for key in wanted},
        misses={key: MissEstimate(*key, rate, max(rate, 1e-12) * 1e6, 1e6, 100.0) for key in slips},
        **({"loss_s": {name: miss.loss_s for name, miss in season.misses.items()}} | more),
    )


def log_level(seconds: float, sd: float = 0.0, spread: float = 0.05) -> Callable[[str, str, str], SplitEstimate]:
    """Return a level that is the same for everybody: median seconds, on the log scale."""
    return lambda a, p, s: SplitEstimate(a, p, s, "log", math.log(seconds), sd, spread, 10.0)


def stop_season(**changes: Any) -> Season:
    """Four athletes for every position of a four-tire stop; nobody else is named."""
    choreography = four_tires()
    season = tiny_season(positions=choreography.positions, shape=choreography.tasks)
    positions = {p: Position(p, p, filled="if_possible" if p == STAGER else "always") for p in choreography.positions}
    misses = {"restrike": Miss("restrike", "Second strike", 0.3), "trigger": Miss("trigger", "Switch", 0.8, 20.0)}
    return season.replace(positions=positions, misses=misses, **changes)
