"""Audit of a plan: one check per limit, and the costs once more."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from lineup.audit.counting import count_checks
from lineup.audit.coverage import cover_checks
from lineup.audit.money import Money
from lineup.audit.records import Audit, Check, Measure, summarise
from lineup.audit.scene import Scene
from lineup.audit.seats import seat_checks
from lineup.audit.times import time_checks
from lineup.plan import Plan
from lineup.season import Season
from lineup.skills import SkillEstimates
from lineup.stop_model.stops import StopModel

SMALL_S = 1e-6  # relative, and in seconds: costs that differ by less are the same


def audit(
    season: Season,
    plan: Plan,
    weekends: Sequence[str] | None = None,
    model: StopModel | None = None,
    *,
    tail: float | None = None,
    estimates: SkillEstimates | None = None,
) -> Audit:
    """Check every limit of a plan, and what it says it costs.

    Parameters
    ----------
    weekends : the block; None: the plan's own, else every weekend it has a race in.
    model : sampled stops; without them neither costs nor the slowest service are checked.
    tail : weight of the tail mean, where it is not the season's.
    estimates : what the model was sampled from; made from the season's grades when needed and not given.

    Raises
    ------
    PlanFileError
        When the plan names something the block does not have.
    """
    scene = Scene(season, plan, _block(season, plan, weekends))
    checks = list(limit_checks(scene))
    if model is None:
        return Audit(tuple(checks), notes=("no sampled stops: costs are not checked",))
    starters = scene if not plan.reserves else Scene(season, plan.replace(reserves=()), scene.weekends)
    money = Money(starters, model, season.weights.tail if tail is None else tail, estimates)
    if not money.forecastable():
        return Audit(tuple(checks), notes=("somebody has no sampled stops in his seat: costs are not checked",))
    costs = money.costs(checks if starters is scene else limit_checks(starters))
    checks += _slowest(scene, money)
    checks.append(_stated_costs(scene, model, costs))
    checks.append(_proof(plan))
    return Audit(tuple(checks), costs, sum(costs.values()))


def _block(season: Season, plan: Plan, weekends: Sequence[str] | None) -> tuple[str, ...]:
    if weekends is not None or plan.weekends:
        return tuple(weekends if weekends is not None else plan.weekends)
    planned = {season.races[a.race].weekend for a in plan.assignments if a.race in season.races}
    return tuple(label for label in season.weekends if label in planned)


def limit_checks(scene: Scene) -> Iterator[Check]:
    """Yield every check that needs no stop times."""
    yield from seat_checks(scene)
    yield from time_checks(scene)
    yield from count_checks(scene)
    yield from cover_checks(scene)


def _slowest(scene: Scene, money: Money) -> list[Check]:
    """Check that the mean of each car's slowest service stays at or below what cars.csv says."""
    measures = []
    for entry, crew in scene.crews.items():
        most = scene.season.cars[entry.car].slowest_s
        if most is not None:
            mean = money.slowest_s(entry, crew)
            car = scene.season.label("cars", entry.car)
            where = f"car {car} at {scene.race(entry.race)}"
            text = f"{mean:.3f} s of {most:g} s allowed: mean of the slowest service, {where}"
            kept = mean <= most + SMALL_S
            measures.append(Measure(text, kept, None, entry.race, entry.car, None, mean, most, mean - most))
    bound = any(car.slowest_s is not None for car in scene.season.cars.values())
    return [summarise("slowest", measures, unit="s", source="cars.csv")] if bound else []


def _stated_costs(scene: Scene, model: StopModel, costs: Mapping[str, float]) -> Check:
    """Hold the plan's own costs and value against those worked out here."""
    plan, value = scene.plan, sum(costs.values())
    reason = _not_comparable(scene, model)
    if reason is not None:
        return summarise("costs", [], fine=f"{value:.3f} s; not held against the plan's own: {reason}")
    measures = []
    pairs = {name: (plan.costs.get(name, 0.0), costs.get(name, 0.0)) for name in dict.fromkeys((*plan.costs, *costs))}
    pairs["value_s"] = (value if plan.value_s is None else plan.value_s, value)
    for name, (stated, own) in pairs.items():
        if abs(stated - own) > SMALL_S * max(1.0, abs(own)):
            text = f"{name} is {own:.6f} s, the plan says {stated:.6f} s"
            measures.append(Measure(text, False, figure=stated, limit=own, excess=abs(stated - own)))
    return summarise("costs", measures, unit="s", fine=f"{value:.3f} s, item by item as the plan says")


def _not_comparable(scene: Scene, model: StopModel) -> str | None:
    plan = scene.plan
    if not plan.costs:
        return "it states none"
    if (plan.seed, plan.scenarios) != (model.seed, model.scenarios):
        return f"it was priced with seed {plan.seed} on {plan.scenarios} scenarios"
    changed = [part for part, mark in plan.fingerprints.items() if scene.season.fingerprints.get(part, mark) != mark]
    return f"{', '.join(changed)} changed since" if changed else None


def _proof(plan: Plan) -> Check:
    """Check that value, bound, gap, tolerance and status fit each other."""
    if plan.value_s is None or plan.bound_s is None:
        return summarise("proof", [], fine="the plan states no bound")
    gap = (plan.value_s - plan.bound_s) / max(abs(plan.value_s), 1e-12)
    measures = []
    if gap < -SMALL_S:
        measures.append(f"the bound {plan.bound_s:.6f} s lies above the value {plan.value_s:.6f} s")
    if plan.gap is not None and abs(plan.gap - gap) > 1e-4:
        measures.append(f"the gap is {gap:.4%}, the plan says {plan.gap:.4%}")
    if plan.status == "proven" and plan.tolerance is not None and gap > plan.tolerance + SMALL_S:
        measures.append(f"the gap {gap:.4%} is above the tolerance {plan.tolerance:.4%}: not proven")
    return summarise(
        "proof", [Measure(text, False) for text in measures], fine=f"gap {max(gap, 0.0):.4%}, {plan.status}"
    )
