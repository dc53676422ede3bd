"""One loss: the best plan without somebody, or why there is none."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from lineup.eligibility import may_fill
from lineup.explain import words
from lineup.explain.absences import absence_of, lapsed_text, without_lapsed
from lineup.explain.clashes import any_lineup, find_clashes
from lineup.explain.drill_records import Loss
from lineup.explain.patch import patched
from lineup.optimize.solve import solve
from lineup.plan import Assignment, Plan
from lineup.plan_changes import seat_changes
from lineup.season import Seat
from lineup.settings import Settings
from lineup.study import Study

MOST_HELPERS = 3  # people without a seat whose help is weighed, per loss


def loss_of(study: Study, plan: Plan, athletes: Sequence[str], first: date | None, effort: Settings) -> Loss:
    """Plan the block without some athletes, from a day on, and say what that costs more than the plan.

    Raises
    ------
    InputError
        When one of them is out already.
    """
    season, group = study.season, tuple(athletes)
    absences = tuple(absence_of(season, study.weekends, athlete, first) for athlete in group)
    changed, pins = without_lapsed(season, study.weekends, absences)
    lapsed = tuple(lapsed_text(season, pin) for pin in pins)
    absent = study.with_season(changed)
    lost = tuple(a.seat for a in plan.assignments if a.athlete in group and _gone(absent, a))
    if not lost:
        return Loss(group, 0, "nothing lost", 0.0, 0.0, lapsed=lapsed)
    start = patched(absent, plan, lost)
    outcome = solve(absent.problem, effort, start=start or any_lineup(absent))
    if outcome.value_s is None:
        clash = find_clashes(absent) if outcome.status == "impossible" else ()
        facts = tuple(words.plain(season, fact.text) for fact in clash[0].facts) if clash else ()
        repairs = tuple(words.plain(season, repair.text) for repair in clash[0].repairs) if clash else ()
        return Loss(group, len(lost), outcome.status, lapsed=lapsed, facts=facts, repairs=repairs)
    now = study.pricer.value(plan.assignments)
    after = plan.replace(assignments=outcome.assignments)
    saved, needed = _helpers(absent, plan, lost, start)
    return Loss(
        group,
        len(lost),
        outcome.status,
        outcome.value_s - now,
        None if outcome.bound_s is None else outcome.bound_s - now,
        len(seat_changes(plan, after)),
        saved_by=saved,
        only_with=needed,
        lapsed=lapsed,
    )


def _gone(absent: Study, assignment: Assignment) -> bool:
    return not may_fill(absent.season, assignment.athlete, assignment.seat).allowed


def _helpers(
    absent: Study, plan: Plan, lost: Sequence[Seat], start: tuple[Assignment, ...] | None
) -> tuple[dict[str, float], tuple[str, ...]]:
    """Say what mending by hand would cost more without each who comes in from the bench, and who is needed for it."""
    if start is None:
        return {}, ()
    worked = {(a.race, a.athlete) for a in plan.assignments}
    comers = [a.athlete for a in start if (a.race, a.athlete) not in worked]
    saved: dict[str, float] = {}
    needed: list[str] = []
    for helper in sorted(dict.fromkeys(comers), key=lambda a: (-comers.count(a), a))[:MOST_HELPERS]:
        other = patched(absent, plan, lost, without=(helper,))
        if other is None:
            needed.append(helper)
        else:
            more = absent.pricer.value(other) - absent.pricer.value(start)
            saved |= {helper: more} if more > words.NOTHING_S else {}
    return saved, tuple(needed)
