"""The few calls that the command line and the web pages share, so that their answers cannot differ."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from lineup.audit import Audit, audit
from lineup.explain.absences import Return
from lineup.explain.change import Change, Lineup, Moves
from lineup.explain.clashes import any_lineup, find_clashes
from lineup.explain.injury import Option, Replan, replan, season_after
from lineup.explain.swaps import Swap, chance_real, find_swaps, new_chances
from lineup.explain.training import PracticePlan, practice_priorities
from lineup.explain.why import SeatAnswer, why
from lineup.explain.why_not import WhyNot, why_not
from lineup.fingerprints import fingerprints
from lineup.optimize.reserves import choose_reserves
from lineup.optimize.run import OnProgress, Progress, Stop
from lineup.optimize.solve import Outcome, solve
from lineup.plan import Assignment, Plan, Status
from lineup.price import Priced, Pricer
from lineup.season import Absence, Entry, Seat
from lineup.stop_model.crew_report import CrewReport, crew_report
from lineup.stop_model.stops import sample_stops
from lineup.store import Difference, difference
from lineup.study import Study

FRESH_SEEDS = 8  # independent scrambles behind the fresh value and its standard error
FOUND_BY_SECOND_LOOK = "the optimiser called this block impossible; a second look found this lineup, not its best"


def make_plan(
    study: Study,
    on_progress: OnProgress | None = None,
    stop: Stop | None = None,
    start: Sequence[Assignment] | None = None,
) -> Plan:
    """Find the best lineup of the block, who travels with it and who covers whom.

    The plan carries its status, value, bound and gap on the scenarios, and its value on fresh ones. Where no
    plan exists, it carries the clashing facts and their repairs instead.
    """
    begin = time.monotonic()
    outcome = solve(study.problem, study.settings, on_progress=on_progress, stop=stop, start=start)
    if on_progress is not None and outcome.assignments:
        seconds = time.monotonic() - begin
        on_progress(Progress(outcome.value_s, outcome.bound_s, outcome.gap, seconds, "reserves and cover"))
    return finish_plan(study, outcome, stop)


def plan_with_priorities(
    study: Study,
    priorities: Mapping[str, float],
    on_progress: OnProgress | None = None,
    stop: Stop | None = None,
    start: Sequence[Assignment] | None = None,
) -> Plan:
    """Plan the block as if cars had other priorities; the plan's figures are those under the season's own.

    What was proven holds under the other priorities only, so the plan carries no bound.
    """
    season = study.season
    cars = {key: replace(car, priority=priorities.get(key, car.priority)) for key, car in season.cars.items()}
    plan = make_plan(study.with_season(season.replace(cars=cars)), on_progress, stop, start)
    if not plan.assignments:
        return plan
    said = ", ".join(f"{season.label('cars', key)} {car.priority:g}" for key, car in cars.items())
    note = f"planned with the priorities {said}; its figures are under the season's own"
    plan = plan.replace(status="best_so_far", bound_s=None, gap=None, notes=(*plan.notes, note))
    return with_figures(study, plan)


def finish_plan(study: Study, outcome: Outcome, stop: Stop | None = None) -> Plan:
    """Turn what the optimiser found into a plan: forecasts, fresh value, reserves and cover, or the clash."""
    plan = Plan(
        status=outcome.status,
        bound_s=outcome.bound_s,
        tolerance=study.settings.tolerance,
        seed=study.settings.seed,
        scenarios=study.settings.scenarios,
        tail=study.settings.tail,
        weekends=study.weekends,
        fingerprints=fingerprints(study.season),
        notes=tuple(outcome.notes),
    )
    if outcome.status == "impossible":
        clash = find_clashes(study)
        second = () if clash else any_lineup(study) or ()
        if not second:  # without a clash nothing shows that it is impossible
            return plan.replace(clash=clash, status="impossible" if clash else "not_found")
        outcome = Outcome("best_so_far", second, notes=outcome.notes)
        plan = plan.replace(status="best_so_far", bound_s=None, notes=(*plan.notes, FOUND_BY_SECOND_LOOK))
    if outcome.status == "not_found":
        return plan
    plan = plan.replace(assignments=tuple(sorted(outcome.assignments)), gap=outcome.gap)
    travel = choose_reserves(study, plan, stop)
    plan = plan.replace(
        reserves=travel.reserves,
        cover=travel.cover,
        cover_costs=travel.costs,
        cover_status=travel.status,
        notes=(*plan.notes, *travel.notes),
    )
    return with_figures(study, plan)


def with_figures(study: Study, plan: Plan) -> Plan:
    """Return the plan with forecasts, costs and its value on these and on fresh scenarios."""
    priced = price_plan(study, plan)
    fresh, error = fresh_value(study, plan)
    return plan.replace(
        entries=priced.entries, costs=priced.costs, value_s=priced.value_s, fresh_value_s=fresh, se_s=error
    )


def price_plan(study: Study, plan: Plan) -> Priced:
    """Return what any plan costs, item by item, with its stop times."""
    return study.pricer.price(plan.assignments)


def fresh_value(study: Study, plan: Plan) -> tuple[float, float]:
    """Return the plan's value on scenarios it was not chosen on, and the standard error of that value, seconds.

    Independent scrambles of the Sobol points: their mean, and their standard deviation over the square root of
    their number (Owen 1997 on randomised quasi-Monte Carlo; formula from memory).
    """
    scenarios = max(128, study.settings.scenarios // 4)
    values = []
    for number in range(FRESH_SEEDS):
        seed = (study.settings.seed + 7919 * (number + 1)) % 2**31
        model = sample_stops(study.season, study.estimates, seed, scenarios)
        values.append(
            Pricer(study.season, model, study.weekends, study.settings, study.estimates).value(plan.assignments)
        )
    return float(np.mean(values)), float(np.std(values, ddof=1) / np.sqrt(FRESH_SEEDS))


def audit_plan(study: Study, plan: Plan) -> Audit:
    """Check a plan against every limit, from the season and the plan alone."""
    return audit(study.season, plan, study.weekends, study.model, tail=study.settings.tail, estimates=study.estimates)


def stop_report(study: Study, plan: Plan, entry: Entry, service: str) -> CrewReport:
    """Report on the stop of one planned crew in one service."""
    bank = study.model.banks[service, study.season.races[entry.race].tire]
    return crew_report(bank, plan.crew(entry.race, entry.car), study.season.weights.tail_share, study.season)


def swap_report(study: Study, plan: Plan, moves: Moves, entry: Entry, service: str) -> CrewReport:
    """Report on the stop of a crew after a swap."""
    lineup = Lineup(study.pricer, plan)
    return stop_report(study, plan.replace(assignments=lineup.assignments(lineup.apply(moves))), entry, service)


def best_swaps(study: Study, plan: Plan, seat: Seat | None = None) -> tuple[Swap, ...]:
    """Return the next-best swaps of one seat or of the whole plan."""
    return find_swaps(study, plan, seat)


def explain_seat(study: Study, plan: Plan, seat: Seat) -> SeatAnswer:
    """Say why this athlete has this seat, with one reason for everyone else."""
    return why(study, plan, seat)


def explain_not(study: Study, plan: Plan, seat: Seat, athlete: str) -> WhyNot:
    """Say what seating this athlete here would bring."""
    return why_not(study, plan, seat, athlete)


def practice(study: Study, plan: Plan) -> PracticePlan:
    """Say what each athlete and crew of a plan should practise, most important first."""
    return practice_priorities(study.season, study.model, study.estimates, plan)


def replan_without(
    study: Study,
    plan: Plan,
    absences: Sequence[Absence],
    signed: Sequence[str] = (),
    on_site: Sequence[str] = (),
    returns: Sequence[Return] = (),
    on_progress: OnProgress | None = None,
    stop: Stop | None = None,
) -> Replan:
    """Plan again around absences: fewest changes, best plan, and what lies between."""
    return replan(study, plan, absences, signed, on_site, returns, on_progress=on_progress, stop=stop)


def plan_of_option(study: Study, found: Replan, option: Option) -> Plan:
    """Return an option of a re-plan as a whole plan, with reserves, cover and forecasts under the absences."""
    absent = study.with_season(season_after(study, found))
    status: Status = "proven" if option.status == "proven" else "best_so_far"
    return finish_plan(absent, Outcome(status, option.assignments))


def compare_plans(study: Study, before: Plan, after: Plan, weekend: str | None = None) -> Difference:
    """Tell who moves between two plans, what that costs and gains, how sure the gain is, and limits newly close."""
    lineup = Lineup(study.pricer, before)
    chances = new_chances(study)

    def chance(old: Plan, new: Plan) -> float:
        crews = study.pricer.crews(new.assignments)
        touched = {e for e in {**lineup.crews, **crews} if lineup.crews.get(e) != crews.get(e)}
        gain = study.pricer.value(old.assignments) - study.pricer.value(new.assignments)
        was = {entry: lineup.crews.get(entry, {}) for entry in touched}
        return chance_real(lineup, chances, Change((), gain, was, {e: crews.get(e, {}) for e in touched}, ()))

    audits = audit_plan(study, before), audit_plan(study, after)
    return difference(
        study.season, before, after, pricer=study.pricer, chance=chance, audits=audits, weekend=weekend
    )  # fmt: skip
