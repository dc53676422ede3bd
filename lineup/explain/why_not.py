"""Why not this athlete: forced into the seat, everything else planned again, and what would make it right."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from lineup.bank import ServiceBank
from lineup.eligibility import refusals
from lineup.errors import InputError
from lineup.explain import words
from lineup.explain.change import Lineup
from lineup.explain.swaps import ways_into
from lineup.optimize.solve import solve
from lineup.plan import Assignment, Plan
from lineup.plan_file import seat_to_dict
from lineup.price import Pricer
from lineup.season import Pin, Season, Seat
from lineup.settings import Settings
from lineup.stops import StopModel
from lineup.study import Study

RESOLVE_S = 12.0
MOST_QUICKER_S = 2.0  # nobody gets this much quicker at one split


@dataclass(frozen=True, slots=True)
class SeatChange:
    """A seat that changes hands; `None` where it is or becomes empty."""

    seat: Seat
    before: str | None
    after: str | None


@dataclass(frozen=True, slots=True)
class WhyNot:
    """What seating an athlete by hand would bring.

    Attributes
    ----------
    possible : whether any plan seats the athlete there.
    cost_s : weighted seconds that the best such plan costs more than the plan; below zero: it is better.
    sure_to_s : the best such plan cannot cost less than this many weighted seconds more (its own bound).
    changes : seats that change hands in that plan.
    costs : the difference, item by item.
    limits : hard limits that the plan keeps only just, among the athletes who move.
    smallest : the smallest single changes that would make the athlete right, each tried.
    """

    seat: Seat
    athlete: str
    possible: bool
    text: str
    cost_s: float | None = None
    sure_to_s: float | None = None
    changes: tuple[SeatChange, ...] = ()
    costs: dict[str, float] | None = None
    reasons: tuple[str, ...] = ()
    smallest: tuple[str, ...] = ()
    assignments: tuple[Assignment, ...] = ()


def why_not(study: Study, plan: Plan, seat: Seat, athlete: str, settings: Settings | None = None) -> WhyNot:
    """Force an athlete into a seat, plan everything else again, and tell the whole consequence.

    Raises
    ------
    InputError
        When the athlete has the seat already, or has no clearance of any level for the position.
    """
    season = study.season
    who, where = words.name(season, athlete), words.place(season, seat)
    if plan.athlete_in(seat) == athlete:
        raise InputError(f"{who} has this seat already: {where}")
    if (seat, athlete) not in study.problem.verdicts:
        raise InputError(f"{who} has no clearance for {words.position(season, seat.position)}: {where}")
    pinned = study.with_season(_with_only(season, Pin("must", athlete, "asked for", None, *_of(seat))))
    reasons = tuple(v.text for v in refusals(pinned.season, athlete, seat))
    if reasons:
        smallest = tuple(_lifted(study, seat, athlete))
        return WhyNot(seat, athlete, False, f"{'; '.join(reasons)}.", reasons=reasons, smallest=smallest)
    effort = settings or Settings(time_s=RESOLVE_S, workers=study.settings.workers, seed=study.settings.seed)
    outcome = solve(pinned.problem, effort, start=_nearest(study, plan, seat, athlete))
    if outcome.value_s is None:
        sure = outcome.status == "impossible"
        text = f"No plan of the block {'can seat' if sure else 'was found in time that seats'} {who} as {where}."
        return WhyNot(seat, athlete, False, text, reasons=reasons)
    return _consequence(study, pinned, plan, seat, athlete, outcome.assignments, outcome.bound_s)


def _nearest(study: Study, plan: Plan, seat: Seat, athlete: str) -> tuple[Assignment, ...] | None:
    """Return the plan with the cheapest legal way of seating the athlete: where the search begins."""
    lineup = Lineup(study.pricer, plan)
    ways = [lineup.change(moves) for moves in ways_into(study, lineup, seat).get(athlete, [])]
    legal = [change for change in ways if not change.breaches]
    return lineup.assignments(max(legal, key=lambda c: c.gain_s).after) if legal else None


def why_not_to_dict(answer: WhyNot) -> dict[str, Any]:
    """Return the JSON form of a "why not"."""
    rows = [{**asdict(c.seat), "before": c.before, "after": c.after} for c in answer.changes]
    data = {key: value for key, value in asdict(answer).items() if key not in ("seat", "changes", "assignments")}
    return {"seat": seat_to_dict(answer.seat), **data, "changes": rows}


def _of(seat: Seat) -> tuple[str, str, str]:
    return seat.race, seat.car, seat.position


def _with_only(season: Season, pin: Pin) -> Season:
    """Pin an athlete, leaving out the pins that would forbid just this."""
    others = tuple(
        p for p in season.pins if not (p.athlete == pin.athlete and p.kind in ("never", "must") and p.race == pin.race)
    )
    return season.replace(pins=(*others, pin))


def _consequence(
    study: Study,
    pinned: Study,
    plan: Plan,
    seat: Seat,
    athlete: str,
    assignments: tuple[Assignment, ...],
    bound_s: float | None,
) -> WhyNot:
    season = study.season
    now, then = study.pricer.price(plan.assignments), pinned.pricer.price(assignments)
    cost = then.value_s - now.value_s
    changes = seat_changes(plan.assignments, assignments)
    items = {key: then.costs.get(key, 0.0) - now.costs.get(key, 0.0) for key in {**now.costs, **then.costs}}
    items = {key: value for key, value in items.items() if abs(value) >= 0.0005}
    least = None if bound_s is None else bound_s - now.value_s
    who, where = words.name(season, athlete), words.place(season, seat)
    moved = f"{len(changes)} seat{'s' if len(changes) != 1 else ''} change hands"
    if cost > 0:
        text = f"With {who} as {where}, the best plan found costs {words.seconds(cost)} of weighted time more; {moved}."
    else:
        text = f"With {who} as {where}, the plan found is no dearer ({words.seconds(cost)} better); {moved}."
    smallest = tuple(_smallest(study, pinned, seat, athlete, assignments, cost)) if cost > 0 else ()
    return WhyNot(
        seat, athlete, True, text, cost, least, changes, items, (), smallest, tuple(sorted(assignments))
    )  # fmt: skip


def seat_changes(before: tuple[Assignment, ...], after: tuple[Assignment, ...]) -> tuple[SeatChange, ...]:
    """Return the seats whose athlete differs between two lineups, in order."""
    old, new = ({a.seat: a.athlete for a in lineup} for lineup in (before, after))
    return tuple(
        SeatChange(seat, old.get(seat), new.get(seat))
        for seat in sorted({**old, **new})
        if old.get(seat) != new.get(seat)
    )


def _smallest(
    study: Study, pinned: Study, seat: Seat, athlete: str, assignments: tuple[Assignment, ...], cost: float
) -> Iterator[str]:
    """Name the splits at which the least improvement pays for the whole cost."""
    season = study.season
    who = words.name(season, athlete)
    splits: dict[str, float] = {}
    for service in season.service_counts.get(seat.race, {}):
        for task in season.choreographies[service].tasks:
            if task.position == seat.position:
                quicker = quicker_by(pinned, seat, athlete, task.split, assignments, cost)
                if quicker is not None:
                    splits[task.split] = quicker
    for split, need in sorted(splits.items(), key=lambda item: item[1])[:2]:
        yield (
            f"{who} would be right for this seat at {need:.2f} s less in every {split.replace('-', ' ')}"
            f" at this race (now {_median(study, athlete, seat.position, split)})."
        )


def _median(study: Study, athlete: str, position: str, split: str) -> str:
    estimate = study.estimates.splits[athlete, position, split]
    median = float(np.exp(estimate.mean)) if estimate.scale == "log" else estimate.mean
    return f"about {median:.2f} s"


def quicker_by(
    study: Study, seat: Seat, athlete: str, split: str, assignments: tuple[Assignment, ...], cost: float
) -> float | None:
    """Return how many seconds quicker at one split an athlete must be to gain `cost` weighted seconds in a seat.

    Bisection on stops timed again with the shorter split; accurate to a thousandth of a second. `None` where even
    `MOST_QUICKER_S`, or a split done in no time, would not do.
    """
    crew = {a.position: a.athlete for a in assignments if (a.race, a.car) == (seat.race, seat.car)}

    def value(quicker: float) -> float:
        banks = {key: _quicker(b, seat.position, athlete, split, quicker) for key, b in study.model.banks.items()}
        model = StopModel(banks, study.model.seed, study.model.scenarios)
        pricer = Pricer(study.season, model, study.weekends, study.settings, study.estimates)
        return pricer.entry_value(seat.entry, crew)

    base = value(0.0)
    if base - value(MOST_QUICKER_S) < cost:
        return None
    low, high = 0.0, MOST_QUICKER_S
    while high - low > 0.001:
        middle = (low + high) / 2
        low, high = (low, middle) if base - value(middle) >= cost else (middle, high)
    return high


def _quicker(bank: ServiceBank, position: str, athlete: str, split: str, seconds: float) -> ServiceBank:
    """Copy a bank in which one athlete does one split in so many seconds less, but never in less than none."""
    row = bank.rows.get(position, {}).get(athlete)
    if row is None:
        return bank
    tasks = [task for task in bank.choreography.tasks if task.position == position]
    durations = bank.durations[position].copy()
    for rank, task in enumerate(tasks):
        if task.split == split:
            lowest = -np.inf if task.early else 0.0
            durations[row, rank] = np.maximum(durations[row, rank] - seconds, np.minimum(lowest, durations[row, rank]))
    return replace(bank, durations={**bank.durations, position: durations})


def _lifted(study: Study, seat: Seat, athlete: str) -> Iterator[str]:
    """Facts that forbid it and could be lifted one by one; each is tried."""
    season, who = study.season, words.name(study.season, athlete)
    without: list[tuple[str, Season]] = []
    absences = tuple(a for a in season.absences if a.athlete != athlete)
    if len(absences) < len(season.absences):
        without.append((f"{who} being available again (not for this tool to say)", season.replace(absences=absences)))
    pins = tuple(p for p in season.pins if athlete not in (p.athlete, p.other))
    if len(pins) < len(season.pins):
        without.append((f"the pins on {who} being taken back", season.replace(pins=pins)))
    for text, changed in without:
        if not refusals(changed, athlete, seat):
            yield f"Would be allowed with {text}."
