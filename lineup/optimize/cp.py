"""Calls of CP-SAT: parameters that are safe on few workers, stopping from outside, solutions on the way."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
from ortools.sat.python import cp_model

from lineup.optimize.frame import Lineup
from lineup.optimize.model import TICKS_PER_S, Model
from lineup.settings import Settings

POLL_S = 0.1
MOST_SOLUTIONS = 40


@dataclass(frozen=True, slots=True)
class Answer:
    """What one call found: status, the last lineups (best last), a bound in seconds where there is one."""

    infeasible: bool
    optimal: bool
    lineups: tuple[Lineup, ...]
    bound_s: float | None


class _Collect(cp_model.CpSolverSolutionCallback):
    """Keeps the lineups found on the way; it is called on solver threads and only appends."""

    def __init__(self, model: Model) -> None:
        super().__init__()
        self.model = model
        self.lineups: list[Lineup] = []

    def on_solution_callback(self) -> None:
        lineup = self.model.frame.lineup(())
        for (k, a), variable in self.model.x.items():
            if self.boolean_value(variable):
                lineup[k] = a
        self.lineups.append(lineup)


def new_solver(settings: Settings, seconds: float, seed: int = 0, work: float | None = None) -> cp_model.CpSolver:
    """Return a solver with a time limit, or with one worker and a deterministic limit when effort is counted.

    Two workers get `max_lp` on top: without it their bounds are useless. One worker with linearization level 2
    gives the same plan each time.
    """
    solver = cp_model.CpSolver()
    solver.parameters.random_seed = (settings.seed + seed) % 2**31
    if settings.work is not None or settings.workers == 1:
        solver.parameters.num_workers = 1
        solver.parameters.linearization_level = 2
    else:
        solver.parameters.num_workers = settings.workers
        solver.parameters.subsolvers.append("max_lp")
    if settings.work is not None:
        solver.parameters.max_deterministic_time = seconds if work is None else work
    else:
        solver.parameters.max_time_in_seconds = max(0.05, seconds)
    return solver


@contextmanager
def ended_by(solver: cp_model.CpSolver, stopped: Callable[[], bool]) -> Iterator[None]:
    """Let a stop from outside end what the solver does in this block."""
    done = threading.Event()

    def watch() -> None:
        while not done.wait(POLL_S):
            if stopped():
                solver.stop_search()

    watcher = threading.Thread(target=watch, daemon=True)
    watcher.start()
    try:
        yield
    finally:
        done.set()
        watcher.join()


def run_solver(model: Model, solver: cp_model.CpSolver, stopped: Callable[[], bool]) -> Answer:
    """Solve, looking out for a stop from outside."""
    collect = _Collect(model)
    with ended_by(solver, stopped):
        status = solver.solve(model.cp, collect)
    if status == cp_model.MODEL_INVALID:
        raise RuntimeError(f"the model is not valid: {model.cp.validate()}")
    infeasible = status == cp_model.INFEASIBLE
    optimal = status == cp_model.OPTIMAL
    lineups = tuple(collect.lineups[-MOST_SOLUTIONS:])
    if optimal or status == cp_model.FEASIBLE:
        last = model.lineup(solver)
        if not lineups or not np.array_equal(lineups[-1], last):
            lineups = (*lineups, last)
    usable = not infeasible and np.isfinite(solver.best_objective_bound)
    return Answer(infeasible, optimal, lineups, solver.best_objective_bound / TICKS_PER_S if usable else None)


def surely_infeasible(model: Model, settings: Settings, seconds: float, stopped: Callable[[], bool]) -> bool:
    """Take a second look at "infeasible", with presolve off and another seed: a presolve that errs is known."""
    model.cp.clear_hints()  # type: ignore[no-untyped-call]
    solver = new_solver(settings, seconds, seed=1)
    solver.parameters.cp_model_presolve = False
    return run_solver(model, solver, stopped).infeasible
