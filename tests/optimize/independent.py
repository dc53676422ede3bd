"""A second model of a whole block, written on its own: every sampled stop explicit, for SCIP.

Only the season and its sampled seconds go in. Who may sit where, what schedules are allowed and what they cost,
when each task ends and what a lineup costs are worked out again here from the words of the limits alone. SCIP (with
SoPlex, as OR-Tools ships it) is another engine than the ones the optimiser uses.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta

import numpy as np
from ortools.linear_solver import pywraplp

from lineup.season import Pin, Season, Seat, Task
from lineup.stop_model.stops import ServiceBank, StopModel
from tests.optimize.independent_diary import by_athlete

INF = float("inf")
Terms = dict[int, float]


class Program:
    """Columns and rows of a mixed-integer program, one at a time."""

    def __init__(self) -> None:
        self.cost: list[float] = []
        self.low: list[float] = []
        self.high: list[float] = []
        self.whole: list[int] = []
        self.rows: list[tuple[Terms, float, float]] = []

    def column(self, cost: float = 0.0, low: float = 0.0, high: float = INF, whole: bool = False) -> int:
        self.cost.append(cost)
        self.low.append(low)
        self.high.append(high)
        self.whole.append(int(whole))
        return len(self.cost) - 1

    def choice(self, cost: float = 0.0) -> int:
        return self.column(cost, 0.0, 1.0, whole=True)

    def row(self, terms: Terms, low: float, high: float) -> None:
        self.rows.append((terms, low, high))

    def solve(self, time_s: float) -> float | None:
        """Least cost, or None where nothing is possible.

        Raises
        ------
        TimeoutError
            When the time ran out before the answer was proven.
        """
        solver = pywraplp.Solver.CreateSolver("SCIP")
        kinds = (solver.NumVar, solver.IntVar)
        facts = zip(self.low, self.high, self.whole, strict=True)
        columns = [kinds[whole](low, high, "") for low, high, whole in facts]
        for terms, low, high in self.rows:
            row = solver.RowConstraint(low, high, "")
            for column, value in terms.items():
                row.SetCoefficient(columns[column], value)
        for column, cost in zip(columns, self.cost, strict=True):
            solver.Objective().SetCoefficient(column, cost)
        solver.Objective().SetMinimization()
        solver.SetTimeLimit(int(1000 * time_s))
        exact = pywraplp.MPSolverParameters()
        exact.SetDoubleParam(exact.RELATIVE_MIP_GAP, 0.0)
        status = solver.Solve(exact)
        if status == solver.OPTIMAL:
            return float(solver.Objective().Value())
        if status == solver.INFEASIBLE:
            return None
        raise TimeoutError(f"not proven in {time_s:g} s")


def add(terms: Terms, column: int, value: float) -> None:
    terms[column] = terms.get(column, 0.0) + value


def least_cost(season: Season, model: StopModel, time_s: float = 60.0) -> float | None:
    """Cost of the best lineup of a whole season in seconds, or None where there is none."""
    return Block(season, model).program.solve(time_s)


class Block:
    """The program of one season."""

    def __init__(self, season: Season, model: StopModel) -> None:
        self.season, self.model, self.program = season, model, Program()
        mean = sum(car.priority for car in season.cars.values()) / len(season.cars)
        self.priority = {car.id: car.priority / mean for car in season.cars.values()}
        self.seats = [seat for e in season.entries for seat in season.seats(e.race, e.car)]
        self.sits: dict[Seat, dict[str, int]] = {seat: {} for seat in self.seats}
        for seat in self.seats:
            for athlete in season.athletes:
                cost = self._seat_cost(athlete, seat)
                if cost is not None:
                    self.sits[seat][athlete] = self.program.choice(cost)
            least = 1.0 if season.positions[seat.position].filled == "always" else 0.0
            empty = self.program.column(0.0, 0.0, 1.0 - least)
            self.program.row(dict.fromkeys([*self.sits[seat].values(), empty], 1.0), 1.0, 1.0)
        self._schedules()
        self._team_pins()
        self._places()
        self._changes()
        self._uneven()
        for entry in season.entries:
            for service, count in season.service_counts[entry.race].items():
                self._stops(entry.race, entry.car, service, count * self.priority[entry.car])

    # ------------------------------------------------------------------------------------------- one athlete, one seat

    def _seat_cost(self, athlete: str, seat: Seat) -> float | None:
        """Seconds an athlete in a seat costs beside the stops; None where he may not sit there."""
        season, weights = self.season, self.season.weights
        paid = [self._height(athlete, seat), self._recent(athlete, seat)]
        if not self._cleared(athlete, seat) or not self._available(athlete, seat) or None in paid:
            return None
        if any(p.kind == "never" and p.athlete == athlete and speaks(p, seat) for p in season.pins):
            return None
        cost = sum(part for part in paid if part is not None)
        if season.standing.get((seat.car, seat.position), athlete) != athlete:
            cost += weights.not_standing_s
        if season.athletes[athlete].group == "developing":
            cost -= weights.development_start_s
        for service, count in season.service_counts[seat.race].items():
            bank = self.model.banks[service, season.races[seat.race].tire]
            if seat.position in bank.athletes:
                row = bank.athletes[seat.position].index(athlete)
                cost += self.priority[seat.car] * count * float(bank.penalty_s[seat.position][row])
        return cost

    def _cleared(self, athlete: str, seat: Seat) -> bool:
        race = self.season.races[seat.race]
        day = self.season.local(race.report, race.site).date()
        levels = {
            c.level
            for c in self.season.clearances
            if (c.athlete, c.position) == (athlete, seat.position)
            and (c.series is None or c.series == race.series)
            and (c.since is None or c.since <= day)
        }
        pinned = any(
            p.kind == "must" and p.athlete == athlete and p.position is not None and speaks(p, seat)
            for p in self.season.pins
        )
        return "cleared" in levels or ("training" in levels and pinned)

    def _available(self, athlete: str, seat: Seat) -> bool:
        race = self.season.races[seat.race]
        first, last = (self.season.local(moment, race.site).date() for moment in (race.report, race.released))
        return not any(
            a.athlete == athlete
            and a.first_day <= last
            and (a.last_day is None or a.last_day >= first)
            and (a.status == "out" or seat.position not in a.positions)
            for a in self.season.absences
        )

    def _height(self, athlete: str, seat: Seat) -> float | None:
        need, have = self.season.positions[seat.position].min_height_m, self.season.athletes[athlete].height_m
        if need is None or have is None or have >= need - 1e-6:
            return 0.0
        limit = self.season.limits.get("height")
        return None if limit is None else limit.price_s

    def _recent(self, athlete: str, seat: Seat) -> float | None:
        limit = self.season.limits.get("recent_grades")
        if limit is None:
            return 0.0
        race = self.season.races[seat.race]
        last = self.season.local(race.report, race.site).date()
        first = last - timedelta(days=(limit.days or 1) - 1)
        grades = self.season.grades
        rows = zip(grades["athlete"], grades["position"], grades["date"], grades["stop"], strict=True)
        mine = {stop for a, p, on, stop in rows if (a, p) == (athlete, seat.position) and first <= on.date() <= last}
        short = (limit.at_least or 0.0) - len(mine)
        return 0.0 if short <= 0 else None if limit.price_s is None else limit.price_s * short

    # ------------------------------------------------------------------------------------------------------- schedules

    def _at(self, athlete: str | None, race: str, car: str | None = None) -> Terms:
        """Columns of an athlete's seats in a race, on one car or any."""
        return {
            sits[athlete]: 1.0
            for seat, sits in self.sits.items()
            if athlete is not None and athlete in sits and seat.race == race and car in (None, seat.car)
        }

    def _schedules(self) -> None:
        """Exactly one schedule per athlete, which says at which races he sits somewhere."""
        races = {a: tuple(r for r in self.season.races if self._at(a, r)) for a in self.season.athletes}
        self.starters = {a for a in races if races[a]}
        for athlete, options in by_athlete(self.season, races, self.starters).items():
            chosen = [(self.program.choice(cost), worked) for worked, cost in options]
            self.program.row({column: 1.0 for column, _ in chosen} or {self.program.column(high=0.0): 1.0}, 1.0, 1.0)
            for race in races[athlete]:
                row = self._at(athlete, race)
                row |= {column: -1.0 for column, worked in chosen if race in worked}
                self.program.row(row, 0.0, 0.0)

    def _team_pins(self) -> None:
        for pin in self.season.pins:
            for race in self.season.races:
                matching = [seat for seat in self.seats if seat.race == race and speaks(pin, seat)]
                if not matching or pin.kind == "never":
                    continue
                if pin.kind == "must":
                    mine = {self.sits[s][pin.athlete]: 1.0 for s in matching if pin.athlete in self.sits[s]}
                    self.program.row(mine or {self.program.column(high=0.0): 1.0}, 1.0, INF)
                    continue
                for car in self.season.cars:
                    one, two = self._at(pin.athlete, race, car), self._at(pin.other, race, car)
                    if pin.kind == "apart":
                        self.program.row(one | two, 0.0, 1.0)
                    else:
                        self.program.row(one | dict.fromkeys(two, -1.0), 0.0, 0.0)

    def _places(self) -> None:
        limit = self.season.limits.get("travel_places")
        for race in self.season.races.values():
            people = {c: 1.0 for seat in self.seats if seat.race == race.id for c in self.sits[seat].values()}
            places = race.travel_places if race.travel_places is not None else limit and limit.at_most
            price_s = None if limit is None else limit.price_s
            if places is not None:
                beyond = self.program.column(price_s or 0.0, 0.0, INF if price_s is not None else 0.0)
                self.program.row(people | {beyond: -1.0}, -INF, places)

    def _changes(self) -> None:
        """A seat changes when one athlete sits there now and another one sat there at the car's race before."""
        price = self.season.weights.crew_change_s
        order = sorted(self.season.races.values(), key=lambda race: race.report)
        for car in self.season.cars:
            before = self._last_crew(car)
            for race in (race.id for race in order if car in self.season.cars_in[race.id]):
                for seat in self.season.seats(race, car):
                    changed = self.program.column(price, 0.0, 1.0)
                    for athlete, now in self.sits[seat].items():
                        row, then = {changed: 1.0, now: -1.0}, before.get(seat.position)
                        if isinstance(then, Seat):
                            row |= {c: -1.0 for other, c in self.sits[then].items() if other != athlete}
                            self.program.row(row, -1.0, INF)
                        elif then is not None and then != athlete:
                            self.program.row(row, 0.0, INF)
                before = {seat.position: seat for seat in self.season.seats(race, car)}

    def _last_crew(self, car: str) -> Mapping[str, Seat | str]:
        rows = [w for w in self.season.worked if w.car == car and w.race not in self.season.races]
        last = max(rows, key=lambda w: w.report).race if rows else None
        return {w.position: w.athlete for w in rows if w.race == last and w.position is not None}

    def _uneven(self) -> None:
        for athlete in self.starters:
            away = self.program.column(self.season.weights.uneven_s)
            share = len(self.seats) / len(self.starters)
            starts = {c: 1.0 for race in self.season.races for c in self._at(athlete, race)}
            self.program.row(starts | {away: -1.0}, -INF, share)
            self.program.row(starts | {away: 1.0}, share, INF)

    # ----------------------------------------------------------------------------------------------------------- stops

    def _stops(self, race: str, car: str, service: str, weight: float) -> None:
        """One column per task and scenario for when it is done, one per scenario for the stop."""
        program, weights = self.program, self.season.weights
        bank = self.model.banks[service, self.season.races[race].tire]
        tasks, number = self.season.choreographies[service].tasks, bank.scenarios
        done_by = [self._who(race, car, task, bank) for task in tasks]
        tail = weight * weights.tail / (weights.tail_share * number)
        edge = program.column(weight * weights.tail, -INF) if weights.tail else None
        mean: Terms = {}
        for s in range(number):
            stop = program.column(weight * (1 - weights.tail) / number, -INF)
            mean[stop] = 1.0 / number
            finish: dict[str, int] = {}
            for task, who in zip(tasks, done_by, strict=True):
                finish[task.id] = program.column(0.0, -INF)
                own = {column: -float(seconds[s]) for column, seconds in who}
                starts = [{finish[other]: -1.0} for other in task.after] or [{}]
                for begin in starts:
                    program.row({finish[task.id]: 1.0} | begin | own, 0.0, INF)
                if task.release:
                    program.row({stop: 1.0, finish[task.id]: -1.0}, 0.0, INF)
            if edge is not None:
                program.row({program.column(tail): 1.0, edge: 1.0, stop: -1.0}, 0.0, INF)
        most = self.season.cars[car].slowest_s
        if most is not None:
            program.row(mean, -INF, most)

    def _who(self, race: str, car: str, task: Task, bank: ServiceBank) -> list[tuple[int, np.ndarray]]:
        """Columns that are 1 when somebody does a task, with the seconds it then takes in each scenario."""
        same = [other.id for other in bank.choreography.tasks if other.position == task.position]
        rank = same.index(task.id)
        if task.position is None:
            always = self.program.column(0.0, 1.0, 1.0)
            own = [(always, bank.car[rank])]
        else:
            sits = self.sits[Seat(race, car, task.position)]
            rows = bank.athletes[task.position]
            own = [(c, bank.durations[task.position][rows.index(a), rank]) for a, c in sits.items()]
        for other, wanted in ((task.only_with, True), (task.only_without, False)):
            if other is not None:
                filled = dict.fromkeys(self.sits[Seat(race, car, other)].values(), 1.0)
                own = [(self._both(column, filled, wanted), seconds) for column, seconds in own]
        return own

    def _both(self, column: int, filled: Terms, wanted: bool) -> int:
        """Column that is 1 when `column` is and a seat is filled, or empty where that is wanted."""
        both, sign = self.program.choice(), 1.0 if wanted else -1.0
        rest = 0.0 if wanted else 1.0  # the seat's state is rest + sign * (sum of filled)
        self.program.row({both: 1.0, column: -1.0}, -INF, 0.0)
        self.program.row({both: 1.0} | {c: -sign * v for c, v in filled.items()}, -INF, rest)
        row = {both: 1.0} | {c: -sign * v for c, v in filled.items()}
        add(row, column, -1.0)
        self.program.row(row, rest - 1.0, INF)
        return both


def speaks(pin: Pin, seat: Seat) -> bool:
    """Whether a pin speaks of a seat: what it leaves open holds for all."""
    return (
        (pin.race is None or pin.race == seat.race)
        and (pin.car is None or pin.car == seat.car)
        and (pin.position is None or pin.position == seat.position)
    )
