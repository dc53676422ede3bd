"""Wires the reading of a season: raw tables, rows, facts, checks between tables, warnings."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from lineup.errors import Report, SeasonError
from lineup.fingerprints import fingerprints
from lineup.read import facts
from lineup.read.cells import SLUG, slug_for
from lineup.read.choreographies import read_choreographies
from lineup.read.cross import check_coordinates, check_entries, check_services, check_weekends, check_worked
from lineup.read.documents import read_limits, read_weights
from lineup.read.folder import read_folder
from lineup.read.graded import read_grades
from lineup.read.notes import Notes
from lineup.read.odd import warn_of_odd_facts
from lineup.read.pins import warn_of_odd_pins
from lineup.read.rows import TABLES
from lineup.read.source import Source
from lineup.read.stop_totals import read_stops
from lineup.read.tables import Known, check_keys, check_refs, read_rows
from lineup.read.workbook import read_workbook
from lineup.season import Entry, Season

BIG = ("stops", "graded_stops")


def read_season(path: Path | str) -> tuple[Season, Report]:
    """Read a season.

    Parameters
    ----------
    path : a folder of CSV and TOML files, or one .xlsx workbook with the same tables as sheets.

    Returns
    -------
    The season, and a report that holds warnings only.

    Raises
    ------
    SeasonError
        With a report of every problem and warning, when anything is wrong.
    """
    notes = Notes()
    source = _open(Path(path), notes)
    season = None if source is None else _Reading(source, notes).season()
    report = notes.report()
    if season is None or report.problems:
        raise SeasonError(report)
    return season.replace(fingerprints=fingerprints(season)), report


def _open(path: Path, notes: Notes) -> Source | None:
    try:
        if path.is_dir():
            return read_folder(path, notes)
        if path.is_file() and path.suffix.lower() == ".xlsx":
            return read_workbook(path, notes)
        odd = "is neither a folder nor an .xlsx workbook" if path.exists() else "there is no such season"
        notes.problem(str(path), None, None, None, odd, "Give the path of a season folder or workbook.")
    except (OSError, ValueError) as error:
        notes.problem(str(path), None, None, None, f"cannot be read: {error}", "Check the path.")
    return None


class _Reading:
    """One season on its way from raw tables to facts."""

    def __init__(self, source: Source, notes: Notes) -> None:
        self.source, self.notes = source, notes
        self.known = _known_ids(source)
        self.rows: dict[str, tuple[str, Sequence[Any]]] = {}
        for name, model in TABLES.items():
            if name in BIG:
                continue
            table = source.tables.get(name)
            file = f"{name}.csv" if table is None else table.file
            rows = [] if table is None else read_rows(table, model, notes)
            check_refs(file, rows, model, self.known, notes)
            if table is not None:
                check_keys(table, model, notes)
            self.rows[name] = (file, rows)

    def season(self) -> Season | None:
        """Build the season and check it; None when something is wrong."""
        rows, notes = self.rows, self.notes
        zones = {row.site: row.time_zone for row in rows["sites"][1]}
        positions = facts.positions(rows["positions"][1])
        if_possible = frozenset(p.id for p in positions.values() if p.filled == "if_possible")
        positions_known = self.known["positions"] is not None
        choreographies = read_choreographies(self.source, self.known, if_possible if positions_known else None, notes)
        misses = facts.misses(rows["misses"][1])
        stops = read_stops(self.source, self.known, notes)
        season_facts: dict[str, Any] = {
            "athletes": facts.athletes(rows["athletes"][1]),
            "positions": positions,
            "sites": facts.sites(rows["sites"][1]),
            "cars": facts.cars(rows["cars"][1]),
            "races": facts.races(*rows["races"], zones, notes),
            "entries": tuple(Entry(r.race, r.car) for r in rows["entries"][1]),
            "service_counts": facts.service_counts(rows["services"][1]),
            "choreographies": choreographies,
            "clearances": facts.clearances(rows["clearances"][1]),
            "misses": misses,
            "stops": stops,
            "grades": read_grades(self.source, self.known, choreographies, misses, stops, notes),
            "absences": facts.absences(*rows["availability"], notes),
            "pins": facts.pins(*rows["pins"], notes),
            "standing": {(r.car, r.position): r.athlete for r in rows["standing_crews"][1]},
            "worked": facts.worked(*rows["worked"], zones, notes),
            "journeys": facts.journeys(*rows["journeys"], notes),
            "limits": read_limits(self.source, notes),
            "weights": read_weights(self.source, notes),
        }
        self._check_between(season_facts)
        if not notes.clean:
            return None
        season = Season(**season_facts)
        warn_of_odd_facts(season, rows, notes)
        warn_of_odd_pins(season, *rows["pins"], notes)
        return season

    def _check_between(self, found: dict[str, Any]) -> None:
        rows, notes = self.rows, self.notes
        races = rows["races"]
        check_weekends(*races, notes)
        check_entries(*rows["entries"], races[1], rows["cars"][1], notes)
        served = _ids(self.source, "services", "race")
        if served is not None:
            check_services(*races, served, notes)
        if "journeys" not in self.source.broken:
            athletes = rows["athletes"][1]
            check_coordinates(*rows["sites"], athletes, found["races"], found["worked"], found["journeys"], notes)
        check_worked(*rows["worked"], found["worked"], notes)


def _known_ids(source: Source) -> Known:
    """Every id that some table gives, also in rows with a problem; None where the table cannot be used.

    Where an id is misspelt the one that was probably meant counts as given, so that its fault is told once.
    """
    known: dict[str, frozenset[str] | None] = {}
    for name, column in _ID_COLUMNS.items():
        known[name] = _ids(source, name, column)
    cars, races = _ids(source, "cars", "series"), _ids(source, "races", "series")
    known["series"] = None if cars is None or races is None else cars | races
    known["services"] = None if "choreography" in source.broken else frozenset(source.choreographies)
    return known


_ID_COLUMNS = {
    "athletes": "athlete",
    "positions": "position",
    "sites": "site",
    "cars": "car",
    "races": "race",
    "misses": "miss",
}


def _ids(source: Source, table: str, column: str) -> frozenset[str] | None:
    given = source.tables.get(table)
    if table in source.broken or (given is not None and column not in given.header):
        return None
    cells = set() if given is None else set(given.column(column))
    return frozenset(cell if SLUG.fullmatch(cell) else slug_for(cell) for cell in cells) - {""}
