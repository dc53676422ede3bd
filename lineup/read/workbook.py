"""Reads the sheets of one .xlsx workbook as they stand.

The sheets are named like the files of a folder without ending. `limits` and `weights` have the columns key and value,
where value is written as in TOML (`11`, `{ at_most = 3, price_s = 4 }`) and a dot in the key goes into a table
(`journeys.road_km_h`). `choreography` has a row per task: the columns service and [service_name], then the keys of
a task; several ids in a cell are separated by `;`, and car, load, early and release hold yes or no.
"""

from __future__ import annotations

import re
import tomllib
import zipfile
import zlib
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any, Final

from python_calamine import CalamineError, CalamineWorkbook

from lineup.read.cells import SLUG, fault, read_list, read_yes_no
from lineup.read.notes import Notes
from lineup.read.rows import TABLES
from lineup.read.source import LARGEST_BYTES, RawChoreography, RawTask, Source, Table, make_table, missing_tables, stray

DOCUMENTS: Final = ("limits", "weights")
SHEETS: Final = (*TABLES, *DOCUMENTS, "choreography")
MOST_PARTS: Final = 1000
MOST_CELLS: Final = 10_000_000
CELL: Final = re.compile(rb"""\sr=["']([A-Za-z]{1,3})(\d{1,7})["']""")
CHUNK: Final = 1 << 20


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
        reason = _too_big(path)
        if reason is not None:
            notes.problem(path.name, None, None, None, reason, "Save the tables alone in a new workbook.")
            return None
        book = CalamineWorkbook.from_path(str(path))
        return {name: _cells(book, name) for name in book.sheet_names}
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


def _too_big(path: Path) -> str | None:
    """Say why a workbook would unpack to more than memory should hold, or None.

    Every part is unpacked piece by piece, so a size or checksum that the file states falsely is found out.
    """
    if path.stat().st_size > LARGEST_BYTES:
        return f"is larger than {LARGEST_BYTES // 1_000_000} MB"
    with zipfile.ZipFile(path) as packed:
        parts = packed.infolist()
        if len(parts) > MOST_PARTS:
            return f"holds more than {MOST_PARTS} parts"
        if sum(part.file_size for part in parts) > LARGEST_BYTES:
            return f"unpacks to more than {LARGEST_BYTES // 1_000_000} MB"
        cells = sum(_area(packed, part) for part in parts)
    return f"spans more than {MOST_CELLS:,} cells" if cells > MOST_CELLS else None


def _area(packed: zipfile.ZipFile, part: zipfile.ZipInfo) -> int:
    """Cells from A1 to the last row and column that a sheet names; 0 for what is not a sheet."""
    is_sheet = "worksheets/" in part.filename
    last_row = last_column = 0
    with packed.open(part) as stream:
        tail = b""
        for chunk in iter(lambda: stream.read(CHUNK), b""):
            if is_sheet:
                for letters, digits in set(CELL.findall(tail + chunk)):
                    last_row = max(last_row, int(digits))
                    last_column = max(last_column, _column_number(letters))
                tail = chunk[-24:]
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


LISTS: Final = ("after", "misses")
FLAGS: Final = ("car", "load", "early", "release")


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
            except type(fault("", "")) as error:
                context = error.context or {}
                notes.problem(file, row, key, cell, context["message"], context["mend"])
        else:
            yield key, cell
