"""Commands about the season folder and what its grades tell: check, skills, grading-sheet, add-grades."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Annotated, Any

import typer

from lineup.cli.common import BAD_INPUT, Json, SeasonPath, console, find_athlete, print_json, say
from lineup.errors import InputError, Report, SeasonError
from lineup.explain.words import count
from lineup.grading_sheet import add_grades, write_grading_sheet
from lineup.new_season import write_new_season
from lineup.read import read_season
from lineup.report import skill_tables
from lineup.season import Season
from lineup.skills import estimate_skills, holdout_report, profile, skills_table
from lineup.stop_model.pair_patterns import pair_patterns
from lineup.stop_model.stop_check import held_out_calibration


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.command("new")(new)
    app.command("check")(check)
    app.command("skills")(skills)
    app.command("grading-sheet")(grading_sheet)
    app.command("add-grades")(add_graded_sheet)


def new(folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="A folder that is not there yet.")]) -> None:
    """Write a small, commented, valid season to start from, and the same tables as one workbook."""
    written = write_new_season(folder)
    say(f"{folder}: {count(len(written), 'file')} written; read README.txt there, then `lineup check {folder}`")


def check(season: SeasonPath, as_json: Json = False) -> None:
    """Validate a season folder: every problem at once, with file, row, column, value and mend."""
    try:
        facts, report = read_season(season)
    except SeasonError as error:
        report = error.report
        if as_json:
            print_json(report_document(report))
        say(str(report))
        say(f"{season}: {count(len(report.problems), 'problem')}, {count(len(report.warnings), 'warning')}")
        raise typer.Exit(BAD_INPUT) from None
    if as_json:
        print_json(report_document(report))
    else:
        console().print(skill_tables.season_summary(facts))
    if report.warnings:
        say(str(report))
    say(f"{season}: no problems, {count(len(report.warnings), 'warning')}")


def skills(
    season: SeasonPath,
    athlete: Annotated[str | None, typer.Option("--athlete", help="Show one athlete's profile.")] = None,
    on: Annotated[
        str | None, typer.Option("--on", metavar="DATE", help="As known on this day; default: with every grade.")
    ] = None,
    check_from: Annotated[
        str | None, typer.Option("--check", metavar="DATE", help="Forecast what came from this day on, and compare.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Estimate skills from the graded stops: split times, consistency and misses, with their uncertainty."""
    facts, _ = read_season(season)
    if check_from is not None:
        _check_skills(facts, parse_date(check_from), as_json)
        return
    estimates = estimate_skills(facts, parse_date(on) if on else None)
    if athlete is not None:
        found = profile(facts, estimates, find_athlete(facts, athlete))
        if as_json:
            print_json(asdict(found))
        else:
            console().print(skill_tables.profile_text(facts, found))
        return
    rows = skills_table(facts, estimates)
    if as_json:
        print_json(rows)
    else:
        console().print(skill_tables.skills(facts, rows))


def _check_skills(season: Season, day: date, as_json: bool) -> None:
    """Tell how well what was known before a day predicts what came after, and which pairs leave a pattern."""
    checks: dict[str, Callable[[], Any]] = {
        "grades": lambda: holdout_report(season, day),
        "stops": lambda: held_out_calibration(season, day),
        "pairs": lambda: pair_patterns(season, estimate_skills(season)),
    }
    document: dict[str, Any] = {}
    for name, check in checks.items():
        try:
            found = check()
        except InputError as error:  # a season may have grades and no whole stops to hold them against
            document[name] = {"text": str(error)}
        else:
            document[name] = {**asdict(found), "text": found.text}
    if as_json:
        print_json(document)
    else:
        for part in document.values():
            console().print(part["text"])


def grading_sheet(
    season: SeasonPath,
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="The .xlsx to write.")] = Path("grading.xlsx"),
    service: Annotated[str | None, typer.Option("--service", help="Only this kind of stop.")] = None,
) -> None:
    """Write a blank grading sheet: one line per stop and position, a column per graded task, a tally per miss."""
    facts, _ = read_season(season)
    write_grading_sheet(facts, out, service=service)
    say(f"{out}: written; fill in what you saw, leave blank what you did not, then `lineup add-grades {season} {out}`")


def add_graded_sheet(
    season: SeasonPath,
    sheet: Annotated[Path, typer.Argument(metavar="SHEET", help="A filled-in grading sheet.")],
    as_json: Json = False,
) -> None:
    """Add a filled-in grading sheet to the season folder's graded_stops.csv and stops.csv."""
    added = add_grades(season, sheet)
    if as_json:
        print_json(asdict(added))
    say(f"{season}: {count(added.grades, 'graded task')} and {count(added.stops, 'stop')} added from {sheet}")


def report_document(report: Report) -> dict[str, Any]:
    """Return the JSON form of a report on a season folder."""
    return {kind: [asdict(row) for row in getattr(report, kind)] for kind in ("problems", "warnings")}


def parse_date(text: str) -> date:
    """Return an ISO date, or raise an `InputError` that shows the form wanted."""
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(f"{text!r} is not a date of the form 2027-03-14") from None
