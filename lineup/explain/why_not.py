"""Why not this athlete: forced into the seat, everything else planned again, and the whole consequence told."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from lineup.eligibility import refusals
from lineup.errors import InputError
from lineup.explain import words
from lineup.explain.change import Lineup
from lineup.explain.clashes import find_clashes
from lineup.explain.limits_near import kept_only_just
from lineup.explain.smallest import ASKED_FOR, had_a_weekend_off, lifted, smallest_changes
from lineup.explain.ways import best_lawful, ways_into, with_one_more
from lineup.optimize.solve import Outcome, solve
from lineup.plan import Assignment, Clash, Plan
from lineup.plan_changes import SeatChange, change_to_dict, seat_changes
from lineup.plan_file import seat_to_dict
from lineup.season import Pin, Seat
from lineup.settings import Settings
from lineup.study import Study

RESOLVE_S = 12.0


@dataclass(frozen=True, slots=True)
class WhyNot:
    """What seating an athlete by hand would bring.

    Attributes
    ----------
    possible : whether a plan that seats the athlete there was found.
    cost_s : weighted seconds that the best such plan costs more than the plan; below zero: it is better.
    sure_to_s : no such plan costs less than this many weighted seconds more (its bound); None where nobody knows.
    changes : seats that change hands in that plan.
    costs : the difference, item by item, seconds.
    limits : hard limits without room left in that plan, of the athletes who move.
    reasons : what forbids it, where something does.
    smallest : the smallest single changes that would make the athlete right, each tried.
    clash : where no plan exists: the facts that cannot all hold, with repairs.
    """

    seat: Seat
    athlete: str
    possible: bool
    text: str
    cost_s: float | None = None
    sure_to_s: float | None = None
    changes: tuple[SeatChange, ...] = ()
    costs: dict[str, float] | None = None
    limits: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()
    smallest: tuple[str, ...] = ()
    clash: tuple[Clash, ...] = ()
    assignments: tuple[Assignment, ...] = ()


def why_not(study: Study, plan: Plan, seat: Seat, athlete: str, settings: Settings | None = None) -> WhyNot:
    """Force an athlete into a seat, plan everything else again, and tell the whole consequence.

    Raises
    ------
    InputError
        When the seat lies outside the block, or the athlete has it already or has no clearance of any level for the
        position.
    """
    season = study.season
    who, where = words.name(season, athlete), words.place(season, seat)
    if seat not in study.problem.eligible:
        raise InputError(f"{where} is not a seat of this block")
    if plan.athlete_in(seat) == athlete:
        raise InputError(f"{who} has this seat already: {where}")
    if (seat, athlete) not in study.problem.verdicts:
        raise InputError(f"{who} has no clearance for {words.position(season, seat.position)}: {where}")
    pin = Pin("must", athlete, ASKED_FOR, None, seat.race, seat.car, seat.position)
    pinned = study.with_season(season.with_pin(pin))
    reasons = tuple(words.plain(season, v.text) for v in refusals(pinned.season, athlete, seat))
    if reasons:
        found = tuple(lifted(pinned.season, seat, athlete))
        return WhyNot(seat, athlete, False, f"{'; '.join(reasons)}.", reasons=reasons, smallest=found)
    effort = settings or study.settings.replace(time_s=RESOLVE_S, work=None)
    outcome = solve(pinned.problem, effort, start=_nearest(study, plan, seat, athlete))
    if outcome.value_s is None:
        return _none(study, pinned, seat, athlete, outcome)
    return _consequence(study, pinned, plan, seat, athlete, outcome)


def why_not_to_dict(answer: WhyNot) -> dict[str, Any]:
    """Return the JSON form of a "why not"."""
    data = {key: value for key, value in asdict(answer).items() if key not in ("seat", "changes", "assignments")}
    return {"seat": seat_to_dict(answer.seat), **data, "changes": [change_to_dict(c) for c in answer.changes]}


def _nearest(study: Study, plan: Plan, seat: Seat, athlete: str) -> tuple[Assignment, ...] | None:
    """Return the plan with the cheapest lawful way of seating the athlete: where the search begins."""
    lineup = Lineup(study.pricer, plan)
    ways = [lineup.change(moves) for moves in ways_into(study, lineup, seat).get(athlete, [])]
    best = best_lawful(ways) or with_one_more(study, lineup, ways)
    return None if best is None else lineup.assignments(best.after)


def _none(study: Study, pinned: Study, seat: Seat, athlete: str, outcome: Outcome) -> WhyNot:
    season = study.season
    who, where = words.name(season, athlete), words.place(season, seat)
    if outcome.status != "impossible":
        return WhyNot(seat, athlete, False, f"No plan was found in time that has {who} as {where}; give it more.")
    text = f"No plan of the block can have {who} as {where}."
    return WhyNot(
        seat, athlete, False, text, clash=find_clashes(pinned), smallest=tuple(had_a_weekend_off(pinned, athlete))
    )


def _consequence(study: Study, pinned: Study, plan: Plan, seat: Seat, athlete: str, outcome: Outcome) -> WhyNot:
    season, forced = study.season, plan.replace(assignments=tuple(sorted(outcome.assignments)))
    now, then = study.pricer.price(plan.assignments), pinned.pricer.price(forced.assignments)
    cost = then.value_s - now.value_s
    changes = seat_changes(plan, forced)
    items = {key: then.costs.get(key, 0.0) - now.costs.get(key, 0.0) for key in {**now.costs, **then.costs}}
    movers = {a for change in changes for a in (change.before, change.after) if a is not None}
    best = "best plan" if outcome.status == "proven" else "best plan found"
    text = (
        f"With {words.name(season, athlete)} as {words.place(season, seat)}, the {best} {words.against(cost)}; "
        f"{words.hands(len(changes))}: {words.changed(season, changes)}."
    )
    right = smallest_changes(study, plan, forced, seat, athlete, cost) if cost > words.NOTHING_S else ()
    return WhyNot(
        seat, athlete, True, text,
        cost_s=cost,
        sure_to_s=None if outcome.bound_s is None else outcome.bound_s - now.value_s,
        changes=changes,
        costs={key: value for key, value in items.items() if abs(value) >= 0.0005},
        limits=kept_only_just(pinned, forced, movers),
        smallest=tuple(right),
        assignments=forced.assignments,
    )  # fmt: skip
