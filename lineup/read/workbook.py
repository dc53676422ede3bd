"""Reads the sheets of one .xlsx workbook as they stand.

The sheets are named like the files of a folder without ending. `limits` and `weights` have the columns key and value,
where value is written as in TOML (`11`, `{ at_most = 3, price_s = 4 }`) and a dot in the key goes into a table
(`journeys.road_km_h`). `choreography` has a row per task: the columns service and [service_name], then the keys of
a task; several ids in a cell are separated by `;`, and car, load, early and release hold yes or no.
"""

from __future__ import annotations

import io
import re
import tomllib
import zipfile
import zlib
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any, Final

from pydantic_core import PydanticCustomError
from python_calamine import CalamineError, CalamineWorkbook

from lineup.read.cells import SLUG, read_list, read_yes_no
from lineup.read.notes import Notes
from lineup.read.rows import TABLES
from lineup.read.source import (
    DOCUMENTS,
    LARGEST_BYTES,
    RawChoreography,
    RawTask,
    Source,
    Table,
    make_table,
    missing_tables,
    stray,
)

SHEETS: Final = (*TABLES, *DOCUMENTS, "choreography")
LISTS: Final = ("after", "misses")  # keys of a task whose cells hold several ids
FLAGS: Final = ("car", "load", "early", "release")
MOST_PARTS: Final = 1000
MOST_CELLS: Final = 10_000_000
PLACE: Final = rb"""\sr\s*=\s*["']"""  # where a row or a cell says its place: 7, or C7
NO_CELL: Final = re.compile(PLACE + rb"""(?![A-Za-z]{0,3}\d{1,7}["'])""")
ROW: Final = re.compile(PLACE + rb"[A-Za-z]*(\d+)")
COLUMN: Final = re.compile(PLACE + rb"([A-Za-z]+)")
ENCODING: Final = re.compile(rb"""(?:\xef\xbb\xbf)?<\?xml[^>]*?encoding\s*=\s*["']([^"']*)""")


def read_workbook(path: Path, notes: Notes) -> Source:
    """Read every known sheet of the workbook; what cannot be read is noted and counts as broken."""
    source = Source()
    sheets = read_sheets(path, notes)
    if sheets is None:
        source.broken = {*SHEETS}
        return source
    for name, lines in sheets.items():
        if name not in SHEETS:
            stray(name, sheets, SHEETS, notes)
            continue
        table = make_table(f"sheet {name}", lines, notes)
        if table is None:
            source.broken.add(name)
        elif name in TABLES:
            source.tables[name] = table
        elif name == "choreography":
            source.choreographies.update(_choreographies(table, notes))
        else:
            source.documents[name] = (table.file, _document(table, notes))
    missing_tables(source, "sheet {}", notes)
    if "choreography" not in sheets:
        source.broken.add("choreography")
        notes.problem("sheet choreography", None, None, None, "is missing", "Add it: a row for every task.")
    return source


def read_sheets(path: Path, notes: Notes) -> dict[str, list[list[str]]] | None:
    """Read all cells of a workbook as text, by sheet; None, with the reason noted, when that cannot be done."""
    try:
        book = CalamineWorkbook.from_filelike(_unpacked(path))
        return {name: _cells(book, name) for name in book.sheet_names}
    except _Refused as refused:
        notes.problem(path.name, None, None, None, str(refused), "Save the tables alone in a new workbook.")
    except OSError as error:
        notes.problem(path.name, None, None, None, f"cannot be read: {error.strerror}", "Check that you may read it.")
    except (
        zipfile.BadZipFile,
        CalamineError,
        NotImplementedError,
        RuntimeError,
        ValueError,
        EOFError,
        zlib.error,
    ) as error:
        mend = "Open it in a spreadsheet program and save it as .xlsx, without a password."
        notes.problem(path.name, None, None, None, f"is not a sound .xlsx workbook ({error})", mend)
    return None


def _cells(book: CalamineWorkbook, name: str) -> list[list[str]]:
    return [[cell_text(cell) for cell in row] for row in book.get_sheet_by_name(name).to_python(skip_empty_area=False)]


def cell_text(cell: object) -> str:
    """Write a spreadsheet's value as the CSV file of the same table would hold it."""
    if type(cell) is str:  # by far the most
        return cell
    match cell:
        case bool():
            return "yes" if cell else "no"
        case float() if cell.is_integer() and abs(cell) < 1e15:
            return str(int(cell))
        case datetime():
            return (cell + timedelta(microseconds=500_000)).replace(microsecond=0).isoformat()
        case date():
            return f"{cell.isoformat()}T00:00:00"
        case time() | timedelta():
            return str(cell)
        case float():
            return repr(cell)
        case _:
            return str(cell)


class _Refused(Exception):
    """A workbook that would fill the memory; says why."""


def _unpacked(path: Path) -> io.BytesIO:
    """Return a workbook's XML parts packed anew, uncompressed, so that what was checked here is what will be read.

    Macros, pictures and other parts that are not XML stay behind. Raises `_Refused` where the parts, or the cells
    they name, are more than memory should hold.
    """
    if path.stat().st_size > LARGEST_BYTES:
        raise _Refused(f"is larger than {LARGEST_BYTES // 1_000_000} MB")
    out = io.BytesIO()
    with zipfile.ZipFile(path) as packed, zipfile.ZipFile(out, "w") as plain:
        parts = packed.infolist()
        if len(parts) > MOST_PARTS:
            raise _Refused(f"holds more than {MOST_PARTS} parts")
        if sum(part.file_size for part in parts) > LARGEST_BYTES:
            raise _Refused(f"unpacks to more than {LARGEST_BYTES // 1_000_000} MB")
        if len({part.filename for part in parts}) < len(parts):
            raise _Refused("holds two parts of one name")
        cells = 0
        for part in parts:
            if part.filename.endswith((".xml", ".rels")):
                data = packed.read(part)
                plain.writestr(part.filename, data)
                cells += _area(data)
                if cells > MOST_CELLS:
                    raise _Refused(f"spans more than {MOST_CELLS:,} cells")
    out.seek(0)
    return out


def _area(data: bytes) -> int:
    """Cells from A1 to the last row and column that a sheet names; 0 for a part that is not a sheet."""
    if b"\0" in data[:200] or ((match := ENCODING.match(data)) and match[1].lower() not in (b"utf-8", b"us-ascii")):
        raise _Refused("is written in an encoding other than UTF-8")
    if b"sheetData" not in data:
        return 0
    if NO_CELL.search(data):
        raise _Refused("names a cell that no sheet has")
    last_row = max(map(int, set(ROW.findall(data))), default=0)
    last_column = max(map(_column_number, set(COLUMN.findall(data))), default=0)
    return last_row * last_column


def _column_number(letters: bytes) -> int:
    number = 0
    for letter in letters.upper():
        number = number * 26 + letter - 64
    return number


def _document(table: Table, notes: Notes) -> dict[str, Any]:
    """Turn rows of key and value into what the TOML file of that name would hold."""
    data: dict[str, Any] = {}
    if set(table.header) != {"key", "value"}:
        odd = "does not have the columns key and value alone"
        notes.problem(table.file, 1, None, ", ".join(table.header), odd, "Write key, value in its first row.")
        return data
    for row, key, value in zip(table.numbers, table.column("key"), table.column("value"), strict=True):
        *tables, last = key.split(".")
        inside: Any = data
        for name in tables:
            inside = inside.setdefault(name, {}) if isinstance(inside, dict) else None
        if not isinstance(inside, dict) or last in inside:
            notes.problem(table.file, row, "key", key, "this key is there twice", "Keep one.")
        else:
            inside[last] = _toml_value(value)
    return data


def _toml_value(text: str) -> object:
    """Read a value as TOML writes it; anything else is plain text."""
    if text in ("yes", "no"):
        return text == "yes"
    try:
        return tomllib.loads(f"value = {text}")["value"]
    except (ValueError, RecursionError):
        return text


def _choreographies(table: Table, notes: Notes) -> dict[str, RawChoreography]:
    """Gather the rows of each service."""
    found: dict[str, RawChoreography] = {}
    if "service" not in table.header:
        notes.problem(table.file, 1, "service", None, "this column is missing", "Name the service of each task.")
        return found
    for row, cells in zip(table.numbers, table.rows, strict=True):
        data: dict[str, Any] = {key: cell for key, cell in zip(table.header, cells, strict=True) if cell}
        service = data.pop("service", "")
        if not SLUG.fullmatch(service):
            mend = "Write lower-case letters, digits, - and _ only."
            notes.problem(table.file, row, "service", service, "is not an id", mend)
            continue
        given = found.setdefault(service, RawChoreography(table.file, {}, []))
        name = data.pop("service_name", None)
        given.data.setdefault("name", name or service)
        if name:
            given.data["name"] = name
        given.tasks.append(RawTask(dict(_task_cells(data, table.file, row, notes)), row))
    return found


def _task_cells(data: dict[str, Any], file: str, row: int, notes: Notes) -> Iterator[tuple[str, Any]]:
    for key, cell in data.items():
        if key in LISTS:
            yield key, list(read_list(cell))
        elif key in FLAGS:
            try:
                yield key, read_yes_no(cell)
            except PydanticCustomError as error:
                context = error.context or {}
                notes.problem(file, row, key, cell, context["message"], context["mend"])
        else:
            yield key, cell
