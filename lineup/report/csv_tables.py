"""Writes a plan as CSV files that any program reads and no spreadsheet mistakes for formulas."""

from __future__ import annotations

import csv
import io
from pathlib import Path

from lineup.errors import InputError
from lineup.plan import Plan
from lineup.report.block_rows import Rows, block_rows
from lineup.report.plain import cell
from lineup.safe_files import write_whole
from lineup.season import Season


def write_csv_tables(folder: Path | str, season: Season, plan: Plan) -> tuple[Path, ...]:
    """Write assignments, reserves, travel, cover, forecasts and costs (RFC 4180, UTF-8); return the paths.

    Raises
    ------
    InputError
        When the folder cannot be written to.
    """
    folder = Path(folder)
    paths = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for table in block_rows(season, plan):
            path = folder / f"{table.name}.csv"
            write_whole(path, csv_text(table).encode("utf-8", "replace"))
            paths.append(path)
    except OSError as error:
        raise InputError(f"{folder}: cannot be written ({error.strerror or error})") from None
    return tuple(paths)


def csv_text(table: Rows) -> str:
    """Return a table as CSV text, lines ended by CRLF; a text that looks like a formula gets a leading quote."""
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    writer.writerow(table.heads)
    writer.writerows([cell(value) if isinstance(value, str) else value for value in row] for row in table.rows)
    return out.getvalue()
