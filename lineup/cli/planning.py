"""Commands that make, price and check a plan: plan, price, audit, demo."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer

from lineup import workflow
from lineup.cli.common import (
    BREACH,
    DONE,
    NO_PLAN_EXISTS,
    NOT_FOUND,
    After,
    Json,
    Out,
    PlanPath,
    Scenarios,
    SeasonPath,
    Seed,
    Tail,
    TimeS,
    Tolerance,
    Work,
    Workers,
    console,
    open_plan,
    print_json,
    read_given,
    say,
)
from lineup.optimize.solve import Progress
from lineup.plan import Plan, Status
from lineup.plan_file import plan_to_dict, write_plan
from lineup.report import answer_tables, plan_tables
from lineup.settings import Settings
from lineup.study import Study, open_study

EXIT_CODES: dict[Status, int] = {
    "proven": DONE,
    "best_so_far": DONE,
    "impossible": NO_PLAN_EXISTS,
    "not_found": NOT_FOUND,
}
DEMO_SEASON = Path(__file__).parents[2] / "data_demo" / "season"
DEMO_SECONDS = 60.0


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.command("plan")(plan)
    app.command("price")(price)
    app.command("audit")(audit)
    app.command("demo")(demo)


def plan(
    season: SeasonPath,
    first: Annotated[str | None, typer.Option("--from", metavar="W", help="First weekend of the block.")] = None,
    last: Annotated[str | None, typer.Option("--to", metavar="W", help="Last weekend of the block.")] = None,
    after: After = None,
    start: Annotated[
        Path | None, typer.Option("--start", metavar="PLAN", help="A plan to start the search at.")
    ] = None,
    out: Out = None,
    time_s: TimeS = 60.0,
    work: Work = None,
    seed: Seed = 1,
    workers: Workers = 2,
    scenarios: Scenarios = 1024,
    tail: Tail = None,
    tolerance: Tolerance = 0.001,
    as_json: Json = False,
) -> None:
    """Plan a block: who works which seat, who travels as reserve, and the proof of how good that is."""
    settings = Settings(
        time_s=time_s, work=work, seed=seed, workers=workers, scenarios=scenarios, tail=tail, tolerance=tolerance
    )
    study = open_study(season, settings, first, last, after)
    begin = read_given(study, start).assignments if start is not None else None
    with stop_on_interrupt() as stopped:
        found = workflow.make_plan(study, on_progress=_say_progress, stop=stopped.is_set, start=begin)
    if out is not None:
        write_plan(found, out)
        say(f"{out}: written")
    if as_json:
        print_json(plan_to_dict(found))
    else:
        _print_plan(study, found)
    raise typer.Exit(EXIT_CODES[found.status])


def price(season: SeasonPath, plan_path: PlanPath, after: After = None, as_json: Json = False) -> None:
    """Price any plan, one made by hand too: what it costs, item by item, with its stop times."""
    study, given = open_plan(season, plan_path, after)
    priced = workflow.price_plan(study, given)
    if as_json:
        document = plan_to_dict(given.replace(entries=priced.entries, costs=priced.costs, value_s=priced.value_s))
        print_json({key: document[key] for key in ("entries", "costs", "value_s")})
        return
    out = console()
    out.print(plan_tables.forecasts(study.season, priced.entries))
    out.print(plan_tables.costs(priced.costs, priced.value_s))


def audit(season: SeasonPath, plan_path: PlanPath, after: After = None, as_json: Json = False) -> None:
    """Check a plan against every limit, from the season and the plan alone; exit code 4 on a breach."""
    study, given = open_plan(season, plan_path, after)
    found = workflow.audit_plan(study, given)
    if as_json:
        print_json(answer_tables.audit_document(found))
    else:
        console().print(answer_tables.audit_table(found))
    if not found.passed:
        raise typer.Exit(BREACH)


def demo(
    time_s: TimeS = DEMO_SECONDS, workers: Workers = 2, seed: Seed = 1, out: Out = None, as_json: Json = False
) -> None:
    """Run the main job on the demo season: crews, stop times, proof and next-best swaps."""
    study = open_study(DEMO_SEASON, Settings(time_s=time_s, workers=workers, seed=seed))
    with stop_on_interrupt() as stopped:
        found = workflow.make_plan(study, on_progress=_say_progress, stop=stopped.is_set)
    if out is not None:
        write_plan(found, out)
    checks = workflow.audit_plan(study, found)
    swaps = workflow.best_swaps(study, found)
    if as_json:
        print_json({**plan_to_dict(found), "swaps": answer_tables.swaps_document(swaps)})
    else:
        _print_plan(study, found)
        screen = console()
        screen.print(answer_tables.audit_table(checks, only_summary=True))
        screen.print(answer_tables.swaps_table(study.season, swaps[:8]))
        say("Open the web page with:  .venv/bin/streamlit run app.py")
    if not checks.passed:
        raise typer.Exit(BREACH)
    raise typer.Exit(EXIT_CODES[found.status])


def _print_plan(study: Study, found: Plan) -> None:
    screen = console()
    if found.status in ("impossible", "not_found"):
        screen.print(plan_tables.no_plan(found))
        return
    screen.print(plan_tables.crews(study.season, found))
    screen.print(plan_tables.forecasts(study.season, found.entries))
    screen.print(plan_tables.travel_party(study.season, found))
    screen.print(plan_tables.costs(found.costs, found.value_s))
    screen.print(plan_tables.proof(found))
    screen.print(plan_tables.CAUTIONS)


def _say_progress(progress: Progress) -> None:
    say(answer_tables.progress_line(progress))


@contextmanager
def stop_on_interrupt() -> Iterator[threading.Event]:
    """Turn the first Ctrl-C into a request to stop with the best plan so far; the second one ends the program."""
    stopped = threading.Event()

    def ask(*_: object) -> None:
        if stopped.is_set():
            raise KeyboardInterrupt
        stopped.set()
        say("stopping: keeping the best plan so far (Ctrl-C again to leave at once)")

    before = signal.signal(signal.SIGINT, ask)
    try:
        yield stopped
    finally:
        signal.signal(signal.SIGINT, before)
