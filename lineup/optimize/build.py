"""The whole model of a problem: its variables, every rule of the rulebook, and what a lineup costs."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lineup.optimize.costs import add_costs
from lineup.optimize.crews import CrewValues
from lineup.optimize.model import Model, new_model
from lineup.optimize.rulebook import RULES
from lineup.optimize.schedules import Schedules
from lineup.optimize.seat_rules import open_eligibility
from lineup.problem import Problem


def build_model(
    problem: Problem,
    switches: bool = False,
    values: CrewValues | None = None,
    schedules: Schedules | None = None,
    may: NDArray[np.bool_] | None = None,
) -> Model:
    """Return the model of a problem with every rule.

    Parameters
    ----------
    switches : let rules be taken off one by one. Such a model has no objective: it answers only whether the rules
        can hold together.
    values, schedules : what is known already, shared with other models of the problem.
    may : who may still fill which seat, shape (athletes, seats), where some choices are fixed.
    """
    model = new_model(open_eligibility(problem) if switches else problem, values, schedules, switches, may)
    for rule in RULES.values():
        rule.add(model, rule)
    if not switches:
        add_costs(model)
    return model
