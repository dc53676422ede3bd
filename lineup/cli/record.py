"""Commands about the record: keep a plan as a revision, tell the history, tell what differs between two plans."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from lineup import workflow
from lineup.cli.common import BAD_INPUT, Json, PlanPath, SeasonPath, console, print_json, read_given, say
from lineup.cli.store_options import Reason, StoreOptions, with_store
from lineup.explain.words import count
from lineup.plan import Plan
from lineup.report.plan_tables import new_table
from lineup.store import Verification
from lineup.study import Study, open_study, study_of


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.command("keep")(keep)
    app.command("history")(history)
    app.command("difference")(tell_difference)


@with_store()
def keep(
    season: SeasonPath,
    plan: PlanPath,
    reason: Reason,
    parent: Annotated[int | None, typer.Option("--parent", help="The revision it was made from.")] = None,
    as_json: Json = False,
    *,
    at: StoreOptions,
) -> None:
    """Keep a plan as a new revision in the store."""
    study = open_study(season)
    given = read_given(study, plan)
    with at.opened(season) as kept:
        revision = kept.save(given, study.season, reason=reason, by=at.user, now=at.moment, parent=parent)
    if as_json:
        print_json(asdict(revision))
    say(f"kept as revision {revision.number}")


@with_store("store")
def history(
    season: SeasonPath,
    weekend: Annotated[str | None, typer.Option("--weekend", metavar="W", help="Only this weekend.")] = None,
    verify: Annotated[
        bool, typer.Option("--verify", help="Check that no record was changed since it was written.")
    ] = False,
    printed: Annotated[
        str, typer.Option("--printed", metavar="CODE", help="Also find the check code of a printed sheet.")
    ] = "",
    as_json: Json = False,
    *,
    at: StoreOptions,
) -> None:
    """Tell everything that happened, and with --verify whether the record is as it was written."""
    with at.opened(season) as kept:
        lines = kept.history(weekend)
        names = {line.author: kept.name_of(line.author) for line in lines}
        found = kept.verify(printed) if verify or printed else None
    if as_json:
        print_json({"history": [asdict(line) for line in lines], "verification": found and asdict(found)})
    else:
        table = new_table("History", "when (UTC)", "who", "what", "check code")
        for line in lines:
            table.add_row(f"{line.at:%Y-%m-%d %H:%M}", names[line.author], line.text, line.hash[:12])
        console().print(table)
        if found is not None:
            say(_verification_text(found))
    if found is not None and not found.ok:
        raise typer.Exit(BAD_INPUT)


@with_store("store")
def tell_difference(
    season: SeasonPath,
    before: Annotated[str, typer.Argument(metavar="BEFORE", help="A plan file, or the number of a revision.")],
    after: Annotated[str, typer.Argument(metavar="AFTER", help="A plan file, or the number of a revision.")],
    weekend: Annotated[str | None, typer.Option("--weekend", metavar="W", help="Who moves in this weekend.")] = None,
    as_json: Json = False,
    *,
    at: StoreOptions,
) -> None:
    """Tell who moves between two plans, what it costs and gains and how sure, and which limits get close."""
    study = open_study(season)
    old, new = (_plan(study, season, given, at) for given in (before, after))
    found = workflow.compare_plans(study_of(study, new), old, new, weekend)
    if as_json:
        print_json(asdict(found))
    else:
        for line in found.texts(study.season):
            console().print(line)


def _verification_text(found: Verification) -> str:
    if found.ok:
        return f"The record is as it was written: {count(found.records, 'record')}."
    return f"The record is damaged: {found.problem}"


def _plan(study: Study, season: Path, given: str, at: StoreOptions) -> Plan:
    if not given.isdigit():
        return read_given(study, given)
    with at.opened(season) as store:
        return store.plan(int(given))
