"""Writes a small, valid season to start from: a commented folder, and the same tables as one workbook."""

from __future__ import annotations

import csv
import io
import tempfile
import tomllib
from collections.abc import Iterator
from datetime import datetime
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path
from typing import Any

import xlsxwriter

from lineup.errors import InputError

STARTER = files("lineup") / "starter"
MADE = datetime(2026, 1, 1)  # of the workbook: the same file each time


def write_new_season(folder: Path | str) -> tuple[Path, ...]:
    """Write the starter season into a folder that does not exist or is empty, and its workbook beside it.

    Raises
    ------
    InputError
        When the folder holds anything already, or cannot be written.
    """
    folder = Path(folder)
    book = folder.with_name(f"{folder.name}.xlsx")
    workbook = _workbook()
    try:
        if (folder.exists() and (not folder.is_dir() or any(folder.iterdir()))) or _differs(book, workbook):
            raise InputError(f"{folder} or {book} is there already: name another folder, nothing is overwritten")
        folder.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".lineup-", dir=folder.parent) as place:
            draft = Path(place) / folder.name  # a half-written season never stands where the whole one shall be
            written = [folder / path.relative_to(draft) for path in _copy(STARTER, draft)]
            (Path(place) / book.name).write_bytes(workbook)
            if folder.exists():
                folder.rmdir()
            # the workbook first: killed in between, a second call finds this very workbook and goes on
            (Path(place) / book.name).rename(book)
            draft.rename(folder)
    except OSError as error:
        raise InputError(f"{folder}: cannot be written ({error.strerror or error})") from None
    return (*written, book)


def _differs(path: Path, data: bytes) -> bool:
    return path.exists() and (not path.is_file() or path.read_bytes() != data)


def _copy(source: Traversable, target: Path) -> Iterator[Path]:
    target.mkdir(parents=True, exist_ok=True)
    for item in sorted(source.iterdir(), key=lambda entry: entry.name):
        if item.is_dir():
            yield from _copy(item, target / item.name)
        else:
            (target / item.name).write_bytes(item.read_bytes())
            yield target / item.name


def _workbook() -> bytes:
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True}) as book:
        book.set_properties({"created": MADE})
        for name, rows in _sheets().items():
            sheet = book.add_worksheet(name)
            for number, row in enumerate(rows):
                for column, value in enumerate(row):
                    sheet.write_string(number, column, value)
    return out.getvalue()


def _sheets() -> dict[str, list[list[str]]]:
    """Rows of every sheet, header first, all as text."""
    sheets: dict[str, list[list[str]]] = {}
    for item in sorted(STARTER.iterdir(), key=lambda entry: entry.name):
        name, _, ending = item.name.partition(".")
        if ending == "csv":
            sheets[name] = list(csv.reader(item.read_text(encoding="utf-8").splitlines()))
        elif ending == "toml":
            document = tomllib.loads(item.read_text(encoding="utf-8"))
            sheets[name] = [["key", "value"], *([key, _toml(value)] for key, value in document.items())]
    sheets["choreography"] = list(_choreography())
    return sheets


def _choreography() -> Iterator[list[str]]:
    # every key there is, used here or not
    who_and_when = ("id", "name", "position", "car", "after", "split", "seconds", "misses", "load", "early")
    keys = (*who_and_when, "only_with", "only_without", "release")
    yield ["service", "service_name", *keys]
    for item in sorted((STARTER / "choreography").iterdir(), key=lambda entry: entry.name):
        document = tomllib.loads(item.read_text(encoding="utf-8"))
        for task in document["task"]:
            yield [item.name.removesuffix(".toml"), document["name"], *(_cell(task.get(key)) for key in keys)]


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return ";".join(value) if isinstance(value, list) else str(value)


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {inner}" for key, inner in value.items()) + " }"
    return str(value)
