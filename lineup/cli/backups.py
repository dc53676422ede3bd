"""Commands about backups: depth chart, re-planning without an athlete, drills over everybody."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

import typer

from lineup import workflow
from lineup.cli.common import (
    NO_PLAN_EXISTS,
    NOT_FOUND,
    After,
    Json,
    Out,
    PlanPath,
    SeasonPath,
    console,
    find_athlete,
    open_plan,
    print_json,
    say,
)
from lineup.cli.planning import stop_on_interrupt
from lineup.cli.season_data import parse_date
from lineup.cli.store_options import StoreOptions, with_store
from lineup.errors import InputError
from lineup.explain.absences import Return, absence_of, return_of
from lineup.explain.depth import depth_chart, depth_to_dict
from lineup.explain.drill import drill as run_drill
from lineup.explain.drill_records import drill_lines, drill_to_dict
from lineup.explain.injury import replan_to_dict
from lineup.plan_file import write_plan
from lineup.report import answer_tables
from lineup.study import Study


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.command("depth")(depth)
    app.command("without")(without)
    app.command("drill")(drill)


def depth(
    season: SeasonPath,
    plan: PlanPath,
    weekend: Annotated[str | None, typer.Option("--weekend", metavar="W", help="Default: each car's first.")] = None,
    after: After = None,
    as_json: Json = False,
) -> None:
    """Show the depth chart: per car and position first to last, the holes, and where one loss hurts most."""
    study, given = open_plan(season, plan, after)
    chart = depth_chart(study, given, weekend)
    if as_json:
        print_json(depth_to_dict(chart))
    else:
        console().print(answer_tables.depth_text(study.season, chart))


def without(
    season: SeasonPath,
    plan: PlanPath,
    athletes: Annotated[list[str], typer.Argument(metavar="ATHLETE...")],
    first: Annotated[str | None, typer.Option("--from", metavar="DATE", help="First day out.")] = None,
    last: Annotated[str | None, typer.Option("--to", metavar="DATE", help="Last day out; open unless given.")] = None,
    cover: Annotated[
        str | None, typer.Option("--cover", metavar="DATE", help="Coming back: may step in from here.")
    ] = None,
    start: Annotated[
        str | None, typer.Option("--start", metavar="DATE", help="Coming back: may start from here.")
    ] = None,
    signed: Annotated[
        list[str] | None, typer.Option("--signed", metavar="W", help="Signed: only lost seats change.")
    ] = None,
    on_site: Annotated[
        list[str] | None, typer.Option("--on-site", metavar="RACE", help="The crew is there already.")
    ] = None,
    after: After = None,
    out: Out = None,
    as_json: Json = False,
) -> None:
    """Plan again without an athlete: the fewest changes, the best plan, and what lies between.

    The days of a return come from the coach, after a licensed practitioner has cleared each step in writing; nothing
    here clears anybody.
    """
    study, given = open_plan(season, plan, after)
    begins, ends = _day(first), _day(last)
    names = [find_athlete(study.season, athlete) for athlete in dict.fromkeys(athletes)]
    returns = _returns(study, names, begins, ends, _day(cover), _day(start))
    absences = [] if returns else [absence_of(study.season, study.weekends, a, begins, ends) for a in names]
    with stop_on_interrupt() as stopped:
        found = workflow.replan_without(
            study, given, absences, signed or (), on_site or (), returns,
            on_progress=lambda p: say(answer_tables.progress_line(p)), stop=stopped.is_set,
        )  # fmt: skip
    if found.options and out is not None:
        write_plan(workflow.plan_of_option(study, found, found.options[0]), out)
        say(f"{out}: written, with the fewest changes")
    if as_json:
        print_json(replan_to_dict(found))
    else:
        console().print(answer_tables.replan_text(study.season, found))
    if not found.options:
        raise typer.Exit(NO_PLAN_EXISTS if found.clash else NOT_FOUND)


@with_store()
def drill(
    season: SeasonPath,
    plan: PlanPath,
    athletes: Annotated[list[str] | None, typer.Argument(metavar="[ATHLETE...]", help="Unless named: all.")] = None,
    pairs: Annotated[bool, typer.Option("--pairs", help="Also every two of them together.")] = False,
    first: Annotated[str | None, typer.Option("--from", metavar="DATE", help="First day out.")] = None,
    scheduler: Annotated[
        str | None, typer.Option("--scheduler", metavar="ADDRESS", help="Dask cluster to share.")
    ] = None,
    keep: Annotated[str | None, typer.Option("--keep", metavar="NAME", help="Keep what it finds in the store.")] = None,
    after: After = None,
    as_json: Json = False,
    *,
    at: StoreOptions,
) -> None:
    """Lose each athlete in turn: who cannot be lost, what each loss costs, who saves most.

    With --keep NAME what it finds goes into the season's store under that name, as from the page Depth chart; a
    coach may do that. It is told in `lineup history` and never changes afterwards.
    """
    _require_keeper(season, keep, at)
    study, given = open_plan(season, plan, after)
    with stop_on_interrupt() as stopped:
        found = run_drill(
            study, given, athletes or None, pairs, _day(first), scheduler=scheduler,
            on_progress=lambda loss, done, of: say(f"{done} of {of}: {', '.join(loss.athletes)}"), stop=stopped.is_set,
        )  # fmt: skip
    if keep is not None:
        with at.opened(season) as store:
            marks = study.season.fingerprints
            kept = store.keep_drill(keep, drill_to_dict(found), marks, by=at.user, now=at.moment)
        say(f"kept as record {kept.number}")
    if as_json:
        print_json(drill_to_dict(found))
        return
    for line in drill_lines(study.season, found):
        console().print(line)


def _require_keeper(season: Path, name: str | None, at: StoreOptions) -> None:
    """Refuse to keep before a long drill begins, not after it."""
    if name is None:
        return
    if not name.strip():
        raise InputError("--keep needs a name for the drill")
    with at.opened(season) as store:
        if store.people is not None:
            store.people.require(at.user, ("coach",), "keeping a drill")


def _day(text: str | None) -> date | None:
    return None if text is None else parse_date(text)


def _returns(
    study: Study, athletes: list[str], first: date | None, last: date | None, cover: date | None, start: date | None
) -> list[Return]:
    """Turn the dates of a return into ramps; none where no such date was given."""
    if cover is None and start is None:
        return []
    if start is None or last is not None:
        raise InputError("a return needs --start (and takes no --to): out, cover, start")
    return [return_of(study.season, study.weekends, a, cover or start, start, first=first) for a in athletes]
