"""Damages season folders, workbooks and plan files as people, programs and disks do; every choice is read from bytes.

The bytes come from hypothesis in the suite and from a coverage-guided fuzzer in tests/long/fuzz_readers.py.
"""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from collections.abc import Callable, Mapping, Sequence
from copy import deepcopy
from datetime import date, datetime
from typing import Any, TypeVar

import xlsxwriter

Anything = TypeVar("Anything")
Files = dict[str, bytes]
Sheets = dict[str, list[list[Any]]]

NASTY_TEXT = (
    *("", " ", "nan", "inf", "-1", "0", "-0", "1e999", "9" * 40, "1_0", "1,5", "1.50", "1e-3", "０", "٣", "true", "[]"),
    *("=cmd|' /C calc'!A0", "+1", "-1+1", "@SUM(A1)", "<script>alert(1)</script>", "*x* [y](http://z)", "{{7*7}}"),
    *("../../x", "/etc/passwd", "C:\\x", "a/b", "%00", "con", "nul.txt", "a b", "A-B", "é", "ß", "İ", "\u202egnp"),
    *("\x00", "\x1b[2J", "\x0b", "\x85", "\u2028", "\u200b", "\ufeff", "\U000e0041", "a\nb", "a\r\nb", '"', "'", '""'),
    *("yes", "no", "only", "out", "race", "always", "road", ";", ";;a;", "a;a", ",", ",,,", "#", "# x", "\\", "$x$"),
    *("2027-02-30", "2027-03-14T02:30", "2027-11-07T01:30", "0000-00-00", "9999-12-31T23:59", "2027-04-11T08:00+01:00"),
    *("2027-04-11 00:00", "11.04.2027", "45000", "24:00", "UTC", "America/new_york", "x" * 600, "x" * 140_000),
)
NASTY_TOML = (
    "{}",
    "[[task]]",
    "[a]",
    "a.b.c = 1",
    "'''",
    '"""',
    "1979-05-27",
    "0x1F",
    "+inf",
    "-nan",
    "1_000",
    "1e400",
)
NASTY_JSON: tuple[Any, ...] = (
    *(None, True, False, 0, -1, 2**63, 10**400, 1e308, float("nan"), float("inf"), "", "a1", "\ud800", "x" * 70_000),
    *([], {}, [[]], {"a": {}}, ["a1"], [None], {"race": "r1"}, "=1+1", "../x", "\x00"),
)


class Choices:
    """Reads choices from bytes; zeros follow when they are used up."""

    def __init__(self, data: bytes) -> None:
        self._data, self._place = data, 0

    @property
    def left(self) -> bool:
        """Whether any bytes are left."""
        return self._place < len(self._data)

    def take(self, count: int) -> bytes:
        """Return the next bytes, zeros behind the last."""
        found = self._data[self._place : self._place + count]
        self._place += count
        return found.ljust(count, b"\0")

    def below(self, limit: int) -> int:
        """Return a whole number from 0 to limit - 1."""
        return int.from_bytes(self.take(2 if limit <= 65_536 else 4), "big") % max(limit, 1)

    def pick(self, among: Sequence[Anything]) -> Anything:
        """Return one of a few."""
        return among[self.below(len(among))]

    def times(self) -> int:
        """Return how many places are damaged: mostly one, so that much of what is damaged can still be read."""
        return max(self.below(8) - 3, 1)

    def raw(self) -> bytes:
        """Return up to 15 bytes as they come."""
        return self.take(self.below(16))

    def text(self) -> str:
        """Return a nasty text, or what the bytes spell."""
        return self.pick(NASTY_TEXT) if self.below(3) else self.raw().decode("utf-8", "replace")


def damaged_folder(files: Mapping[str, bytes], data: bytes) -> Files:
    """Damage one to four places of a season folder."""
    choices, found = Choices(data), dict(files)
    for _ in range(choices.times()):
        name = choices.pick(sorted(found))
        change: Callable[[bytes, Choices], bytes] = _bytes if choices.below(8) == 0 else _lines
        if name.endswith(".csv") and choices.below(6):
            change = _table
        if choices.below(60) == 0:
            del found[name]
        else:
            found[name] = change(found[name], choices)
    return found


def damaged_sheets(sheets: Mapping[str, Sequence[Sequence[Any]]], data: bytes) -> bytes:
    """Write a workbook with one to four cells, rows or columns damaged; sometimes the file behind it, too."""
    choices = Choices(data)
    found: Sheets = {name: [list(row) for row in rows] for name, rows in sheets.items()}
    for _ in range(choices.times()):
        _grid(found[choices.pick(sorted(found))], choices, _cell_value)
    book = workbook(found)
    if choices.below(3) == 0:
        book = _part(book, choices)
    return _bytes(book, choices) if choices.below(12) == 0 else book


def damaged_json(document: Any, data: bytes) -> bytes:
    """Damage one to four places of a JSON document."""
    choices = Choices(data)
    found = json.loads(json.dumps(document))
    for _ in range(choices.times()):
        _node(found, choices)
    text = json.dumps(found).encode()
    return _bytes(text, choices) if choices.below(5) == 0 else text


def workbook(sheets: Sheets) -> bytes:
    """Write sheets of values as a spreadsheet program would."""
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True}) as book:
        moment = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
        for name, rows in sheets.items():
            sheet = book.add_worksheet(name)
            for number, row in enumerate(rows):
                for place, value in enumerate(row):
                    if isinstance(value, date):
                        sheet.write_datetime(number, place, value, moment)
                    elif isinstance(value, str) and value.startswith("=formula "):
                        sheet.write_formula(number, place, "=1/0", None, value.removeprefix("=formula "))
                    elif isinstance(value, str):
                        sheet.write_string(number, place, value[:32_767])
                    elif value is not None:
                        sheet.write(number, place, value)
    return out.getvalue()


def _table(data: bytes, choices: Choices) -> bytes:
    try:
        grid = list(csv.reader(io.StringIO(data.decode("utf-8-sig", "replace").replace("\0", ""), newline="")))
    except csv.Error:  # damaged before, so that it is no table any more
        return _bytes(data, choices)
    _grid(grid, choices, Choices.text)
    out = io.StringIO()
    csv.writer(out, lineterminator=choices.pick(("\n", "\n", "\r\n"))).writerows(grid)
    return out.getvalue().encode("utf-8", "replace")


def _grid(grid: list[list[Any]], choices: Choices, value: Callable[[Choices], Any]) -> None:
    """Damage a cell, a row or a column; a cell is often given what another cell of its table holds."""
    if not any(grid):
        grid.append([value(choices)])
        return
    row = choices.below(len(grid))
    column = choices.below(max(map(len, grid)))
    match choices.below(12):
        case 0:
            grid.insert(row, list(grid[row]))
        case 1:
            del grid[row]
        case 2:
            grid[row].insert(column, value(choices))
        case 3:
            for line in grid:
                del line[column : column + 1]
        case 4:
            for line in grid:
                line.append(line[column] if column < len(line) else "")
        case 5:
            other = choices.below(len(grid))
            grid[row], grid[other] = grid[other], grid[row]
        case kind:
            line = grid[row]
            line += [""] * (column + 1 - len(line))
            same = [cells[column] for cells in grid if column < len(cells)]
            line[column] = choices.pick(choices.pick(grid) or same) if kind == 6 else value(choices)
            if kind > 7:
                line[column] = choices.pick(same)


def _cell_value(choices: Choices) -> Any:
    values = (0, -1, 1.5, 1e-9, 1e300, True, False, datetime(2027, 4, 11, 8), datetime(1900, 1, 1), "=formula 7")
    return choices.pick(values) if choices.below(2) else choices.text().replace("\0", "")


def _lines(data: bytes, choices: Choices) -> bytes:
    lines = data.split(b"\n")
    place = choices.below(len(lines))
    match choices.below(5):
        case 0:
            lines.insert(place, lines[choices.below(len(lines))])
        case 1:
            del lines[place]
        case 2:
            lines.insert(place, choices.pick(NASTY_TOML).encode())
        case _:
            head, mark, _ = lines[place].partition(b"=")
            said = choices.pick((choices.text(), json.dumps(choices.text()), choices.pick(NASTY_TOML)))
            lines[place] = head + mark + b" " + said.encode("utf-8", "replace")
    return b"\n".join(lines)


def _bytes(data: bytes, choices: Choices) -> bytes:
    place = choices.below(len(data) + 1)
    match choices.below(8):
        case 0:
            return data[:place]
        case 1:
            return data[:place] + choices.raw() + data[place:]
        case 2:
            return data[:place] + choices.raw() + data[place + 1 :]
        case 3:
            return data[:place] + data[place + choices.below(64) :]
        case 4:
            return data.decode("utf-8", "replace").encode(choices.pick(("utf-16", "utf-16-le", "utf-32", "utf-8-sig")))
        case 5:
            return data.decode("utf-8", "replace").encode("latin-1", "replace") + b"\xe9\n"
        case 6:
            return data[:place] + data[: choices.below(len(data) + 1)]
        case _:
            return data[:place] + bytes([choices.below(256)]) * choices.below(300) + data[place:]


def _part(book: bytes, choices: Choices) -> bytes:
    """Damage one part inside a workbook and pack it again."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(book)) as packed, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as again:
        names = packed.namelist()
        wanted = choices.pick(names)
        for name in names:
            data = packed.read(name)
            if name == wanted:
                data = _bytes(data, choices) if choices.below(2) else _long_number(data, choices)
            again.writestr(name, data)
    return out.getvalue()


def _long_number(data: bytes, choices: Choices) -> bytes:
    """Make one number of a text far too long."""
    numbers = list(re.finditer(rb"\d+", data))
    if not numbers:
        return data
    found = choices.pick(numbers)
    return data[: found.end()] + b"9" * (1 + choices.below(20)) + data[found.end() :]


def _node(document: Any, choices: Choices) -> None:
    """Change, remove or repeat one thing inside a JSON document."""
    where = document
    while isinstance(where, dict | list) and where:
        keys: Sequence[Any] = sorted(where) if isinstance(where, dict) else range(len(where))
        key = choices.pick(keys)
        inside = where[key]
        if isinstance(inside, dict | list) and inside and choices.below(4):
            where = inside
            continue
        match choices.below(8):
            case 0:
                del where[key]
            case 1 if isinstance(where, list):
                where.append(json.loads(json.dumps(inside)))
            case 2 if isinstance(where, dict):
                where[choices.text()] = json.loads(json.dumps(inside))
            case 3 if isinstance(where, dict):
                where[key] = json.loads(json.dumps(where[choices.pick(keys)]))
            case 4:
                where[key] = choices.text()
            case _:
                where[key] = deepcopy(choices.pick(NASTY_JSON))
        return
