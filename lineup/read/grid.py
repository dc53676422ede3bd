"""A table of a season folder as rows of text, as a page edits it."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Grid:
    """A table as text, every row as wide as the header; row 2 of the file is the first of `rows`."""

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def to_grid(text: str) -> Grid:
    """Parse the text of a table; rows are brought to the header's width, blank lines kept so that rows count alike."""
    lines = list(csv.reader(io.StringIO(text, newline="")))
    header = tuple(cell.strip() for cell in lines[0]) if lines else ()
    rows = ([*line, *[""] * len(header)][: len(header)] for line in lines[1:])
    return Grid(header, tuple(tuple(row) for row in rows))


def is_grid(text: str, taken: Sequence[str] = ()) -> bool:
    """Whether a table can be edited as a grid: its columns have names of their own, none of them among those taken."""
    try:
        header = to_grid(text).header
    except csv.Error:
        return False
    return len({*header, *taken}) == len(header) + len(taken) and "" not in header


def to_text(header: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Write a table as CSV (RFC 4180)."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    return out.getvalue()


def with_row(text: str, columns: Sequence[str], row: Mapping[str, str]) -> str:
    """Return a table with one row more; columns it lacks are added where the row needs them."""
    grid = to_grid(text)
    more = [name for name in columns if name not in grid.header and row.get(name)]
    header = [*grid.header, *more] if grid.header else list(columns)
    missing = [""] * (len(header) - len(grid.header))
    rows = [[*old, *missing] for old in grid.rows]
    return to_text(header, [*rows, [row.get(name, "") for name in header]])
