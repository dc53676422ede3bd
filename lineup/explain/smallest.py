"""The smallest single changes that would make somebody right for a seat, each tried before it is told."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from lineup.eligibility import refusals
from lineup.explain import words
from lineup.explain.clashes import any_lineup
from lineup.explain.quicker import Quicker, least, median_s, splits_of
from lineup.plan import Plan
from lineup.price import Pricer
from lineup.season import Season, Seat
from lineup.skills import SkillEstimates
from lineup.study import Study

ASKED_FOR = "asked for"  # reason of the pin that seats somebody in thought
MOST_SPLITS = 2
GRADES_TRIED = (2, 4, 6, 8, 12, 16, 24, 32, 48, 64)


def smallest_changes(study: Study, plan: Plan, forced: Plan, seat: Seat, athlete: str, cost_s: float) -> Iterator[str]:
    """Say what would make a plan with an athlete forced into a seat cost no more than the plan as it is."""
    season, who = study.season, words.name(study.season, athlete)
    needs = quicker_needed(study, plan, forced, seat, athlete, cost_s)
    names = dict(splits_of(season, seat.race, seat.position))
    for split, need in sorted(needs.items(), key=lambda item: item[1])[:MOST_SPLITS]:
        now = median_s(study.estimates, athlete, seat.position, split)
        yield (
            f"{who} would be right for this seat if “{names[split]}” took {words.enough(need)} less every time "
            f"(now about {now:.2f} s)."
        )
    grades = grades_needed(study, plan, forced, seat, athlete)
    if grades is not None:
        yield f"{who} would be right for this seat after {grades} more graded stops like those so far."


def quicker_needed(study: Study, plan: Plan, forced: Plan, seat: Seat, athlete: str, cost_s: float) -> dict[str, float]:
    """Return, by split, the seconds less at it, in every stop of the block, that pay for the whole cost."""
    pricer = study.pricer
    now, then = pricer.crews(plan.assignments), pricer.crews(forced.assignments)
    found: dict[str, float] = {}
    for split, _ in splits_of(study.season, seat.race, seat.position):
        trial = Quicker(pricer, athlete, seat.position, split)

        def pays(seconds: float, trial: Quicker = trial) -> bool:
            return trial.saved_s(then, seconds) - trial.saved_s(now, seconds) >= cost_s

        need = least(pays)
        if need is not None:
            found[split] = need
    return found


def grades_needed(study: Study, plan: Plan, forced: Plan, seat: Seat, athlete: str) -> int | None:
    """Return how many more graded stops, no quicker and no slower than those so far, would pay for the cost.

    They can only where gains too unsure to count are part of it. `None` where as many as the most tried do not.
    """
    known = study.pricer
    if study.season.weights.keep_chance <= 0 or known.value(forced.assignments) <= known.value(plan.assignments):
        return None
    for more in GRADES_TRIED:
        estimates = surer(study.estimates, athlete, seat.position, more)
        pricer = Pricer(study.season, study.model, study.weekends, study.settings, estimates)
        if pricer.value(forced.assignments) <= pricer.value(plan.assignments):
            return more
    return None


def surer(estimates: SkillEstimates, athlete: str, position: str, more: int) -> SkillEstimates:
    """Return the estimates after more grades at the same pace: each adds 1/spread² to the precision of a mean."""
    splits = dict(estimates.splits)
    for key, own in estimates.splits.items():
        if key[:2] == (athlete, position) and own.spread > 0 and own.sd > 0:
            sd = (1 / own.sd**2 + more / own.spread**2) ** -0.5
            splits[key] = replace(own, sd=sd, grades=own.grades + more)
    return replace(estimates, splits=splits)


def lifted(season: Season, seat: Seat, athlete: str) -> Iterator[str]:
    """Facts that keep an athlete out of a seat and could be lifted one by one; each is tried."""
    who = words.name(season, athlete)
    absences = tuple(a for a in season.absences if a.athlete != athlete)
    pins = tuple(p for p in season.pins if p.athlete != athlete or p.reason == ASKED_FOR)
    limits = season.limits
    trials = [
        (f"{who} available again, which is not for this tool to say", season.replace(absences=absences)),
        (f"the pins on {who} taken back", season.replace(pins=pins)),
    ]
    for name, text in (("recent_grades", "enough graded stops lately"), ("height", "a price on the height limit")):
        if name in limits.by_name:
            priced = {**limits.by_name, name: replace(limits.by_name[name], price_s=0.0)}
            trials.append((text, season.replace(limits=replace(limits, by_name=priced))))
        elif name == "height":
            heights = {key: replace(p, min_height_m=None) for key, p in season.positions.items()}
            trials.append((text, season.replace(positions=heights)))
    for text, changed in trials:
        if not refusals(changed, athlete, seat):
            yield f"Would be allowed with {text}."


def had_a_weekend_off(pinned: Study, athlete: str) -> Iterator[str]:
    """Say whether a plan would exist if the athlete had had the last weekend before the block off."""
    season = pinned.season
    mine = [duty for duty in season.worked if duty.athlete == athlete]
    if not mine:
        return
    last = max(mine, key=lambda duty: duty.report)
    week = season.local(last.report, last.site).isocalendar()[:2]
    others = tuple(
        duty
        for duty in season.worked
        if duty.athlete != athlete or season.local(duty.report, duty.site).isocalendar()[:2] != week
    )
    if any_lineup(pinned.with_season(season.replace(worked=others))) is not None:
        day = season.local(last.report, last.site)
        who = words.name(season, athlete)
        yield f"It could be done if {who} had had the weekend of {day.day} {day:%b} off."
