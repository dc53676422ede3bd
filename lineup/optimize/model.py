"""The lineup as a constraint-programming model: one function per rule, each with a label and a switch of its own."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from ortools.sat.python import cp_model

from lineup.optimize.crews import CrewValues
from lineup.optimize.cuts import KindCut
from lineup.optimize.frame import EMPTY, EntryFrame, Frame, Lineup
from lineup.optimize.schedules import Schedules
from lineup.problem import Problem

TICKS_PER_S = 100_000  # the solver's integers: a hundredth of a millisecond
ENFORCED_SUM = 2**31  # ortools 9.15 overflows when an enforced row's coefficients sum past this
PLAIN_SUM = 2**60
Terms = list[tuple[int, cp_model.IntVar]]


@dataclass(frozen=True, slots=True)
class Switch:
    """A rule, or one fact behind it, that can be taken off: its literal, its plain-language label and ids."""

    literal: cp_model.IntVar
    label: str
    ids: tuple[str, ...]


@dataclass(eq=False)
class Model:
    """A model under construction, and what its variables stand for.

    Attributes
    ----------
    x : athlete a works seat k, keyed (k, a). empty : seat k has nobody. works : athlete a works race r, keyed (r, a).
    theta : ticks that the stops of an entry cost at least, by entry.
    switches : by name, filled when the model was asked for switches: "rule" or "rule:ids".
    objective : (ticks, variable) pairs of everything that costs.
    lifted : (class, races) of schedules whose full cost has been added.
    """

    frame: Frame
    values: CrewValues
    schedules: Schedules
    with_switches: bool
    may: NDArray[np.bool_]
    cp: cp_model.CpModel = field(default_factory=cp_model.CpModel)
    x: dict[tuple[int, int], cp_model.IntVar] = field(default_factory=dict)
    empty: dict[int, cp_model.IntVar] = field(default_factory=dict)
    works: dict[tuple[int, int], cp_model.IntVar] = field(default_factory=dict)
    theta: dict[int, cp_model.IntVar] = field(default_factory=dict)
    extra: dict[int, cp_model.IntVar] = field(default_factory=dict)
    switches: dict[str, Switch] = field(default_factory=dict)
    objective: list[tuple[int, cp_model.IntVar]] = field(default_factory=list)
    lifted: set[tuple[int, int]] = field(default_factory=set)

    @property
    def problem(self) -> Problem:
        """The problem this is a model of."""
        return self.frame.problem

    def switch(self, name: str, label: str, ids: tuple[str, ...] = ()) -> list[cp_model.IntVar]:
        """Literals that enforce a row of this rule: none unless the model has switches."""
        if not self.with_switches:
            return []
        if name not in self.switches:
            self.switches[name] = Switch(self.cp.new_bool_var(name), label, ids)
        return [self.switches[name].literal]

    def row(self, terms: Terms, low: int | None, high: int | None, enforce: list[cp_model.IntVar]) -> None:
        """Add low <= Σ terms <= high, with the sizes of its numbers checked first."""
        size = sum(abs(c) for c, _ in terms) + max(abs(low or 0), abs(high or 0))
        most = ENFORCED_SUM if enforce else PLAIN_SUM
        if size >= most:
            raise OverflowError(f"a row of the model sums to {size}, the solver is safe below {most}")
        left = cp_model.LinearExpr.weighted_sum([v for _, v in terms], [c for c, _ in terms])
        if low is not None and low == high:
            self.cp.add(left == low).only_enforce_if(enforce)
            return
        if low is not None:
            self.cp.add(left >= low).only_enforce_if(enforce)
        if high is not None:
            self.cp.add(left <= high).only_enforce_if(enforce)

    def pay(self, ticks: int, variable: cp_model.IntVar) -> None:
        """Add a cost to the objective."""
        if ticks:
            self.objective.append((ticks, variable))

    def works_in(self, athlete: int, races: Iterable[int]) -> Terms:
        """Terms that count the races an athlete works, out of `races`."""
        return [(1, self.works[r, athlete]) for r in races if (r, athlete) in self.works]

    def add_cut(self, entry: EntryFrame, cut: KindCut) -> None:
        """Add theta >= cut, floored to ticks so that it stays below the true cost of every crew.

        The least coefficient of a seat that must be filled moves into the constant: smaller numbers, same cut.
        """
        seconds, coefficients = cut.for_entry(entry)
        constant = floor_ticks(seconds)
        terms = [(1, self.theta[entry.number])]
        for p, k in enumerate(entry.seats):
            chosen = {a: floor_ticks(float(coefficients[p, a])) for a in self.athletes_of(int(k))}
            least = 0 if int(k) in self.empty else min(chosen.values(), default=0)
            constant += least
            terms += [(least - ticks, self.x[int(k), a]) for a, ticks in chosen.items() if ticks != least]
        self.row(terms, constant, None, [])

    def athletes_of(self, seat: int) -> list[int]:
        """Athletes who have a variable for a seat."""
        return [int(a) for a in self.may[:, seat].nonzero()[0]]

    def minimize(self) -> None:
        """Set the objective from the costs added so far."""
        if sum(abs(c) for c, _ in self.objective) >= PLAIN_SUM:
            raise OverflowError("the costs of the model sum past what the solver can hold")
        variables, ticks = [v for _, v in self.objective], [c for c, _ in self.objective]
        self.cp.minimize(cp_model.LinearExpr.weighted_sum(variables, ticks))

    def hint(self, lineup: Lineup) -> None:
        """Suggest a lineup; never together with switches as assumptions (ortools 9.15 answers wrongly then)."""
        if self.with_switches:
            raise ValueError("a model with switches takes no hint")
        self.cp.clear_hints()  # type: ignore[no-untyped-call]
        for (k, a), variable in self.x.items():
            self.cp.add_hint(variable, int(lineup[k] == a))
        worked = self.frame.worked(lineup)
        for (r, a), variable in self.works.items():
            self.cp.add_hint(variable, int(worked[a, r]))
        for k, variable in self.empty.items():
            self.cp.add_hint(variable, int(lineup[k] == EMPTY))

    def lineup(self, solver: cp_model.CpSolver) -> Lineup:
        """Read a solution."""
        lineup = self.frame.lineup(())
        for (k, a), variable in self.x.items():
            if solver.boolean_value(variable):
                lineup[k] = a
        return lineup


def floor_ticks(seconds: float) -> int:
    """Whole ticks at or below this many seconds."""
    return math.floor(seconds * TICKS_PER_S)


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule of the model: its name, what it says in plain words, and the function that adds it."""

    name: str
    label: str
    add: Callable[[Model, Rule], None]

    def switch(self, model: Model, *ids: str, label: str = "") -> list[cp_model.IntVar]:
        """Literals that enforce this rule, or the one fact of it that `ids` name."""
        return model.switch(":".join((self.name, *ids)), label or self.label, ids)


def new_model(
    problem: Problem,
    values: CrewValues | None,
    schedules: Schedules | None,
    switches: bool,
    may: NDArray[np.bool_] | None,
) -> Model:
    """Return a model with its variables and no rule."""
    frame = values.frame if values else Frame(problem)
    values = values or CrewValues(frame)
    model = Model(frame, values, schedules or Schedules(frame), switches, frame.may if may is None else may)
    for k, seat in enumerate(frame.seats):
        for a in model.athletes_of(k):
            model.x[k, a] = model.cp.new_bool_var(
                f"{frame.athletes[a]} in {'/'.join((seat.race, seat.car, seat.position))}"
            )
        if frame.optional[k]:
            model.empty[k] = model.cp.new_bool_var(f"{'/'.join((seat.race, seat.car, seat.position))} empty")
    _link_work(model)
    return model


def _link_work(model: Model) -> None:
    """Tie each "works this race" to the seats of that race: one athlete has one seat in a race."""
    frame = model.frame
    for r, seats in enumerate(frame.seats_of):
        for a in range(len(frame.athletes)):
            chosen = [model.x[int(k), a] for k in seats if (int(k), a) in model.x]
            if chosen:
                model.works[r, a] = model.cp.new_bool_var(f"{frame.athletes[a]} works {frame.problem.races[r].id}")
                model.cp.add(sum(chosen) == model.works[r, a])
