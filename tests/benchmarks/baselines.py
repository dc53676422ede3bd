"""Other ways to plan the seasons of `generate.make_season`: the textbook model in two solvers, averages week by week.

They know the rules that those seasons have: clearances and absences, one seat at a time, weekends in a row (hard),
crew changes and travel. Races lie a week apart, so nights of rest never bind and travel adds up race by race.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass, field

import highspy
import numpy as np
from ortools.sat.python import cp_model
from scipy.optimize import linear_sum_assignment

from lineup.plan import Assignment
from lineup.problem import Problem

INF = float("inf")
TICKS = 1000  # of CP-SAT, per second of stop time
SHARES = 10_000  # of CP-SAT's objective, per unit of weight
Terms = dict[int, float]


@dataclass
class Attempt:
    """What one method did: its plan, its own value and bound on its own scenarios, and when it knew what.

    `trace` holds (wall seconds, value, bound), infinite where not known yet.
    """

    method: str
    assignments: tuple[Assignment, ...] = ()
    value_s: float = INF
    bound_s: float = -INF
    seconds: float = 0.0
    trace: list[tuple[float, float, float]] = field(default_factory=list)
    note: str = ""

    @property
    def gap(self) -> float:
        """(value - bound) / value; infinite where either is missing."""
        return gap_of(self.value_s, self.bound_s)


def gap_of(value: float, bound: float) -> float:
    """(value - bound) / |value|; infinite where either is missing."""
    return max(0.0, value - bound) / abs(value) if np.isfinite(value) and np.isfinite(bound) else INF


class Textbook:
    """Every sampled stop explicit: one column per task and scenario says when it is done."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.cost: list[float] = []
        self.whole: list[bool] = []
        self.seconds: list[bool] = []  # columns in seconds of stop time, the others are choices
        self.rows: list[tuple[Terms, float, float]] = []
        self.sits = {
            (seat, athlete): self._column(self._seat_cost(seat.race, athlete) + problem.seat_costs[seat, athlete], True)
            for seat in problem.seats
            for athlete in problem.eligible[seat]
        }
        self._seats()
        self._weekends_in_a_row()
        self._changes()
        for entry in problem.entries:
            self._stops(entry.race, entry.car)

    def plan(self, values: np.ndarray) -> tuple[Assignment, ...]:
        """Turn column values into a plan."""
        chosen = [(seat, athlete) for (seat, athlete), column in self.sits.items() if values[column] > 0.5]
        return tuple(Assignment(seat.race, seat.car, seat.position, athlete) for seat, athlete in chosen)

    def _column(self, cost: float, whole: bool = False, seconds: bool = False) -> int:
        self.cost.append(cost)
        self.whole.append(whole)
        self.seconds.append(seconds)
        return len(self.cost) - 1

    def _seat_cost(self, race: str, athlete: str) -> float:
        return self.problem.rules.assess(athlete, (race,)).cost_s

    def _seats(self) -> None:
        for seat in self.problem.seats:
            self.rows.append(({self.sits[seat, a]: 1.0 for a in self.problem.eligible[seat]}, 1.0, 1.0))
        for athlete in self.problem.starters:
            for race in self.problem.races:
                self.rows.append((self._works(athlete, race.id), 0.0, 1.0))

    def _works(self, athlete: str, race: str) -> Terms:
        return {c: 1.0 for (seat, a), c in self.sits.items() if a == athlete and seat.race == race}

    def _weekends_in_a_row(self) -> None:
        limit = self.problem.season.limits.get("weekends_in_a_row")
        most = int(limit.at_most or 0) if limit is not None else len(self.problem.races)
        races = [race.id for race in self.problem.races]
        for athlete in self.problem.starters:
            for first in range(len(races) - most):
                run = [self._works(athlete, race) for race in races[first : first + most + 1]]
                self.rows.append(({c: v for part in run for c, v in part.items()}, -INF, float(most)))

    def _changes(self) -> None:
        price = self.problem.season.weights.crew_change_s
        races = [race.id for race in self.problem.races]
        for seat in self.problem.seats:
            before = self.problem.pricer.previous[seat]
            if before is None or seat.race == races[0]:
                continue
            changed = self._column(price)
            for athlete in self.problem.eligible[seat]:
                then = self.sits.get((before, athlete))  # type: ignore[arg-type]
                row = {changed: 1.0, self.sits[seat, athlete]: -1.0} | ({} if then is None else {then: 1.0})
                self.rows.append((row, 0.0, INF))

    def _stops(self, race: str, car: str) -> None:
        seats = {seat.position: seat for seat in self.problem.seats if (seat.race, seat.car) == (race, car)}
        for bank, count in self.problem.services(race):
            weight = self.problem.pricer.priority[car] * count / bank.scenarios
            ranks = {t.id: _rank(bank.choreography.tasks, n) for n, t in enumerate(bank.choreography.tasks)}
            for s in range(bank.scenarios):
                stop, done = self._column(weight, seconds=True), {}
                for task in bank.choreography.tasks:
                    done[task.id] = self._column(0.0, seconds=True)
                    own, low = {}, 0.0
                    if task.position is None:
                        low = float(bank.car[ranks[task.id], s])
                    else:
                        for athlete in self.problem.eligible[seats[task.position]]:
                            row = bank.rows[task.position][athlete]
                            taken = bank.durations[task.position][row, ranks[task.id], s]
                            own[self.sits[seats[task.position], athlete]] = -float(taken)
                    for start in [{done[other]: -1.0} for other in task.after] or [{}]:
                        self.rows.append(({done[task.id]: 1.0} | start | own, low, INF))
                    if task.release:
                        self.rows.append(({stop: 1.0, done[task.id]: -1.0}, 0.0, INF))


def _rank(tasks: tuple, number: int) -> int:  # type: ignore[type-arg]
    return sum(task.position == tasks[number].position for task in tasks[:number])


# ------------------------------------------------------------------------------------------------------------- solvers


def textbook_in_highs(problem: Problem, time_s: float, workers: int) -> Attempt:
    """The textbook model in HiGHS, its own presolve, cuts and heuristics; building the model counts."""
    began, attempt = time.monotonic(), Attempt("textbook, HiGHS")
    model = Textbook(problem)
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = len(model.cost), len(model.rows)
    lp.col_cost_ = np.array(model.cost)
    lp.col_lower_ = np.zeros(len(model.cost))
    lp.col_upper_ = np.where(model.whole, 1.0, highspy.kHighsInf)
    lp.integrality_ = [highspy.HighsVarType.kInteger if w else highspy.HighsVarType.kContinuous for w in model.whole]
    lp.row_lower_ = np.array([low for _, low, _ in model.rows])
    lp.row_upper_ = np.array([high for _, _, high in model.rows])
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_ = np.cumsum([0, *(len(terms) for terms, _, _ in model.rows)])
    lp.a_matrix_.index_ = np.array([c for terms, _, _ in model.rows for c in terms])
    lp.a_matrix_.value_ = np.array([v for terms, _, _ in model.rows for v in terms.values()])
    highspy.Highs.resetGlobalScheduler(True)  # else the threads of the first call in this process hold for all
    highs = highspy.Highs()
    highs.setOptionValue("output_flag", False)
    highs.setOptionValue("threads", workers)
    highs.setOptionValue("mip_rel_gap", 0.0)
    highs.passModel(lp)

    def note(event: highspy.HighsCallbackEvent) -> None:
        facts = event.data_out
        attempt.trace.append((time.monotonic() - began, _known(facts.mip_primal_bound), _known(facts.mip_dual_bound)))

    for event in (highs.cbMipImprovingSolution, highs.cbMipInterrupt):
        event += note
    highs.setOptionValue("time_limit", max(0.1, time_s - (time.monotonic() - began)))
    if highs.run() == highspy.HighsStatus.kError:
        raise RuntimeError("HiGHS could not run")
    facts = highs.getInfo()
    attempt.value_s, attempt.bound_s = _known(facts.objective_function_value), _known(facts.mip_dual_bound)
    attempt.seconds = time.monotonic() - began
    if facts.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible:
        attempt.assignments = model.plan(np.array(highs.getSolution().col_value))
    else:
        attempt.value_s, attempt.note = INF, "no plan found"
    attempt.trace.append((attempt.seconds, attempt.value_s, attempt.bound_s))
    return attempt


def _known(figure: float) -> float:
    return figure if abs(figure) < 1e20 else float(np.copysign(INF, figure))


class _Watch(cp_model.CpSolverSolutionCallback):
    """Remembers values and bounds; called on solver threads, so it only appends."""

    def __init__(self, began: float, trace: list[tuple[float, float, float]]) -> None:
        super().__init__()
        self.began, self.trace = began, trace

    def on_solution_callback(self) -> None:
        scale = TICKS * SHARES
        self.trace.append(
            (time.monotonic() - self.began, self.objective_value / scale, self.best_objective_bound / scale)
        )


def textbook_in_cp_sat(problem: Problem, time_s: float, workers: int, seed: int = 1) -> Attempt:
    """The textbook model in CP-SAT with `max_lp`, seconds rounded to milliseconds; building the model counts."""
    began, attempt = time.monotonic(), Attempt("textbook, CP-SAT")
    model = Textbook(problem)
    cp = cp_model.CpModel()
    columns = [cp.new_int_var(0, 120 * TICKS, "") if seconds else cp.new_bool_var("") for seconds in model.seconds]
    for terms, low, high in model.rows:
        scale = TICKS if any(model.seconds[c] for c in terms) else 1
        total = sum(round(v if model.seconds[c] else v * scale) * columns[c] for c, v in terms.items())
        if np.isfinite(low):
            cp.add(total >= round(low * scale))
        if np.isfinite(high):
            cp.add(total <= round(high * scale))
    scales = [SHARES if seconds else SHARES * TICKS for seconds in model.seconds]
    cp.minimize(sum(round(c * scale) * x for c, scale, x in zip(model.cost, scales, columns, strict=True) if c))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers, solver.parameters.random_seed = workers, seed
    solver.parameters.subsolvers.append("max_lp")
    solver.parameters.max_time_in_seconds = max(0.1, time_s - (time.monotonic() - began))
    bounds: list[tuple[float, float]] = []
    solver.best_bound_callback = lambda bound: bounds.append((time.monotonic() - began, bound / (TICKS * SHARES)))
    status = solver.solve(cp, _Watch(began, attempt.trace))
    attempt.seconds = time.monotonic() - began
    attempt.bound_s = max((bound for _, bound in bounds), default=-INF)
    if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        attempt.value_s = solver.objective_value / (TICKS * SHARES)
        attempt.bound_s = solver.best_objective_bound / (TICKS * SHARES)
        attempt.assignments = model.plan(np.array([solver.value(x) for x in columns]))
    else:
        attempt.note = "no plan found"
    attempt.trace = merged(attempt.trace, bounds)
    attempt.trace.append((attempt.seconds, attempt.value_s, attempt.bound_s))
    return attempt


def merged(
    values: list[tuple[float, float, float]], bounds: list[tuple[float, float]]
) -> list[tuple[float, float, float]]:
    """Best value and best bound known at each moment that either changed."""
    events = sorted([*values, *((at, INF, bound) for at, bound in bounds)])
    best, bound, known = INF, -INF, []
    for at, value, low in events:
        best, bound = min(best, value), max(bound, low)
        known.append((at, best, bound))
    return known


# ------------------------------------------------------------------------------------------------------------ averages


def averages_week_by_week(problem: Problem) -> Attempt:
    """Each race on its own, in order: the assignment with the smallest sum of average splits among those rested."""
    began, attempt = time.monotonic(), Attempt("averages, week by week")
    limit = problem.season.limits.get("weekends_in_a_row")
    most = int(limit.at_most or 0) if limit is not None else len(problem.races)
    worked: list[set[str]] = []
    chosen: list[Assignment] = []
    for number, race in enumerate(problem.races):
        tired = set.intersection(*worked[-most:]) if len(worked) >= most else set()
        people = [athlete for athlete in problem.starters if athlete not in tired]
        seats = [seat for seat in problem.seats if seat.race == race.id]
        costs = np.full((len(people), len(seats)), 1e6)
        for k, seat in enumerate(seats):
            for a, athlete in enumerate(people):
                if athlete in problem.eligible[seat]:
                    costs[a, k] = _mean_splits(problem, race.id, seat.car, seat.position, athlete)
        rows, columns = linear_sum_assignment(costs)
        if len(rows) < len(seats) or costs[rows, columns].max() >= 1e6:
            attempt.note = f"no rested crew in week {number + 1} of {len(problem.races)}"
            attempt.seconds = time.monotonic() - began
            return attempt
        here = [(seats[k], people[a]) for a, k in zip(rows, columns, strict=True)]
        chosen += [Assignment(seat.race, seat.car, seat.position, athlete) for seat, athlete in here]
        worked.append({athlete for _, athlete in here})
    attempt.assignments, attempt.seconds = tuple(chosen), time.monotonic() - began
    attempt.value_s = problem.pricer.value(attempt.assignments)
    return attempt


def _mean_splits(problem: Problem, race: str, car: str, position: str, athlete: str) -> float:
    return problem.pricer.priority[car] * sum(
        count * float(bank.durations[position][bank.rows[position][athlete]].mean(axis=1).sum())
        for bank, count in problem.services(race)
        if position in bank.rows
    )


def scenario_values(problem: Problem, assignments: tuple[Assignment, ...]) -> Iterator[np.ndarray]:
    """Weighted stop seconds of each entry's services in each scenario, shape (scenarios,) each."""
    for entry, crew in problem.pricer.crews(assignments).items():
        for bank, count in problem.services(entry.race):
            yield problem.pricer.priority[entry.car] * count * bank.stop_times(bank.crew_row(crew))[0]
