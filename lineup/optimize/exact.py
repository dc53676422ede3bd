"""The cut loop: solve the model, add what its solution taught (cuts, no-goods), solve again until the bound meets."""

from __future__ import annotations

from lineup.optimize.build import build_model
from lineup.optimize.costs import lift_schedule
from lineup.optimize.cp import Answer, new_solver, run_solver, surely_infeasible
from lineup.optimize.cuts import crew_mix, uniform_mix
from lineup.optimize.frame import Lineup
from lineup.optimize.model import Model
from lineup.optimize.nogoods import nogood_of
from lineup.optimize.rulebook import RULES
from lineup.optimize.run import Run
from lineup.optimize.schedule_rules import forbid
from lineup.optimize.seat_rules import forbid_slow

ROUNDS = 10_000
SECOND_LOOK_S = 30.0
WORK_EACH = 5.0  # deterministic effort of one call when effort is counted


def cut_loop(run: Run, share: float = 1.0) -> None:
    """Improve the run's best lineup and bound until they meet, or this share of the time (or effort) is used."""
    rounds = ROUNDS if run.settings.work is None else max(1, int(run.settings.work * share))
    spare_s = (1.0 - share) * run.settings.time_s
    model = build_model(run.bench.problem, values=run.bench.values, schedules=run.bench.schedules)
    model.minimize()
    add_first_cuts(run, model)
    if run.best is not None:
        add_crew_cuts(run, model, run.best)
    for number in range(rounds):
        if run.over or run.left <= spare_s:
            return
        if run.best is not None:
            model.hint(run.best)
        solver = new_solver(run.settings, run.left - spare_s, seed=number, work=WORK_EACH)
        if run.settings.tolerance:
            solver.parameters.relative_gap_limit = run.settings.tolerance / 4
        answer = run_solver(model, solver, lambda: run.stopped)
        if answer.infeasible:
            seconds = min(SECOND_LOOK_S, run.left + 5.0)
            run.impossible = run.best is None and surely_infeasible(model, run.settings, seconds, lambda: run.stopped)
            return
        if answer.bound_s is not None:
            run.raise_bound(answer.bound_s)
            run.report()
        if not learn(run, model, answer) and (answer.optimal or not answer.lineups):
            return


def add_first_cuts(run: Run, model: Model) -> None:
    """Give each entry the cuts of its kind so far, and one at the mean of its candidates."""
    for entry in model.frame.entries:
        if entry.kind not in run.bench.pool.by_kind:
            run.bench.pool.at_mix(entry.kind, uniform_mix(entry, model.frame.may))
        for cut in run.bench.pool.by_kind[entry.kind]:
            model.add_cut(entry, cut)


def add_crew_cuts(run: Run, model: Model, lineup: Lineup) -> int:
    """Add the cut of each crew that has none yet, to every entry of its kind; count them."""
    added = 0
    by_kind: dict[int, list[tuple[int, ...]]] = {}
    for entry in model.frame.entries:
        by_kind.setdefault(entry.kind, []).append(run.bench.crew(entry, lineup))
    for kind, crews in by_kind.items():
        cuts = run.bench.pool.at_crews(kind, crews)
        added += len(cuts)
        for entry in model.frame.entries:
            if entry.kind == kind:
                for cut in cuts:
                    model.add_cut(entry, cut)
    return added


def learn(run: Run, model: Model, answer: Answer) -> int:
    """Add what the solutions of a call taught, and offer them to the run; count what was added."""
    added = 0
    for lineup in reversed(answer.lineups):
        added += repair(run, model, lineup)
        added += add_crew_cuts(run, model, lineup)
        run.offer(lineup)
    return added


def repair(run: Run, model: Model, lineup: Lineup) -> int:
    """Add no-goods for schedules that break a rule, costs that schedules lack, bounds on crews too slow."""
    bench, added = run.bench, 0
    seen: set[tuple[int, int]] = set()
    for a, races in enumerate(bench.race_sets(lineup)):
        key = (bench.schedules.class_of[a], races)
        if key in seen:
            continue
        seen.add(key)
        if bench.schedules.of(a, races).broken:
            nogood = nogood_of(bench.schedules, a, races)
            forbid(model, RULES[nogood.rule], nogood)
            added += 1
        elif model.extra and (missing := bench.pairs.missing(a, races)) > 1e-6 and key not in model.lifted:
            model.lifted.add(key)
            lift_schedule(model, key[0], races, missing)
            added += 1
    return added + _slow(run, model, lineup)


def _slow(run: Run, model: Model, lineup: Lineup) -> int:
    added = 0
    for entry in model.frame.entries:
        limit = run.bench.problem.season.cars[entry.car].slowest_s
        crew = run.bench.crew(entry, lineup)
        if limit is not None and run.bench.values.slowest_mean(entry, crew) > limit:
            forbid_slow(model, RULES["slowest"], entry, crew_mix(crew, len(model.frame.athletes)))
            added += 1
    return added
