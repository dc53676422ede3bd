"""Find good lineups: a first one under linear costs, then walks that anneal it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import linear_sum_assignment

from lineup.optimize.board import favour
from lineup.optimize.bounding import Bounding
from lineup.optimize.build import build_model
from lineup.optimize.cp import new_solver, run_solver, surely_infeasible
from lineup.optimize.crew_tables import CrewTables
from lineup.optimize.cuts import uniform_mix
from lineup.optimize.exact import SECOND_LOOK_S, repair
from lineup.optimize.frame import EMPTY, Floats, Lineup
from lineup.optimize.model import floor_ticks
from lineup.optimize.run import Run
from lineup.optimize.walk import Walk, Window

REPAIRS = 30
FIRST_WORK = 4.0
MOVES = (4_000, 20_000, 80_000, 200_000)  # per free seat, of the first walks and the later ones
DOUBLED_EVERY, MOST_DOUBLED = 9, 4  # so many later walks make the next ones twice as long, so many times
HOT, COLD = (0.01, 0.0035, 0.0035), 0.0003  # temperatures as shares of the mean cost of an entry: of the first walks,
WARM = (0.0018, 0.0012, 0.0025)  # and in turn of later ones, which keep most of the best lineup they begin with
WHOLE = 16  # races that are walked all at once; of more, so many in a row:
WINDOW = 8
LEAST_GAIN_S = 1e-6
POLISHING = 10_000  # moves per free seat of a walk downhill at the end of each
FROZEN_S = 1e-6
NEAR = 5e-4  # how much dearer than the best so far a lineup may be to be polished, as a share
TO_END = 0.9  # share of the time left that a walk may take
TIRED_S = (0.0, 0.5, 2.0)  # tried in turn: seconds of each race worked so far, for a lineup race by race
FIRST_GAP = 0.02  # a first lineup this close to the best under linear costs will do


def mean_costs(run: Run) -> Floats:
    """Stop seconds of each athlete in each seat, by the bounds that touch at the mean of the candidates."""
    frame = run.bench.frame
    table = np.zeros(frame.may.shape)
    for entry in frame.entries:
        cut = run.bench.pool.at_mix(entry.kind, uniform_mix(entry, frame.may))
        table[:, entry.seats] = cut.for_entry(entry)[1].T
    return table


def race_by_race(run: Run, stop_costs: Floats) -> None:
    """Offer the run a lineup made race by race by linear assignment, those who worked a lot held back as need be.

    Takes seconds where a model of the whole block would take minutes, but rules that tie athletes together, or ask for
    something over the block, are left to chance.
    """
    frame, schedules = run.bench.frame, run.bench.schedules
    costs = (stop_costs + frame.cost).T
    for tired_s in TIRED_S:
        lineup = np.full(len(frame.seats), EMPTY)
        worked = [0] * len(frame.athletes)
        for r, seats in enumerate(frame.seats_of):
            rested = np.array([not schedules.of(a, races | 1 << r).broken for a, races in enumerate(worked)])
            tired = np.array([tired_s * races.bit_count() for races in worked])
            asked = np.where(frame.may[:, seats].T & rested, costs[seats] + tired, np.inf)
            nobody = np.full((len(seats), len(seats)), np.inf)
            np.fill_diagonal(nobody, np.where(frame.optional[seats], frame.empty_cost[seats], np.inf))
            try:
                rows, columns = linear_sum_assignment(np.hstack([asked, nobody]))
            except ValueError:  # too few people for this race
                break
            for k, a in zip(seats[rows].tolist(), columns.tolist(), strict=True):
                if a < len(worked):
                    lineup[k] = a
                    worked[a] |= 1 << r
        else:
            run.offer(lineup)
        if run.best is not None or run.over:
            return


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
        solver.parameters.relative_gap_limit = FIRST_GAP
        answer = run_solver(model, solver, lambda: run.stopped)
        if answer.infeasible:
            look_s = min(SECOND_LOOK_S, run.left + 5.0)
            run.impossible = run.best is None and surely_infeasible(model, run.settings, look_s, lambda: run.stopped)
            return
        if run.offer_all(reversed(answer.lineups)):
            return
        if not answer.lineups:
            seconds *= 2.0
        elif not sum(repair(run, model, lineup) for lineup in answer.lineups):
            return


@dataclass(eq=False)
class Search:
    """Improves the run's best lineup by walks, one after the other; a seed gives the same walks."""

    run: Run
    bounding: Bounding
    tables: CrewTables
    seed: int = 0
    number: int = 0
    window: Window | None = None
    walk: Walk | None = None
    began_at: float = 0.0
    tried: int = 0
    since: float = field(init=False)

    def __post_init__(self) -> None:
        self.since = self.run.seconds

    def advance(self, moves: int) -> list[Lineup]:
        """Try so many moves, or those left of this walk; return what seems better than the run's best lineup."""
        run = self.run
        if run.best is None or run.value is None:
            return []
        if self.walk is None:
            self.walk = self._next(run.best, run.value)
            self.began_at = run.value
        before = self.walk.done
        self.walk.advance(moves, lambda: run.over)
        self.tried += self.walk.done - before
        better = [self.walk.best] if self.began_at - self.walk.gain < run.value - LEAST_GAIN_S else []
        if self.walk.ended:
            self.walk = None if self.walk.sharp else self._polish(self.walk)
            self.number += self.walk is None
        return better

    def _polish(self, walk: Walk) -> Walk | None:
        """Cold walk on exact costs from where another one got, if that is near the best so far."""
        run, bench = self.run, self.run.bench
        for entry in bench.frame.entries:
            bench.values.learn(entry.kind, [bench.crew(entry, walk.best)])
        cost = bench.value(walk.best)
        if self.window is None or run.value is None or cost > run.value + NEAR * abs(run.value):
            return None
        self.began_at = cost
        moves = POLISHING * len(self.window.board.free)
        return Walk(self.window, walk.best, FROZEN_S, FROZEN_S, moves, walk.seed, sharp=True)

    def _next(self, best: Lineup, value: float) -> Walk:
        """Next walk from the best lineup: hot at first, later warm; over a window of races if there are many."""
        frame = self.run.bench.frame
        races = len(frame.problem.races)
        if self.window is None or races > WHOLE:
            first = 0 if races <= WHOLE else (self.number * WINDOW // 2) % (races - WINDOW // 2)
            inside = range(races) if races <= WHOLE else range(first, min(first + WINDOW, races))
            self.window = Window(self.run.bench, self.bounding.pricing, self.tables, inside, best)
        if self.bounding.shares is not None:
            self.window.board = favour(self.window.board, self.bounding.shares)
        scale = abs(value) / max(1, len(frame.entries))
        later = self._turn - len(HOT)
        hot = (HOT[self._turn] if later < 0 else WARM[later % len(WARM)]) * scale
        seed = self.seed * 1_000_003 + self.number
        return Walk(self.window, best, hot, COLD * scale, self._moves(len(self.window.board.free)), seed)

    @property
    def _turn(self) -> int:
        """How often every race has been walked, about."""
        races = len(self.run.bench.frame.problem.races)
        return self.number if races <= WHOLE else self.number // math.ceil(races / (WINDOW // 2) - 1)

    def _moves(self, seats: int) -> int:
        """Count the moves of the next walk over so many free seats: ever more, while there is time to end it."""
        usual = MOVES[min(self._turn, len(MOVES) - 1)] * seats
        if self.run.settings.work is not None or self._turn < len(HOT):
            return usual
        longer = usual << min(MOST_DOUBLED, (self._turn - len(HOT)) // DOUBLED_EVERY)
        each_second = self.tried / max(self.run.seconds - self.since, 1e-3)
        return int(min(longer, max(usual, each_second * TO_END * self.run.left)))
