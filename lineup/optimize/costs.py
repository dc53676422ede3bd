"""What a lineup costs, as terms of the model's objective; each is at or below the exact cost, to a tick."""

from __future__ import annotations

from lineup.optimize.model import Model, floor_ticks
from lineup.optimize.schedules import RaceSet, members
from lineup.optimize.trips import PairCosts

MOST_TICKS = 2**50


def add_costs(model: Model) -> None:
    """Add every cost of a lineup to the objective."""
    stops(model)
    seats(model)
    crew_changes(model)
    uneven(model)
    trips(model)
    schedules(model)


def stops(model: Model) -> None:
    """Add one variable per entry for what its stops cost; cuts hold it up from below."""
    for entry in model.frame.entries:
        theta = model.cp.new_int_var(-MOST_TICKS, MOST_TICKS, f"stops of entry {entry.number}")
        model.theta[entry.number] = theta
        model.pay(1, theta)


def seats(model: Model) -> None:
    """Charge what an athlete in a seat costs whatever the rest is."""
    for (k, a), variable in model.x.items():
        model.pay(floor_ticks(float(model.frame.cost[a, k])), variable)
    for k, variable in model.empty.items():
        model.pay(floor_ticks(float(model.frame.empty_cost[k])), variable)


def crew_changes(model: Model) -> None:
    """Charge a seat whose athlete did not hold it at the car's race before, when that race had it filled."""
    price = floor_ticks(model.problem.season.weights.crew_change_s)
    if price <= 0:
        return
    for k, before in enumerate(model.frame.before):
        if before < 0:
            continue
        changed = model.cp.new_bool_var(f"crew change in seat {k}")
        model.pay(price, changed)
        for a in model.athletes_of(k):
            held = [model.x[before, a]] if (before, a) in model.x else []
            held += [model.empty[before]] if before in model.empty else []
            model.cp.add_bool_or([*held, changed, ~model.x[k, a]])


def uneven(model: Model) -> None:
    """Charge each start away from an even share, for every athlete who may start in the block."""
    price, share = model.problem.season.weights.uneven_s, model.problem.even_share
    if price <= 0:
        return
    for a in range(len(model.frame.athletes)):
        count = model.works_in(a, range(len(model.problem.races)))
        away = model.cp.new_int_var(0, floor_ticks(price * (len(count) + share)) + 1, f"uneven {a}")
        slope, level = floor_ticks(price), floor_ticks(price * share)
        model.row([(1, away), *[(-slope, v) for _, v in count]], -level - len(count) - 1, None, [])
        model.row([(1, away), *[(slope, v) for _, v in count]], level, None, [])
        model.pay(1, away)


def trips(model: Model) -> None:
    """Charge travel and other costs of two duties in a row, with what each duty costs alone."""
    costs = PairCosts(model.schedules)
    for a, number in enumerate(model.schedules.class_of):
        alone, pairs = costs.of(number)
        for r, seconds in enumerate(alone):
            if (r, a) in model.works:
                model.pay(floor_ticks(seconds), model.works[r, a])
        for (i, j), seconds in pairs.items():
            if (i, a) in model.works and (j, a) in model.works:
                _pair(model, a, i, j, floor_ticks(seconds))


def _pair(model: Model, athlete: int, first: int, second: int, ticks: int) -> None:
    """Pay (or save) `ticks` when these two races follow each other in the athlete's work."""
    in_row = model.cp.new_bool_var(f"{athlete} works {first} then {second}")
    ends = [model.works[first, athlete], model.works[second, athlete]]
    between = [v for _, v in model.works_in(athlete, range(first + 1, second))]
    model.pay(ticks, in_row)
    if ticks >= 0:
        model.cp.add_bool_or([in_row, *[~end for end in ends], *between])
    else:
        for end in ends:
            model.cp.add_implication(in_row, end)
        for other in between:
            model.cp.add_implication(in_row, ~other)


def schedules(model: Model) -> None:
    """Add one variable per athlete for costs of his schedule that have no row of their own; see `lift_schedule`."""
    if not any(limit.price_s is not None for limit in model.problem.season.limits.by_name.values()):
        return
    for a in range(len(model.frame.athletes)):
        model.extra[a] = model.cp.new_int_var(0, MOST_TICKS, f"schedule of {a}")
        model.pay(1, model.extra[a])


def lift_schedule(model: Model, athlete_class: int, races: RaceSet, seconds: float) -> None:
    """Charge this exact set of races at least `seconds`, for every athlete of the class."""
    ticks = floor_ticks(seconds)
    everything = range(len(model.problem.races))
    for a, number in enumerate(model.schedules.class_of):
        worked = model.works_in(a, members(races))
        if number != athlete_class or a not in model.extra or len(worked) < len(members(races)):
            continue
        rested = model.works_in(a, [r for r in everything if not races >> r & 1])
        terms = [(1, model.extra[a]), *[(-ticks, v) for _, v in worked], *[(ticks, v) for _, v in rested]]
        model.row(terms, ticks * (1 - len(worked)), None, [])
