"""The command that writes documents: sheets, workbook, calendars and CSV tables of a plan or a signed weekend."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from lineup.cli.common import Json, SeasonPath, print_json, read_given, say
from lineup.cli.store_options import StoreOptions, with_store
from lineup.errors import InputError
from lineup.explain.words import count
from lineup.plan import Plan
from lineup.report.calendar import Issue
from lineup.report.documents import write_documents
from lineup.report.sheet import too_long_sheets
from lineup.report.stamp import Papers
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
    earlier: tuple[Plan, ...] = ()
    if plan is not None:
        given = read_given(study, plan)
        papers = {label: Papers.draft(given) for label in given.weekends}
        issue = Issue("draft", 0, at.moment)
    else:
        with at.opened(season) as kept:
            papers = {str(weekend): kept.papers(str(weekend))}
            issue = Issue(kept.key(), kept.head()[0], at.moment)
            earlier = kept.given_out()
    written = write_documents(folder, study.season, papers, issue, paper=paper, earlier=earlier)
    for label, found in papers.items():
        if found.crews is None:
            say(f"weekend {label}: only the travel list was proposed so far, so there is only its sheet")
            continue
        for notice in too_long_sheets(study.season, found.crews, label, paper=paper):
            say(f"weekend {label}: {notice}")
    if as_json:
        print_json({"written": [str(path) for path in written]})
    say(f"{folder}: {count(len(written), 'document')} written")
