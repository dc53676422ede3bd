"""Writes everything that goes out about a plan: workbook, CSV tables, calendars, and the sheets of each weekend."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

from lineup.plan import Plan
from lineup.report.calendar import Issue, write_calendars
from lineup.report.csv_tables import write_csv_tables
from lineup.report.plain import file_name
from lineup.report.sheet import ready, write_sheets
from lineup.report.stamp import Papers
from lineup.report.workbook import write_workbook
from lineup.season import Season


def write_documents(
    folder: Path | str,
    season: Season,
    papers: Mapping[str, Papers],
    issue: Issue,
    *,
    paper: str = "A4",
    earlier: Iterable[Plan] = (),
) -> tuple[Path, ...]:
    """Write all documents of some weekends of one plan and return their paths.

    Workbook, tables and calendars name the crews, so there are none while only a travel list is known.

    Parameters
    ----------
    papers : what to print, by weekend.
    issue : edition and moment; the moment is printed.
    paper : "A4" or "Letter".
    earlier : plans given out before; calendars cancel from them.

    Raises
    ------
    InputError
        When a weekend is unknown, or the folder cannot be written to.
    """
    folder = ready(folder)
    written: list[Path] = []
    crews = next((found.crews for found in papers.values() if found.crews is not None), None)
    if crews is not None:
        book = folder / "block.xlsx"
        written.append(write_workbook(book, season, crews.plan, made_at=issue.stamped_at, stamp=crews.stamp))
        written += write_csv_tables(folder / "csv", season, crews.plan)
        written += write_calendars(folder / "calendars", season, crews.plan, issue, earlier=earlier)
    for weekend, found in papers.items():
        place = folder / "sheets" / file_name(weekend)
        written += write_sheets(place, season, found, weekend, printed_at=issue.stamped_at, paper=paper)
    return tuple(written)
