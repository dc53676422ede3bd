"""Rules of the model about the races one athlete works: rest, runs, counts, starts, other limits as they break."""

from __future__ import annotations

import math

from ortools.sat.python import cp_model

from lineup.optimize.model import Model, Rule, Terms, floor_ticks
from lineup.optimize.nogoods import NoGood, nogood_of, small_nogoods
from lineup.rules import Window


def forbid_small_sets(model: Model, rule: Rule) -> None:
    """Forbid every race, and every two close together, that break a rule about duties in a row."""
    for nogood in small_nogoods(model.schedules, rule.name):
        forbid(model, rule, nogood)


def forbid_patterns(model: Model, rule: Rule) -> None:
    """Forbid each race, and each two in a row, that break a rule which more work could also mend.

    Larger patterns follow as they turn up in a solution: see `forbid`.
    """
    limit = model.problem.season.limits.get(rule.name)
    if limit is None or not limit.hard:
        return
    races = range(len(model.problem.races))
    for athlete in model.schedules.samples:
        for chosen in [1 << r for r in races] + [3 << r for r in races[:-1]]:
            if rule.name in model.schedules.of(athlete, chosen).broken:
                forbid(model, rule, nogood_of(model.schedules, athlete, chosen))


def forbid(model: Model, rule: Rule, nogood: NoGood) -> None:
    """Forbid a pattern of work for every athlete of its class."""
    for a, number in enumerate(model.schedules.class_of):
        on = model.works_in(a, nogood.on)
        if number == nogood.athlete_class and len(on) == len(nogood.on):
            off = [(-1, variable) for _, variable in model.works_in(a, nogood.off)]
            model.row([*on, *off], None, len(on) - 1, rule.switch(model))


def races_per_weekend(model: Model, rule: Rule) -> None:
    """Count the races of a weekend that one athlete works."""
    _windows(model, rule)


def races_in_days(model: Model, rule: Rule) -> None:
    """Count the races in the window that ends with each race worked."""
    _windows(model, rule)


def weekends_in_a_row(model: Model, rule: Rule) -> None:
    """Count runs of consecutive weekends with a duty; weekends before the block carry on into it."""
    _windows(model, rule)


def starts(model: Model, rule: Rule) -> None:
    """Keep each athlete's starts in the block between the limit's numbers."""
    _windows(model, rule)


def _windows(model: Model, rule: Rule) -> None:
    for a, windows in enumerate(model.schedules.windows):
        for window in windows:
            if window.rule == rule.name:
                _window(model, rule, a, window)


def _window(model: Model, rule: Rule, athlete: int, window: Window) -> None:
    """Keep the number of groups worked within the window, or pay for what goes beyond."""
    number = model.frame.race_number
    literals = [_any(model, model.works_in(athlete, [number[r] for r in group])) for group in window.groups]
    terms: Terms = [(1, literal) for literal in literals if literal is not None]
    trigger = [v for _, v in model.works_in(athlete, [number[r] for r in window.trigger])]
    if window.trigger and not trigger:
        return
    if window.most is not None:
        most = math.floor(window.most)
        _at_most(model, rule, window, terms, most if window.price_s is not None else max(most, 0), trigger)
    if window.least is not None:
        _at_most(model, rule, window, [(-c, v) for c, v in terms], -math.ceil(window.least), trigger)


def _at_most(model: Model, rule: Rule, window: Window, terms: Terms, most: int, trigger: list[cp_model.IntVar]) -> None:
    highest = sum(max(c, 0) for c, _ in terms)
    if highest <= most:
        return
    if window.price_s is None:
        model.row(terms, None, most, rule.switch(model))
    elif not model.with_switches:
        beyond = model.cp.new_int_var(0, highest - most, f"beyond {rule.name}")
        for condition in [[literal] for literal in trigger] or [[]]:
            model.row([*terms, (-1, beyond)], None, most, condition)
        model.pay(floor_ticks(window.price_s), beyond)


def _any(model: Model, terms: Terms) -> cp_model.IntVar | None:
    """Literal that holds where any of the terms does."""
    if len(terms) < 2:
        return terms[0][1] if terms else None
    either = model.cp.new_bool_var("")
    model.cp.add_max_equality(either, [variable for _, variable in terms])
    return either
