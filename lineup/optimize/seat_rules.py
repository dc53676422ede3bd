"""Rules of the model about seats: who may sit where, who with whom, how many travel."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from lineup.eligibility import refusals
from lineup.optimize.cuts import cut_at, uniform_mix
from lineup.optimize.frame import EntryFrame, Floats
from lineup.optimize.model import Model, Rule, Terms, floor_ticks
from lineup.problem import Problem
from lineup.season import Pin


def open_eligibility(problem: Problem) -> Problem:
    """Return the problem in which everyone with a clearance may sit, so that switched rules can forbid it."""
    return problem.replace(
        verdicts={
            key: verdict if verdict.allowed or verdict.rule == "clearance" else replace(verdict, allowed=True)
            for key, verdict in problem.verdicts.items()
        }
    )


def fill_seats(model: Model, rule: Rule) -> None:
    """Put one athlete in each seat, or nobody where the position may stay empty."""
    for k, seat in enumerate(model.frame.seats):
        chosen = [model.x[k, a] for a in model.athletes_of(k)] + ([model.empty[k]] if k in model.empty else [])
        if not model.with_switches:
            model.cp.add_exactly_one(chosen)
            continue
        label = f"{seat.position} of {seat.car} at {seat.race} must be filled"
        model.cp.add_at_most_one(chosen)
        model.cp.add_bool_or(chosen).only_enforce_if(
            rule.switch(model, seat.race, seat.car, seat.position, label=label)
        )


def keep_eligibility(model: Model, rule: Rule) -> None:
    """Forbid what eligibility forbids; without switches such seats have no variable to begin with."""
    if not model.with_switches:
        return
    for (k, a), variable in model.x.items():
        athlete, seat = model.frame.athletes[a], model.frame.seats[k]
        for verdict in refusals(model.problem.season, athlete, seat):
            if verdict.rule == rule.name:
                model.cp.add(variable == 0).only_enforce_if(rule.switch(model, athlete, label=verdict.text))


def must_pins(model: Model, rule: Rule) -> None:
    """Give a pinned athlete one of the matching seats at each race that has one."""
    for number, pin in _pins(model, "must"):
        athlete = model.frame.number.get(pin.athlete)
        for race in range(len(model.problem.races)):
            seats = _matching(model, pin, race)
            if seats:
                own = [(1, model.x[k, athlete]) for k in seats if athlete is not None and (k, athlete) in model.x]
                model.row(own, 1, None, rule.switch(model, str(number), label=_text(model, pin)))


def pair_pins(model: Model, rule: Rule) -> None:
    """Have both athletes of a pair on the same car, or neither at work, at each race the pin matches."""
    for number, pin in _pins(model, "pair"):
        for first, second in _both(model, pin):
            enforce = rule.switch(model, str(number), label=_text(model, pin))
            for car in first.keys() | second.keys():
                terms = first.get(car, []) + [(-c, v) for c, v in second.get(car, [])]
                model.row(terms, 0, 0, enforce)


def apart_pins(model: Model, rule: Rule) -> None:
    """Keep two athletes off the same car at each race the pin matches."""
    for number, pin in _pins(model, "apart"):
        for first, second in _both(model, pin):
            enforce = rule.switch(model, str(number), label=_text(model, pin))
            for car in first.keys() & second.keys():
                model.row(first[car] + second[car], None, 1, enforce)


def travel_places(model: Model, rule: Rule) -> None:
    """Keep the starters of a race within its travel places, or pay for each beyond."""
    for r, race in enumerate(model.problem.races):
        places = places_of(model.problem, r)
        starters = [(1, v) for (race_number, _), v in model.works.items() if race_number == r]
        if places is None or places >= len(model.frame.seats_of[r]):
            continue
        price_s = place_price(model.problem)
        if price_s is not None:
            beyond = model.cp.new_int_var(0, len(starters), f"beyond travel places of {race.id}")
            model.row([*starters, (-1, beyond)], None, places, [])
            model.pay(floor_ticks(price_s), beyond)
        else:
            model.row(starters, None, places, rule.switch(model, race.id, label=f"{rule.label} ({race.id}: {places})"))


def slowest(model: Model, rule: Rule) -> None:
    """Keep the mean of each service of a car below the car's limit, by a first linear bound; see `forbid_slow`."""
    for entry in model.frame.entries:
        if model.problem.season.cars[entry.car].slowest_s is not None:
            forbid_slow(model, rule, entry, uniform_mix(entry, model.may))


def forbid_slow(model: Model, rule: Rule, entry: EntryFrame, mix: Floats) -> None:
    """Forbid crews whose stops, by the bound that touches at `mix`, are slower than the car's limit on average."""
    limit = model.problem.season.cars[entry.car].slowest_s
    if limit is None:
        return
    cut = cut_at(model.values, entry.kind, mix, (0.0, 1.0))
    race = model.problem.races[entry.race].id
    label = f"the slowest service of {entry.car} at {race} stays within {limit:g} s on average"
    for constant, coefficients in zip(cut.constant, cut.coefficients, strict=True):
        terms = [
            (floor_ticks(float(coefficients[p, a])), model.x[int(k), a])
            for p, k in enumerate(entry.seats)
            for a in model.athletes_of(int(k))
        ]
        most = floor_ticks(limit) - floor_ticks(float(constant))
        model.row(terms, None, most, rule.switch(model, entry.car, race, label=label))


def places_of(problem: Problem, race: int) -> int | None:
    """Travel places of a race: its own number, else the limit's, else None."""
    places = problem.rules.places(problem.races[race].id)
    return None if places is None else int(places)


def place_price(problem: Problem) -> float | None:
    """Seconds of each starter beyond the travel places of a race, its own or the limit's; None where none may be."""
    limit = problem.season.limits.get("travel_places")
    return None if limit is None else limit.price_s


def _pins(model: Model, kind: str) -> Iterator[tuple[int, Pin]]:
    """Pins of a kind, with their number in pins.csv order."""
    return ((number, pin) for number, pin in enumerate(model.problem.season.pins) if pin.kind == kind)


def _matching(model: Model, pin: Pin, race: int) -> list[int]:
    """Seats of a race that a pin speaks of."""
    return [int(k) for k in model.frame.seats_of[race] if pin.matches(model.frame.seats[k])]


def _both(model: Model, pin: Pin) -> Iterator[tuple[dict[str, Terms], dict[str, Terms]]]:
    """Of each race that a pin of two matches: the terms of all seats of either athlete there, by car."""
    for race in range(len(model.problem.races)):
        if _matching(model, pin, race):
            yield _by_car(model, pin.athlete, race), _by_car(model, pin.other, race)


def _by_car(model: Model, athlete: str | None, race: int) -> dict[str, Terms]:
    number = model.frame.number.get(athlete or "")
    found: dict[str, Terms] = {}
    for k in map(int, model.frame.seats_of[race]):
        if number is not None and (k, number) in model.x:
            found.setdefault(model.frame.seats[k].car, []).append((1, model.x[k, number]))
    return found


def _text(model: Model, pin: Pin) -> str:
    label = model.problem.season.label
    who = label("athletes", pin.athlete) + (f" and {label('athletes', pin.other)}" if pin.other else "")
    where = " ".join(part for part in (pin.race, pin.car, pin.position) if part)
    return f"pin {pin.kind}: {who} {where}".rstrip() + f" ({pin.reason})"
