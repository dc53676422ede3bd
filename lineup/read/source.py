"""The raw season, before anything is checked: tables of text and parsed documents, from a folder or a workbook."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from lineup.read.notes import Notes, meant
from lineup.read.rows import OPTIONAL_TABLES, TABLES

DOCUMENTS: Final = ("limits", "weights")
LARGEST_BYTES: Final = 250_000_000
_NAME: Final = "Give the column a name, or clear it."
_COMMAS: Final = "Save it as comma-separated CSV."
_QUOTES: Final = 'Put a cell that holds a comma between quotation marks, such as "Lind, Ana".'


@dataclass(frozen=True)
class Table:
    """A table as text: every row as wide as the header, `numbers` as a spreadsheet counts."""

    file: str
    header: tuple[str, ...]
    rows: list[list[str]]
    numbers: list[int]
    shifted: set[int] = field(default_factory=set)  # numbers of rows with more cells than the header

    def column(self, name: str) -> list[str]:
        """Return the cells of one column, all empty where the table does not have it."""
        if name not in self.header:
            return [""] * len(self.rows)
        place = self.header.index(name)
        return [row[place] for row in self.rows]


@dataclass(frozen=True)
class RawTask:
    """One task as given; `row` where it stands in a sheet."""

    data: dict[str, Any]
    row: int | None = None


@dataclass(frozen=True)
class RawChoreography:
    """One choreography as given; `data` holds everything but its tasks."""

    file: str
    data: dict[str, Any]
    tasks: list[RawTask]


@dataclass
class Source:
    """Everything given. A name in `broken` was given but cannot be used, or is missing though needed."""

    tables: dict[str, Table] = field(default_factory=dict)
    documents: dict[str, tuple[str, dict[str, Any]]] = field(default_factory=dict)
    choreographies: dict[str, RawChoreography | None] = field(default_factory=dict)  # None: cannot be used
    broken: set[str] = field(default_factory=set)


def make_table(file: str, lines: Iterable[Sequence[str]], notes: Notes) -> Table | None:
    """Turn lines of cells into a table: header checked, blank lines dropped, rows brought to the header's width."""
    cells = [[cell.strip() for cell in line] for line in lines]
    header = cells[0] if cells else []
    while header and not header[-1]:
        header.pop()
    if not header:
        notes.problem(file, 1, None, None, "is empty, it has not even a header", "Give the names of the columns.")
        return None
    if len(header) == 1 and any(mark in header[0] for mark in ";\t|"):
        notes.problem(file, 1, None, header[0], "has its cells separated by something else than commas", _COMMAS)
        return None
    twice = {name for i, name in enumerate(header) if name and name in header[:i]}
    for name in sorted(twice):
        notes.problem(file, 1, name, None, "this column is there twice", "Give every column its own name.")
    table = _even_out(file, header, cells, notes)
    return None if twice else _named_only(table, notes)


def _even_out(file: str, header: list[str], cells: list[list[str]], notes: Notes) -> Table:
    width = len(header)
    table = Table(file, tuple(header), [], [])
    for number, row in enumerate(cells[1:], start=2):
        if not any(row):
            continue
        if len(row) > width and any(row[width:]):
            extra = next(cell for cell in row[width:] if cell)
            notes.problem(file, number, None, extra, f"has more cells than the header's {width}", _QUOTES)
            table.shifted.add(number)
        table.rows.append(row if len(row) == width else (row + [""] * width)[:width])
        table.numbers.append(number)
    return table


def _named_only(table: Table, notes: Notes) -> Table:
    """Drop columns without a name; one that holds something is noted."""
    if all(table.header):
        return table
    kept = [i for i, name in enumerate(table.header) if name]
    for place, name in enumerate(table.header):
        found = next((k for k, row in enumerate(table.rows) if row[place]), None)
        if not name and found is not None:
            value = table.rows[found][place]
            notes.problem(table.file, table.numbers[found], None, value, "stands under no column name", _NAME)
    rows = [[row[i] for i in kept] for row in table.rows]
    return Table(table.file, tuple(table.header[i] for i in kept), rows, table.numbers, table.shifted)


def missing_tables(source: Source, form: str, notes: Notes) -> None:
    """Note every table that is needed and not there; `form` makes a table's file name of its name."""
    for name in TABLES:
        if name not in OPTIONAL_TABLES and name not in source.tables and name not in source.broken:
            source.broken.add(name)
            mend = "Add it; with no rows it may hold its header only."
            notes.problem(form.format(name), None, None, None, "is missing", mend)


def stray(name: str, given: Iterable[str], known: Iterable[str], notes: Notes) -> None:
    """Note something nobody reads: wrong when it looks like a mistyped name of something absent, odd otherwise."""
    absent = [other for other in known if other not in set(given)]
    mend = meant(name, absent)
    if mend:
        notes.problem(name, None, None, None, "is not a known name, so it would not be read", mend)
    else:
        notes.warning(
            name, None, None, None, "is not a known name and was not read", "Nothing to do, if that is meant."
        )
