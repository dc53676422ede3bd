"""Find the best lineup of a problem and prove how good it is."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from lineup.optimize.bench import Bench
from lineup.optimize.bound import Relaxation
from lineup.optimize.exact import cut_loop
from lineup.optimize.pricing import Pricing
from lineup.optimize.rows import left_out
from lineup.optimize.run import OnProgress, Progress, Run, Stop, gap_of
from lineup.optimize.search import Search, first_lineup, mean_costs
from lineup.plan import Assignment
from lineup.problem import Problem
from lineup.settings import Settings

__all__ = ["Outcome", "Progress", "solve"]

SMALL_SEATS = 60  # up to here the cut loop alone gets the first half of the time
FIRST_SHARE = 0.07  # of the time, for a first lineup
WORK_ROUNDS = 2  # rounds of the relaxation, and stretches of the search, per unit of effort


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
    if len(problem.seats) <= SMALL_SEATS or len(problem.races) == 1:  # one race: no schedules to bound
        run.enter("cuts")
        cut_loop(run, share=0.5)
    if not run.over:
        _large(run)
    return _outcome(run)


def _large(run: Run) -> None:
    """First lineup, then bound and search side by side (one after the other where effort is counted)."""
    run.enter("first lineup")
    if run.best is None:
        first_lineup(run, mean_costs(run), max(2.0, FIRST_SHARE * run.settings.time_s))
    if run.over or run.best is None:
        return
    pricing = Pricing(run.bench)
    pricing.prepare()
    relaxation = Relaxation(run.bench, pricing, run.settings.seed)
    search = Search(run, pricing)
    run.enter("bound and search")
    if run.settings.work is not None or run.settings.workers == 1:
        _in_turn(run, relaxation, search)
    else:
        _side_by_side(run, relaxation, search)


def _in_turn(run: Run, relaxation: Relaxation, search: Search) -> None:
    relaxation.begin(lambda: run.over)
    rounds = run.settings.work * WORK_ROUNDS if run.settings.work is not None else 10**9
    more = True
    for _ in range(rounds):
        if run.over:
            return
        if more:
            more = relaxation.step(lambda: run.over)
            run.raise_bound(relaxation.bound)
        search.step()
        run.report()


def _side_by_side(run: Run, relaxation: Relaxation, search: Search) -> None:
    """Run the bound in a thread: its solver lets the search go on meanwhile."""
    failed: list[BaseException] = []

    def bound() -> None:
        try:
            relaxation.begin(lambda: run.over)
            while not run.over and relaxation.step(lambda: run.over):
                pass
        except BaseException as error:
            failed.append(error)

    thread = threading.Thread(target=bound, name="bound", daemon=True)
    thread.start()
    while not run.over and not failed:
        search.step()
        run.raise_bound(relaxation.bound)
        run.report()
    thread.join()
    if failed:
        raise failed[0]
    run.raise_bound(relaxation.bound)


def _outcome(run: Run) -> Outcome:
    if run.impossible:
        return Outcome("impossible")
    if run.best is None:
        return Outcome("not_found", bound_s=run.bound)
    assignments = run.bench.frame.assignments(run.best)
    problem = run.bench.problem
    value = problem.pricer.value(assignments) + run.bench.anchor_s(run.best)
    status: Literal["proven", "best_so_far"] = "proven" if run.proven else "best_so_far"
    names = left_out(run.bench)
    notes = (f"The bound does not fully know of: {', '.join(names)}; it holds all the same.",) if names else ()
    return Outcome(status, assignments, value, run.bound, gap_of(value, run.bound), notes)
