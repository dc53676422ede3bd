"""How close the optimiser comes, how fast, and how that grows; run `python -m tests.benchmarks.bench_optimizer`.

Figures are gaps and shares of the first run's time, so that they can be compared across machines of any speed.
"""

from __future__ import annotations

import argparse
import resource
import time

import numpy as np

from lineup.optimize.bench import Bench
from lineup.optimize.run import Progress
from lineup.optimize.search import mean_costs
from lineup.optimize.solve import solve
from lineup.problem import Problem, build
from lineup.settings import Settings
from tests.benchmarks.generate import make_model, make_season

REACHED = 0.005
GROWTH = {  # athletes, cars, weekends, scenarios
    "36 athletes, 4 cars, 6 weeks": (36, 4, 6, 1000),
    "twice the athletes": (72, 4, 6, 1000),
    "twice athletes and cars": (72, 8, 6, 1000),
    "twice the weekends": (36, 4, 12, 1000),
    "four times the weekends": (36, 4, 24, 1000),
    "four times the scenarios": (36, 4, 6, 4000),
}
SIZES = {"30x4x4": (30, 4, 4, 60.0), "48x6x8": (48, 6, 8, 120.0), "72x8x12": (72, 8, 12, 300.0)}


def run(name: str, share: float, scenarios: int, seed: int) -> None:
    """Solve one size and print how value, bound and gap came about."""
    athletes, cars, weekends, seconds = SIZES[name]
    season = make_season(athletes, cars, weekends, seed)
    settings = Settings(time_s=seconds * share, scenarios=scenarios, seed=seed)
    problem = build(season, make_model(season, scenarios, seed), season.weekends, settings)
    seen: list[Progress] = []
    found = solve(problem, settings, on_progress=seen.append)
    gaps = [(p.seconds, p.gap) for p in seen if p.gap is not None]
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{name}: value {found.value_s:.2f} s, bound {found.bound_s:.2f} s, gap {100 * (found.gap or 0):.3f} %")
    for part in (0.25, 0.5, 0.75, 1.0):
        reached = [gap for at, gap in gaps if at <= part * settings.time_s]
        print(f"   at {part:.0%} of {settings.time_s:.0f} s: " + (f"{100 * reached[-1]:.3f} %" if reached else "-"))
    ratio = _averages(problem) / (found.value_s or 1.0)
    print(f"   peak memory {peak_mb:.0f} MB; a lineup chosen by averages costs {ratio:.4f} of it")


def _averages(problem: Problem) -> float:
    """Cost of the lineup that CP-SAT finds in ten seconds when stops are taken to add up over positions."""
    from lineup.optimize.run import Run
    from lineup.optimize.search import first_lineup

    total = Run(Bench(problem), problem.settings)
    first_lineup(total, mean_costs(total), 10.0)
    return float("nan") if total.value is None else total.value


def growth(seed: int, seconds: float) -> None:
    """Print how the wall time to a gap of `REACHED` grows with each size, as a ratio to the first season's."""
    base = None
    for name, (athletes, cars, weekends, scenarios) in GROWTH.items():
        season = make_season(athletes, cars, weekends, seed)
        settings = Settings(time_s=seconds, scenarios=scenarios, seed=seed, tolerance=REACHED)
        problem = build(season, make_model(season, scenarios, seed), season.weekends, settings)
        began = time.monotonic()
        found = solve(problem, settings)
        took = time.monotonic() - began
        base = base or took
        reached = found.gap is not None and found.gap <= REACHED
        print(
            f"{name:28} "
            + (f"{took / base:5.1f} times" if reached else f"not reached, gap {100 * (found.gap or 1):.2f} %")
        )


def main() -> None:
    """Read the command line and run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sizes", nargs="*", default=list(SIZES))
    parser.add_argument("--share", type=float, default=1.0, help="share of each size's time")
    parser.add_argument("--scenarios", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--growth", type=float, metavar="SECONDS", help="only how time grows, so long at most each")
    given = parser.parse_args()
    np.seterr(all="raise", under="ignore")
    if given.growth is not None:
        growth(given.seed, given.growth)
        return
    for name in given.sizes:
        run(name, given.share, given.scenarios, given.seed)


if __name__ == "__main__":
    main()
