"""Makes the documents of a weekend for download: sheets to print, workbook, calendars."""

from __future__ import annotations

import io
import tempfile
import zipfile
from datetime import datetime
from pathlib import Path

from lineup.report.calendar import Issue, write_calendars
from lineup.report.csv_tables import write_csv_tables
from lineup.report.sheet import write_sheets
from lineup.report.stamp import Paper
from lineup.report.workbook import write_workbook
from lineup.season import Season
from lineup.store import Store


def weekend_documents(kept: Store, season: Season, weekend: str, at: datetime, paper: str = "A4") -> bytes:
    """Return a zip with everything a weekend needs, as it stands in the store: what `lineup export` writes."""
    crews = kept.paper(weekend)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        issue = Issue(kept.key(), kept.head()[0], at)
        write_workbook(folder / "block.xlsx", season, crews.plan, made_at=at, stamp=crews.stamp)
        write_csv_tables(folder / "csv", season, crews.plan)
        write_calendars(folder / "calendars", season, crews.plan, issue, earlier=kept.given_out())
        _sheets(folder / "sheets", season, crews, weekend, at, paper)
        return _zipped(folder)


def weekend_sheets(kept: Store, season: Season, weekend: str, at: datetime, paper: str = "A4") -> dict[str, bytes]:
    """Return the sheets of a weekend as PDF by file name."""
    with tempfile.TemporaryDirectory() as place:
        paths = _sheets(Path(place), season, kept.paper(weekend), weekend, at, paper)
        return {path.name: path.read_bytes() for path in paths}


def _sheets(folder: Path, season: Season, crews: Paper, weekend: str, at: datetime, paper: str) -> tuple[Path, ...]:
    return tuple(write_sheets(folder, season, crews, weekend, printed_at=at, paper=paper))


def _zipped(folder: Path) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for path in sorted(path for path in folder.rglob("*") if path.is_file()):
            packed.write(path, path.relative_to(folder).as_posix())
    return out.getvalue()
