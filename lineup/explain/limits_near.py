"""Which hard limits a schedule keeps only just: those that it would break if they were one unit tighter."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace

from lineup.explain import words
from lineup.limits import KNOWN_LIMITS, Limit, counted
from lineup.plan import Plan
from lineup.rules import RULES, ScheduleRules
from lineup.study import Study

TIGHTER_H = 0.5  # a limit in hours counts as near within half an hour


def kept_only_just(study: Study, plan: Plan, athletes: Collection[str]) -> tuple[str, ...]:
    """Return one clause per athlete and hard limit on schedules that has no room left in the plan."""
    return tuple(
        clause for limit in study.season.limits.by_name.values() for clause in _near(study, plan, athletes, limit)
    )


def _near(study: Study, plan: Plan, athletes: Collection[str], limit: Limit) -> Iterator[str]:
    if limit.name not in RULES or not limit.hard or limit.name == "driving_hours":
        return
    what, unit, _ = KNOWN_LIMITS[limit.name]
    step = TIGHTER_H if unit == "h" else 1
    tighter = replace(limit, at_most=_less(limit.at_most, step), at_least=_more(limit.at_least, step))
    limits = study.season.limits
    season = study.season.replace(limits=replace(limits, by_name={**limits.by_name, limit.name: tighter}))
    rules = ScheduleRules(season, study.weekends)
    for athlete in sorted(athletes):
        races = [a.race for a in plan.assignments if a.athlete == athlete]
        if any(breach.rule == limit.name for breach in rules.assess(athlete, races).breaches):
            figure = limit.at_most if limit.at_most is not None else limit.at_least or 0
            yield f"{words.name(study.season, athlete)} has no room left: {what}, {counted(figure, unit)}"


def _less(figure: float | None, step: float) -> float | None:
    return None if figure is None else figure - step


def _more(figure: float | None, step: float) -> float | None:
    return None if figure is None else figure + step
