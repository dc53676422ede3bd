"""Our method beside three others, on the same seasons, in equal time, in one run.

    python -m tests.benchmarks.bench_baselines --sizes 30x4x4 48x6x8 --time 120 [--picture gaps.html]

Each method gets the same wall time and workers: ours from the start of `solve`, the textbook with the building of its
model. Skills and sampling are outside. The textbook takes fewer scenarios (it holds one column per task and scenario),
so its own value and bound speak of that coarser problem; what the plans are worth is judged on fresh scenarios of
another seed, the same for all. Ratios are to our method's value on those.

The last result stands in the README, with its picture (`--picture data_demo/screens/gaps.svg`, which needs vl-convert).
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path

import altair as alt
import numpy as np
import pandas as pd

from lineup.lawful import broken_rules
from lineup.optimize.run import Progress
from lineup.optimize.solve import solve
from lineup.problem import Problem, build
from lineup.season import Season
from lineup.settings import Settings
from tests.benchmarks.baselines import (
    INF,
    Attempt,
    averages_week_by_week,
    gap_of,
    scenario_values,
    textbook_in_cp_sat,
    textbook_in_highs,
)
from tests.benchmarks.generate import make_model, make_season

GAPS = (0.05, 0.01, 0.005, 0.002)


def problem_of(season: Season, scenarios: int, seed: int) -> Problem:
    return build(season, make_model(season, scenarios, seed), season.weekends, Settings(scenarios=scenarios, seed=seed))


def ours(problem: Problem, time_s: float, workers: int) -> Attempt:
    attempt = Attempt("lineup")
    settings = problem.settings.replace(time_s=time_s, workers=workers, tolerance=0.0)

    def note(progress: Progress) -> None:
        value = INF if progress.value_s is None else progress.value_s
        attempt.trace.append((progress.seconds, value, -INF if progress.bound_s is None else progress.bound_s))

    began = time.monotonic()
    found = solve(problem, settings, on_progress=note)
    attempt.seconds = time.monotonic() - began
    attempt.assignments = found.assignments
    attempt.value_s = INF if found.value_s is None else found.value_s
    attempt.bound_s = -INF if found.bound_s is None else found.bound_s
    attempt.note = "" if found.assignments else "no plan found"
    attempt.trace.append((attempt.seconds, attempt.value_s, attempt.bound_s))
    return attempt


def compare(size: str, given: argparse.Namespace) -> list[Attempt]:
    """Run every method on one season and print the table."""
    athletes, cars, weekends = (int(part) for part in size.split("x"))
    season = make_season(athletes, cars, weekends, given.seed)
    fine = problem_of(season, given.scenarios, given.seed)
    coarse = problem_of(season, given.textbook_scenarios, given.seed)
    fresh = problem_of(season, given.fresh, given.seed + 1000)
    attempts = [
        ours(fine, given.time, given.workers),
        textbook_in_highs(coarse, given.time, given.workers),
        textbook_in_cp_sat(coarse, given.time, given.workers, given.seed),
        averages_week_by_week(fine),
    ]
    print(
        f"\n{size}: {len(fine.seats)} seats, {given.time:g} s each, {given.workers} workers; "
        f"{given.scenarios} scenarios, textbook {given.textbook_scenarios}; judged on {given.fresh} fresh ones"
    )
    for attempt in attempts[1:3]:
        same_model(coarse, attempt)
    print(table(attempts, fresh).to_string(index=False))
    return attempts


def same_model(problem: Problem, attempt: Attempt) -> None:
    """Stop where a textbook plan costs more than its model said: the two would not be models of the same season."""
    if attempt.assignments and problem.pricer.value(attempt.assignments) > attempt.value_s * 1.0005:
        raise AssertionError(
            f"{attempt.method}: {problem.pricer.value(attempt.assignments)} s, not {attempt.value_s} s"
        )


def table(attempts: list[Attempt], fresh: Problem) -> pd.DataFrame:
    """One row per method: worth on fresh scenarios, own gap, when each gap was reached."""
    worth = [on_fresh(fresh, attempt) for attempt in attempts]
    rows = []
    for attempt, (value, error) in zip(attempts, worth, strict=True):
        row = {
            "method": attempt.method,
            "fresh value s": _figure(value, ".2f"),
            "st. error": _figure(error, ".2f"),
            "ratio to ours": _figure(value / worth[0][0], ".4f"),
            "own value s": _figure(attempt.value_s, ".2f"),
            "own bound s": _figure(attempt.bound_s, ".2f"),
            "own gap": _figure(attempt.gap, ".3%"),
            "wall s": f"{attempt.seconds:.1f}",
        }
        row |= {f"to {gap:.1%}": _figure(reached(attempt, gap), ".0f") for gap in GAPS}
        rows.append(row | {"": attempt.note})
    return pd.DataFrame(rows)


def on_fresh(fresh: Problem, attempt: Attempt) -> tuple[float, float]:
    """Value of a plan on fresh scenarios and its standard error, seconds; infinite where there is no plan.

    A plan that breaks a rule is an error of this benchmark.
    """
    if not attempt.assignments:
        return INF, INF
    broken = broken_rules(fresh.pricer, fresh.pricer.crews(attempt.assignments))
    if broken:
        raise AssertionError(f"{attempt.method}: {broken[0].text}")
    total = np.sum(list(scenario_values(fresh, attempt.assignments)), axis=0)
    return fresh.pricer.value(attempt.assignments), float(total.std() / np.sqrt(len(total)))


def reached(attempt: Attempt, gap: float) -> float:
    """Wall seconds after which the method's own gap was at most this."""
    return next((at for at, value, bound in attempt.trace if gap_of(value, bound) <= gap), INF)


def _figure(value: float, form: str) -> str:
    return format(value, form) if np.isfinite(value) else "-"


def picture(results: dict[str, list[Attempt]], file: Path) -> None:
    """Gap over time, one panel per season. Altair writes .html and .json itself, .svg and .png with vl-convert."""
    rows = [
        {"season": size, "method": attempt.method, "seconds": at, "gap": gap_of(value, bound)}
        for size, attempts in results.items()
        for attempt in attempts
        for at, value, bound in attempt.trace
        if 0 < gap_of(value, bound) < INF
    ]
    chart = (
        alt.Chart(alt.Data(values=rows))
        .mark_line(interpolate="step-after", point=True)
        .encode(
            x=alt.X("seconds:Q", title="wall seconds"),
            y=alt.Y("gap:Q", title="own gap", scale=alt.Scale(type="log"), axis=alt.Axis(format=".2%")),
            color="method:N",
            strokeDash="method:N",
            column="season:N",
        )
    )
    try:
        chart.save(str(file))
    except (ImportError, ValueError) as error:
        print(f"no picture: {error}")


def main() -> None:
    """Read the command line and run."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sizes", nargs="+", default=["30x4x4"], help="athletes x cars x weekends")
    parser.add_argument("--time", type=float, default=60.0, help="wall seconds of each method")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--scenarios", type=int, default=2000)
    parser.add_argument("--textbook-scenarios", type=int, default=30)
    parser.add_argument("--fresh", type=int, default=4096)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--picture", type=Path)
    given = parser.parse_args()
    results = {size: compare(size, given) for size in given.sizes}
    if given.picture is not None:
        picture(results, given.picture)


if __name__ == "__main__":
    main()
