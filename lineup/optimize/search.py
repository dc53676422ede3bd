"""Find good lineups: a first one under linear costs, then annealing and exact re-optimisation of whole positions."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from lineup.optimize.anneal import Annealing
from lineup.optimize.block import Block
from lineup.optimize.cp import new_solver, run_solver, surely_infeasible
from lineup.optimize.cuts import uniform_mix
from lineup.optimize.exact import SECOND_LOOK_S, repair
from lineup.optimize.frame import EMPTY, Floats, Lineup
from lineup.optimize.model import build_model, floor_ticks
from lineup.optimize.pricing import Pricing
from lineup.optimize.run import Run

REPAIRS = 30
FIRST_WORK = 4.0
MOVES = 20_000  # of one stretch of annealing
HOT, COLD = 0.004, 0.00015  # temperatures as shares of the mean cost of an entry
COOLER = 0.75  # each walk begins this much cooler than the one before
STRETCHES = 25  # of one walk
BLOCK_S = 3.0


def mean_costs(run: Run) -> Floats:
    """Stop seconds of each athlete in each seat, by the bounds that touch at the mean of the candidates."""
    frame = run.bench.frame
    table = np.zeros(frame.may.shape)
    for entry in frame.entries:
        cut = run.bench.pool.at_mix(entry.kind, uniform_mix(entry, frame.may))
        table[:, entry.seats] = cut.for_entry(entry)[1].T
    return table


def first_lineup(run: Run, stop_costs: Floats, seconds: float) -> None:
    """Offer the run good lineups under linear stop costs, shape (athletes, seats); find out if there is none."""
    model = build_model(run.bench.problem, values=run.bench.values, schedules=run.bench.schedules)
    for (k, a), variable in model.x.items():
        model.pay(floor_ticks(float(stop_costs[a, k])), variable)
    for theta in model.theta.values():
        model.cp.add(theta == 0)
    model.minimize()
    for number in range(REPAIRS):
        if run.over:
            return
        if run.best is not None:
            model.hint(run.best)
        solver = new_solver(run.settings, min(seconds, run.left), seed=number, work=FIRST_WORK)
        solver.parameters.relative_gap_limit = 0.001
        answer = run_solver(model, solver, lambda: run.stopped)
        if answer.infeasible:
            look_s = min(SECOND_LOOK_S, run.left + 5.0)
            run.impossible = run.best is None and surely_infeasible(model, run.settings, look_s, lambda: run.stopped)
            return
        if run.offer_all(reversed(answer.lineups)):
            return
        if not sum(repair(run, model, lineup) for lineup in answer.lineups) and answer.lineups:
            return


@dataclass(eq=False)
class Search:
    """Improves the run's best lineup, a stretch at a time; effort is counted in moves, so that it can be repeated."""

    run: Run
    pricing: Pricing
    walks: int = 0
    stretch: int = 0
    walk: Annealing | None = None
    rng: np.random.Generator = field(init=False)

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng(self.run.settings.seed)

    def step(self) -> None:
        """Take one stretch of annealing; at the end of a walk, re-optimise every position."""
        run = self.run
        if run.best is None or run.value is None:
            return
        if self.walk is None:
            self.walk = Annealing(run.bench, run.best, int(self.rng.integers(2**31)))
        scale = abs(run.value) / max(1, len(run.bench.frame.entries))
        hot, cold = HOT * scale * COOLER**self.walks, COLD * scale
        ratio = (cold / max(hot, cold)) ** (1 / STRETCHES)
        begin = max(hot, cold) * ratio**self.stretch
        self.walk.walk(begin, begin * ratio, MOVES, lambda: run.over)
        if self.walk.best_value < run.value - 1e-6:
            run.offer(self.walk.best)
        self.stretch += 1
        if self.stretch == STRETCHES:
            self.walk, self.stretch, self.walks = None, 0, self.walks + 1
            self.polish()

    def polish(self) -> None:
        """Re-optimise each position with the others held, until none improves."""
        run = self.run
        positions = list(dict.fromkeys(seat.position for seat in run.bench.frame.seats))
        quiet = 0
        while quiet < len(positions) and not run.over:
            for position in self.rng.permutation(positions):
                quiet = 0 if self._position(str(position)) else quiet + 1
                if run.over or quiet >= len(positions):
                    return

    def _position(self, position: str) -> bool:
        run, frame = self.run, self.run.bench.frame
        if run.best is None or run.value is None:
            return False
        free = np.array([k for k, seat in enumerate(frame.seats) if seat.position == position], dtype=np.intp)
        block = Block(run.bench, self.pricing, run.best, free, int(self.rng.integers(2**31)), run.settings.work is None)
        start = np.zeros(len(frame.seats))
        held = [k for k in free if run.best[k] != EMPTY]
        start[held] = block.costs[run.best[held], held]
        before = run.value
        found: list[Lineup] = block.solve(start, min(BLOCK_S, run.left), lambda: run.over)
        return run.offer_all(found) > 0 and run.value < before - 1e-6
