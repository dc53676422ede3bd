"""The command that writes documents: sheets, workbook, calendars and CSV tables of a plan or a signed weekend."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lineup.cli.common import Json, SeasonPath, print_json, say
from lineup.cli.store_options import StoreOptions, with_store
from lineup.errors import InputError
from lineup.plan import Plan
from lineup.report.calendar import Issue, write_calendars
from lineup.report.csv_tables import write_csv_tables
from lineup.report.plain import file_name
from lineup.report.sheet import too_long_sheets, write_sheets
from lineup.report.stamp import Paper, Stamp
from lineup.report.workbook import write_workbook
from lineup.study import open_study


def register(app: typer.Typer) -> None:
    """Add this command to the command line."""
    app.command("export")(export)


@with_store("store", "now")
def export(
    season: SeasonPath,
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where the documents go.")],
    plan: Annotated[Path | None, typer.Option("--plan", metavar="PLAN", help="A plan file: a draft.")] = None,
    weekend: Annotated[str | None, typer.Option("--weekend", metavar="W", help="As it stands in the store.")] = None,
    paper: Annotated[str, typer.Option("--paper", help="A4 or Letter.")] = "A4",
    as_json: Json = False,
    *,
    at: StoreOptions,
) -> None:
    """Write sheets (PDF), workbook (.xlsx), calendars (.ics) and CSV tables.

    With --weekend: the weekend as it was proposed or signed, from the store. With --plan: drafts of a whole plan.
    """
    if (plan is None) == (weekend is None):
        raise InputError("name either --plan PLAN or --weekend W")
    study = open_study(season)
    facts, printed = study.season, at.moment
    if plan is not None:
        given = study.read_plan(plan)
        papers = {w: Paper(given, Stamp.draft()) for w in given.weekends}
        issue, stamp = Issue("draft", 0, printed), Stamp.draft()
        earlier: tuple[Plan, ...] = ()
    else:
        with at.opened(season) as kept:
            crews = kept.paper(str(weekend))
            issue = Issue(kept.key(), kept.head()[0], printed)
            earlier = kept.given_out()
        given, papers, stamp = crews.plan, {str(weekend): crews}, crews.stamp
    written = [write_workbook(_ready(folder) / "block.xlsx", facts, given, made_at=printed, stamp=stamp)]
    written += write_csv_tables(folder / "csv", facts, given)
    written += write_calendars(folder / "calendars", facts, given, issue, earlier=earlier)
    for label, sheet in papers.items():
        written += write_sheets(
            folder / "sheets" / file_name(label), facts, sheet, label, printed_at=printed, paper=paper
        )
        for notice in too_long_sheets(facts, sheet, label, paper=paper):
            say(f"weekend {label}: {notice}")
    if as_json:
        print_json({"written": [str(path) for path in written]})
    say(f"{folder}: {len(written)} documents written")


def _ready(folder: Path) -> Path:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{folder}: cannot be made ({error.strerror or error})") from None
    return folder
