"""Find the best lineup of a problem and prove how good it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from lineup.optimize.bench import Bench
from lineup.optimize.exact import cut_loop
from lineup.optimize.run import OnProgress, Progress, Run, Stop, gap_of
from lineup.plan import Assignment
from lineup.problem import Problem
from lineup.settings import Settings

__all__ = ["Outcome", "Progress", "solve"]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a solve found.

    Attributes
    ----------
    value_s : exact cost of the assignments, seconds; with an anchor, its price included.
    bound_s : no lineup costs less, seconds; `notes` say which limits it does not know of.
    gap : (value - bound) / |value|.
    """

    status: Literal["proven", "best_so_far", "impossible", "not_found"]
    assignments: tuple[Assignment, ...] = ()
    value_s: float | None = None
    bound_s: float | None = None
    gap: float | None = None
    notes: tuple[str, ...] = ()


def solve(
    problem: Problem,
    settings: Settings,
    on_progress: OnProgress | None = None,
    stop: Stop | None = None,
    start: Sequence[Assignment] | None = None,
) -> Outcome:
    """Find the best lineup of a block and a bound on any lineup's cost.

    Parameters
    ----------
    on_progress : told the best value, bound and gap on the way, from the calling thread.
    stop : polled; once it says so, the best lineup so far is returned.
    start : a lineup to begin with, if it keeps the rules.
    """
    run = Run(Bench(problem), settings, on_progress, stop)
    if start is not None:
        run.offer(run.bench.frame.lineup(start))
    run.enter("cuts")
    cut_loop(run)
    return _outcome(run)


def _outcome(run: Run) -> Outcome:
    if run.impossible:
        return Outcome("impossible")
    if run.best is None:
        return Outcome("not_found", bound_s=run.bound)
    assignments = run.bench.frame.assignments(run.best)
    exact = run.bench.problem.pricer.price(assignments).value_s
    anchor = run.bench.anchor_s(run.best)
    value = exact + anchor
    gap = gap_of(value, run.bound)
    status: Literal["proven", "best_so_far"] = "proven" if run.proven else "best_so_far"
    return Outcome(status, assignments, value, run.bound, gap)
