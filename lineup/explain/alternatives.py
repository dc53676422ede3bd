"""Several good whole plans: each leaves out a choice of the plan in force and is planned again as a whole."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from lineup.explain import words
from lineup.explain.change import Lineup
from lineup.optimize.run import OnProgress, Stop
from lineup.optimize.solve import solve
from lineup.plan import Assignment, Move, Plan
from lineup.plan_changes import SeatChange, change_to_dict, seat_changes
from lineup.season import Pin, Seat
from lineup.settings import Settings
from lineup.study import Study

EACH_S = 10.0
MOST_TRIES = 3  # solves per plan asked for
SEATS_SHARE = 0.05  # of the block's seats that differ at least, unless told
LEFT_OUT = "left out to see what else is good"
Column = tuple[str, str, str]  # car, position, athlete


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another good plan.

    Attributes
    ----------
    cost_s : weighted seconds that it costs more than the plan in force; below zero: less.
    at_least_s : no plan that leaves out the same choices costs less than this much more; None where nobody knows.
    changes : seats that differ from the plan in force.
    left_out : choices of the plan in force that it does without: athlete, car, position.
    """

    assignments: tuple[Assignment, ...]
    cost_s: float
    at_least_s: float | None
    changes: tuple[SeatChange, ...]
    left_out: tuple[Column, ...]
    text: str


def alternatives(
    study: Study,
    plan: Plan,
    count: int = 3,
    min_seats: int | None = None,
    settings: Settings | None = None,
    on_progress: OnProgress | None = None,
    stop: Stop | None = None,
) -> tuple[Alternative, ...]:
    """Find good whole plans that differ from the plan, and from each other, in several seats; cheapest first.

    Parameters
    ----------
    count : how many plans are wanted; fewer come back where the search finds no more.
    min_seats : seats that differ at least; `None`: one in twenty of the block, two at least.
    settings : effort of each solve; there are up to three per plan wanted.
    """
    least = min_seats or max(2, round(SEATS_SHARE * len(study.pricer.seats)))
    effort = settings or study.settings.replace(time_s=EACH_S, work=None)
    found: list[Alternative] = []
    for columns, start in _ranked(study, plan, least)[: count * MOST_TRIES]:
        if len(found) == count or (stop is not None and stop()):
            break
        other = _without(study, plan, columns, start, effort, on_progress, stop)
        if other is None or len(other.changes) < least:
            continue
        known = [plan.replace(assignments=one.assignments) for one in found]
        if all(len(seat_changes(k, plan.replace(assignments=other.assignments))) >= least for k in known):
            found.append(other)
    return tuple(sorted(found, key=lambda one: one.cost_s))


def alternative_to_dict(one: Alternative) -> dict[str, Any]:
    """Return the JSON form of another plan."""
    return {**asdict(one), "changes": [change_to_dict(change) for change in one.changes]}


def _without(
    study: Study,
    plan: Plan,
    columns: Sequence[Column],
    start: tuple[Assignment, ...],
    effort: Settings,
    on_progress: OnProgress | None,
    stop: Stop | None,
) -> Alternative | None:
    pins = [Pin("never", a, LEFT_OUT, None, None, car, position) for car, position, a in columns]
    without = study.with_season(study.season.with_pin(*pins))
    outcome = solve(without.problem, effort, on_progress=on_progress, stop=stop, start=start)
    if outcome.value_s is None:
        return None
    now = study.pricer.value(plan.assignments)
    other = plan.replace(assignments=tuple(sorted(outcome.assignments)))
    changes = seat_changes(plan, other)
    cost = study.pricer.value(other.assignments) - now
    least = None if outcome.bound_s is None else outcome.bound_s - now
    text = f"{words.hands(len(changes))}: {words.changed(study.season, changes)}; it {words.costs(cost)}."
    return Alternative(other.assignments, cost, least, changes, tuple(columns), text)


def _ranked(study: Study, plan: Plan, least: int) -> list[tuple[tuple[Column, ...], tuple[Assignment, ...]]]:
    """Choices that could be left out, cheapest first, each with a plan that does without it to begin the search at.

    A choice is one athlete in one seat of a car over all its races; short ones are left out together with the next.
    """
    seats: dict[Column, list[Seat]] = {}
    for a in plan.assignments:
        seats.setdefault((a.car, a.position, a.athlete), []).append(a.seat)
    pinned = {(pin.athlete, pin.position) for pin in study.season.pins if pin.kind == "must"}
    lineup, ranked = Lineup(study.pricer, plan), []
    for column, held in seats.items():
        if not pinned & {(column[2], column[1]), (column[2], None)}:
            tried = list(_taken_over(study, lineup, column, held))
            if tried:
                cost, start = min(tried, key=lambda item: item[0])
                ranked.append((cost / len(held), column, len(held), start))
    ranked.sort(key=lambda item: (item[0], item[1]))
    return list(_grouped(ranked, least))


def _grouped(
    ranked: Sequence[tuple[float, Column, int, tuple[Assignment, ...]]], least: int
) -> Iterator[tuple[tuple[Column, ...], tuple[Assignment, ...]]]:
    """Join short choices until enough seats must differ; a long one stands alone."""
    group: list[Column] = []
    seats = 0
    for _, column, count, start in ranked:
        if count >= least:
            yield (column,), start
            continue
        group.append(column)
        seats += count
        if seats >= least:
            yield tuple(group), start
            group, seats = [], 0


def _taken_over(
    study: Study, lineup: Lineup, column: Column, held: Sequence[Seat]
) -> Iterator[tuple[float, tuple[Assignment, ...]]]:
    """Ways for one other athlete to hold the seat in all these races, by exchange where he has a seat in the race."""
    starter = column[2]
    able = [a for a in study.problem.eligible[held[0]] if a != starter]
    for other in able:
        moves: list[Move] = []
        for seat in held:
            if other not in study.problem.eligible[seat]:
                break
            own = lineup.seat_of.get((seat.race, other))
            if own is not None and starter not in study.problem.eligible[own]:
                break
            moves += [Move(other, own, seat), Move(starter, seat, own)]
        else:
            change = lineup.change(tuple(moves))
            if not change.breaches:
                yield -change.gain_s, lineup.assignments(change.after)
