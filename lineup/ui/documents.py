"""Makes the documents of a weekend for download: what `lineup export` writes, in memory."""

from __future__ import annotations

import io
import tempfile
import zipfile
from datetime import datetime
from pathlib import Path

from lineup.report.calendar import Issue
from lineup.report.documents import write_documents
from lineup.report.sheet import write_sheets
from lineup.season import Season
from lineup.store import Store


def weekend_documents(kept: Store, season: Season, weekend: str, at: datetime, paper: str = "A4") -> bytes:
    """Return a zip with every document of a weekend as it stands in the store."""
    issue = Issue(kept.key(), kept.head()[0], at)
    papers = {weekend: kept.papers(weekend)}
    with tempfile.TemporaryDirectory() as place:
        write_documents(place, season, papers, issue, paper=paper, earlier=kept.given_out())
        return _zipped(Path(place))


def weekend_sheets(kept: Store, season: Season, weekend: str, at: datetime, paper: str = "A4") -> dict[str, bytes]:
    """Return the sheets of a weekend as PDF by file name."""
    with tempfile.TemporaryDirectory() as place:
        paths = write_sheets(place, season, kept.papers(weekend), weekend, printed_at=at, paper=paper)
        return {path.name: path.read_bytes() for path in paths}


def _zipped(folder: Path) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for path in sorted(path for path in folder.rglob("*") if path.is_file()):
            packed.write(path, path.relative_to(folder).as_posix())
    return out.getvalue()
