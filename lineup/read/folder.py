"""Reads the files of a season folder as they stand."""

from __future__ import annotations

import codecs
import csv
import io
import tomllib
from pathlib import Path
from typing import Any, Final

from lineup.read.cells import SLUG
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
from lineup.safe_files import JOURNAL, step_waits

_UTF8: Final = "Save it as UTF-8."


def is_season_file(name: str) -> bool:
    """Whether a season folder can have a file of this name."""
    inside, _, last = name.rpartition("/")
    stem, _, ending = last.partition(".")
    if inside:
        return inside == "choreography" and ending == "toml" and SLUG.fullmatch(stem) is not None
    return (ending == "csv" and stem in TABLES) or (ending == "toml" and stem in DOCUMENTS)


def read_folder(folder: Path, notes: Notes) -> Source:
    """Read every known file of the folder; what cannot be read is noted and counts as broken."""
    source = Source()
    if step_waits(folder):
        odd = "tells of a step that was interrupted while it replaced several files"
        mend = "Run lineup add-grades again, or put the edited files in place again: that finishes it."
        notes.problem(JOURNAL, None, None, None, odd, mend)
    names = sorted(path.name for path in folder.iterdir())
    known = [f"{name}.csv" for name in TABLES] + [f"{name}.toml" for name in DOCUMENTS]
    for name in TABLES:
        if f"{name}.csv" in names:
            table = read_csv(folder / f"{name}.csv", notes)
            if table is None:
                source.broken.add(name)
            else:
                source.tables[name] = table
    for name in DOCUMENTS:
        if f"{name}.toml" in names:
            data = read_toml(folder, f"{name}.toml", notes)
            if data is None:
                source.broken.add(name)
            else:
                source.documents[name] = (f"{name}.toml", data)
    for name in names:
        if name not in known and Path(name).suffix.lower() in (".csv", ".toml"):
            stray(name, names, known, notes)
    missing_tables(source, "{}.csv", notes)
    _read_choreographies(folder, source, notes)
    return source


def _read_choreographies(folder: Path, source: Source, notes: Notes) -> None:
    inside = folder / "choreography"
    inside_paths = sorted(inside.iterdir()) if inside.is_dir() else []
    if not any(path.suffix == ".toml" for path in inside_paths):
        source.broken.add("choreography")
        mend = "Add choreography/SERVICE.toml for every service."
        notes.problem("choreography", None, None, None, "has no service", mend)
    for path in inside_paths:
        place = f"choreography/{path.name}"
        if path.suffix != ".toml":
            if not path.name.startswith("."):
                notes.warning(place, None, None, None, "is not a .toml file and was not read", "Name it SERVICE.toml.")
        elif not SLUG.fullmatch(path.stem):
            mend = "Name it like the service: lower-case letters, digits, - and _."
            notes.problem(place, None, None, None, "is not named by an id", mend)
        else:
            data = read_toml(folder, place, notes)
            source.choreographies[path.stem] = None if data is None else _split(place, data, notes)


def _split(place: str, data: dict[str, Any], notes: Notes) -> RawChoreography | None:
    tasks = data.pop("task", [])
    if not isinstance(tasks, list) or not all(isinstance(task, dict) for task in tasks):
        notes.problem(place, None, "task", None, "is not a list of tables", "Head every task with [[task]].")
        return None
    if not tasks:
        notes.problem(place, None, "task", None, "has no tasks", "Head every task with [[task]].")
        return None
    return RawChoreography(place, data, [RawTask(task) for task in tasks])


def read_csv(path: Path, notes: Notes) -> Table | None:
    """Read one CSV file (RFC 4180, UTF-8 with or without byte order mark), or note why it cannot be."""
    text = read_utf8(path, path.name, notes)
    if text is None:
        return None
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    lines: list[list[str]] = []
    try:
        lines.extend(reader)
    except csv.Error as error:
        notes.problem(path.name, len(lines) + 1, None, None, *_csv_fault(str(error)))
        return None
    return make_table(path.name, lines, notes)


def _csv_fault(said: str) -> tuple[str, str]:
    """Word what the CSV library found, and the mend."""
    if "field limit" in said:
        return f"has a cell of more than {csv.field_size_limit():,} characters", "Shorten it, or end its quotation."
    odd = "has a quotation mark that is not closed" if "unexpected end" in said else f"is not CSV: {said}"
    return odd, "Write a quotation mark inside a quoted cell twice."


def read_toml(folder: Path, place: str, notes: Notes) -> dict[str, Any] | None:
    """Read one TOML file, or note why it cannot be."""
    text = read_utf8(folder / place, place, notes)
    if text is None:
        return None
    try:
        return tomllib.loads(text)
    except ValueError as error:
        notes.problem(place, None, None, None, f"is not TOML: {error}", "Correct the line it names.")
    except RecursionError:
        notes.problem(place, None, None, None, "is not TOML: too deeply nested", "Write it flat.")
    return None


def read_utf8(path: Path, place: str, notes: Notes) -> str | None:
    """Read a text file, or note why it cannot be."""
    try:
        if not path.is_file():
            notes.problem(place, None, None, None, "is not a file", "Put a plain file in its place.")
            return None
        if path.stat().st_size > LARGEST_BYTES:
            most = f"{LARGEST_BYTES // 1_000_000} MB"
            notes.problem(place, None, None, None, f"is larger than {most}", "Leave out what is not needed.")
            return None
        data = path.read_bytes()
    except OSError as error:
        notes.problem(place, None, None, None, f"cannot be read: {error.strerror}", "Check that you may read it.")
        return None
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        notes.problem(place, None, None, None, "is UTF-16 text", _UTF8)
        return None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        row = data.count(b"\n", 0, error.start) + 1
        near = data[max(error.start - 12, 0) : error.end + 12].decode("latin-1").split("\n")
        notes.problem(place, row, None, next(part for part in near if part).strip(), "is not UTF-8 text", _UTF8)
        return None
    if "\0" in text:
        notes.problem(place, text.count("\n", 0, text.index("\0")) + 1, None, None, "holds a zero byte", _UTF8)
        return None
    return text
