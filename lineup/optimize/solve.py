"""Find the best lineup of a problem and prove how good it is."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from lineup.optimize.bench import Bench
from lineup.optimize.bounding import Bounding
from lineup.optimize.crew_tables import CrewTables, search_tables
from lineup.optimize.exact import cut_loop
from lineup.optimize.frame import Lineup
from lineup.optimize.pricing import Pricing
from lineup.optimize.rows import left_out
from lineup.optimize.run import OnProgress, Progress, Run, Stop, gap_of
from lineup.optimize.search import WHOLE, Search, first_lineup, mean_costs, race_by_race
from lineup.plan import Assignment
from lineup.problem import Problem
from lineup.settings import Settings

__all__ = ["Outcome", "Progress", "solve"]

SMALL_SEATS = 60  # up to here the cut loop alone gets the first half of the time
FIRST_SHARE = 0.07  # of the time, for a first lineup
WORK_ROUNDS = 2  # rounds of the bound, and stretches of the search, per unit of effort
WORK_MOVES = 1_000_000  # of one such stretch
STRETCH = 200_000  # moves between looks at the clock
TELL_EVERY_S = 0.25
ENDLESS = 10**9
OTHER_SEED = 7919
WAIT_S = 0.05
GRACE_S = 3.0


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
    pricing = Pricing(run.bench)
    pricing.prepare()
    bounding = Bounding(run.bench, pricing, CrewTables(run.bench.values), run.settings.seed)
    if run.settings.work is not None or run.settings.workers == 1:
        _first(run)
        _in_turn(run, bounding)
        return
    with _Aside(run, bounding) as aside:
        _first(run)
        if run.best is None or run.over:
            return
        run.enter("bound and search")
        search = Search(run, bounding, search_tables(run.bench, bounding.tables, run.best), run.settings.seed)
        aside.tables = search.tables
        while not run.over and not aside.failed and search.tables.prepare(lambda: run.over):
            run.offer_all(search.advance(STRETCH))
            aside.look()


def _first(run: Run) -> None:
    if run.best is None:
        run.enter("first lineup")
        costs = mean_costs(run)
        if len(run.bench.problem.races) > WHOLE:
            race_by_race(run, costs)
        if run.best is None:
            first_lineup(run, costs, max(2.0, FIRST_SHARE * run.settings.time_s))


def _in_turn(run: Run, bounding: Bounding) -> None:
    if run.best is None or run.over:
        return
    run.enter("bound and search")
    search = Search(run, bounding, search_tables(run.bench, bounding.tables, run.best), run.settings.seed)
    rounds = run.settings.work * WORK_ROUNDS if run.settings.work is not None else ENDLESS
    more = True
    for _ in range(rounds):
        if run.over or not search.tables.prepare(lambda: run.over):
            return
        more = more and bounding.step(lambda: run.over)
        run.raise_bound(bounding.bound)
        run.offer_all(search.advance(WORK_MOVES))
        run.report()


class _Aside:
    """The bound in a thread of its own, side by side with the search; once it can rise no more, a second search.

    What the second search finds is offered by `look`, so that only the calling thread changes the run.
    """

    def __init__(self, run: Run, bounding: Bounding) -> None:
        self.run, self.bounding = run, bounding
        self.failed: list[BaseException] = []
        self.found: deque[Lineup] = deque()
        self.tables: CrewTables | None = None
        self.ended = False
        self.told = 0.0
        self.thread = threading.Thread(target=self._work, name="bound", daemon=True)

    def _over(self) -> bool:
        return self.ended or self.run.over

    def _work(self) -> None:
        try:
            while not self._over() and self.bounding.step(self._over):
                pass
            while self.tables is None and not self._over():
                time.sleep(WAIT_S)
            self._search_too()
        except BaseException as error:
            self.failed.append(error)

    def _search_too(self) -> None:
        if self.tables is None or not self.tables.prepare(self._over):
            return
        search = Search(self.run, self.bounding, self.tables, self.run.settings.seed + OTHER_SEED)
        while not self._over():
            self.found.extend(search.advance(STRETCH))

    def look(self) -> None:
        """Take the bound and the lineups found, and tell the caller now and then how far the run is."""
        self.run.raise_bound(self.bounding.bound)
        while self.found:
            self.run.offer(self.found.popleft())
        if self.run.seconds - self.told > TELL_EVERY_S:
            self.told = self.run.seconds
            self.run.report()

    def __enter__(self) -> _Aside:
        self.thread.start()
        return self

    def __exit__(self, *failure: object) -> None:
        self.ended = True
        self.thread.join(GRACE_S)  # a step of the interior point method on a large block can take longer
        if self.failed:
            raise self.failed[0]
        self.run.raise_bound(self.bounding.bound)


def _outcome(run: Run) -> Outcome:
    if run.impossible:
        return Outcome("impossible")
    if run.best is None:
        return Outcome("not_found", bound_s=run.bound)
    assignments = run.bench.frame.assignments(run.best)
    problem = run.bench.problem
    value = problem.pricer.value(assignments) + run.bench.anchor_s(run.best)
    status: Literal["proven", "best_so_far"] = "proven" if run.proven else "best_so_far"
    limits = left_out(run.bench)
    notes = (f"The bound holds, but does not fully know these limits: {'; '.join(limits)}.",) if limits else ()
    return Outcome(status, assignments, value, run.bound, gap_of(value, run.bound), notes)
