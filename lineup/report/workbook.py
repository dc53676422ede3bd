"""The whole block as one .xlsx workbook, and its assignments and reserves read back from it."""

from __future__ import annotations

import io
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

import xlsxwriter
from python_calamine import CalamineError, CalamineWorkbook

from lineup.errors import InputError, PlanFileError
from lineup.plan import Plan
from lineup.plan_file import plan_from_dict
from lineup.report.block_rows import ASSIGNMENT_COLUMNS, RESERVE_COLUMNS, Rows, block_rows
from lineup.report.party import car_name, name_of, position_name
from lineup.report.plain import LONGEST_CELL
from lineup.report.stamp import UNAUTHENTICATED, Stamp
from lineup.safe_files import write_whole
from lineup.season import Season

WIDEST: Final = 44  # characters
FIRST: Final = (
    "Forecasts are forecasts. Lifting, fuel, a return from injury and driving while tired hurt people: the sanctioning "
    "body's rules, local codes and licensed practice come first. This workbook clears nobody to compete."
)


def write_workbook(
    path: Path | str, season: Season, plan: Plan, *, made_at: datetime, stamp: Stamp | None = None
) -> Path:
    """Write the block: the roster as people read it, then one sheet per table.

    Every text is written as text, so a name that looks like a formula stays a name.

    Raises
    ------
    InputError
        When the file cannot be written.
    """
    path = Path(path)
    if made_at.tzinfo is None:
        raise InputError(f"the time {made_at.isoformat()} does not say its offset from UTC")
    options = {"strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {**options, "in_memory": True})
    created = made_at.astimezone(UTC).replace(tzinfo=None)
    book.set_properties({"title": "Lineup of the block", "created": created})
    formats = {
        "head": book.add_format({"bold": True, "bottom": 1, "font_color": "#1b1f24", "bg_color": "#f0f3f4"}),
        "name": book.add_format({"text_wrap": True, "valign": "top"}),
    }
    _write_roster(book, formats, season, plan)
    for table in block_rows(season, plan):
        _write_table(book, formats, table)
    _write_about(book, formats, plan, stamp or Stamp.draft(), made_at)
    book.close()
    try:
        write_whole(path, out.getvalue())
    except OSError as error:
        raise InputError(f"{path}: cannot be written ({error.strerror or error})") from None
    return path


def read_workbook(path: Path | str, season: Season) -> Plan:
    """Read assignments and reserves back from a workbook; columns beyond their ids are ignored.

    Raises
    ------
    PlanFileError
        When it cannot be read, lacks the sheet or a column, or names what the season does not have.
    """
    path = Path(path)
    try:
        book = CalamineWorkbook.from_path(str(path))
        tables = {name: book.get_sheet_by_name(name).to_python(skip_empty_area=False) for name in book.sheet_names}
    except (CalamineError, OSError) as error:
        raise PlanFileError(f"{path}: cannot be read as a workbook ({error})") from None
    if "assignments" not in tables:
        raise PlanFileError(f"{path}: has no sheet 'assignments'; it has {', '.join(tables) or 'none'}")
    data = {
        "assignments": _read_rows(path, "assignments", tables["assignments"], ASSIGNMENT_COLUMNS),
        "reserves": _read_rows(path, "reserves", tables.get("reserves", []), RESERVE_COLUMNS),
    }
    try:
        return plan_from_dict(data, season)
    except PlanFileError as error:
        raise PlanFileError(f"{path}: {error}") from None


def _read_rows(path: Path, sheet: str, rows: list[list[Any]], columns: tuple[str, ...]) -> list[dict[str, str]]:
    if not rows:
        return []
    heads = [str(head).strip() for head in rows[0]]
    missing = [column for column in columns if column not in heads]
    if missing:
        raise PlanFileError(f"{path}: sheet {sheet!r}, row 1: the column {missing[0]!r} is missing")
    places = [heads.index(column) for column in columns]
    found = []
    for number, row in enumerate(rows[1:], start=2):
        values = [_id_text(row[place]) if place < len(row) else "" for place in places]
        if not any(values):
            continue
        empty = next((column for column, value in zip(columns, values, strict=True) if not value), None)
        if empty is not None:
            raise PlanFileError(f"{path}: sheet {sheet!r}, row {number}, column {empty!r}: is empty")
        found.append(dict(zip(columns, values, strict=True)))
    return found


def _id_text(value: object) -> str:
    # a spreadsheet turns an id of digits, typed by hand, into a number
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value).strip()


def _write_roster(book: Any, formats: dict[str, Any], season: Season, plan: Plan) -> None:
    """Write cars and positions down, races across, names in the cells."""
    sheet = book.add_worksheet("roster")
    races = season.races_of(plan.weekends) or tuple(season.races.values())
    lines = [(car, position) for car in season.cars for position in season.positions]
    used = {(a.car, a.position) for a in plan.assignments}
    _write_row(sheet, 0, ["car", "position", *(f"{r.weekend} · {r.name or r.id}" for r in races)], formats["head"])
    for row, (car, position) in enumerate((line for line in lines if line in used), start=1):
        crew = {a.race: a.athlete for a in plan.assignments if (a.car, a.position) == (car, position)}
        names = [name_of(season, crew[race.id]) if race.id in crew else "" for race in races]
        _write_row(sheet, row, [car_name(season, car), position_name(season, position), *names], formats["name"])
    sheet.set_column(0, 1 + len(races), 22)
    sheet.freeze_panes(1, 2)


def _write_table(book: Any, formats: dict[str, Any], table: Rows) -> None:
    sheet = book.add_worksheet(table.name)
    _write_row(sheet, 0, table.heads, formats["head"])
    for row, values in enumerate(table.rows, start=1):
        _write_row(sheet, row, values, None)
    for column, head in enumerate(table.heads):
        longest = max([len(head), *(len(str(values[column])) for values in table.rows)])
        sheet.set_column(column, column, min(longest + 2, WIDEST))
    sheet.freeze_panes(1, 0)
    if table.rows:
        sheet.autofilter(0, 0, len(table.rows), len(table.heads) - 1)


def _write_about(book: Any, formats: dict[str, Any], plan: Plan, stamp: Stamp, made_at: datetime) -> None:
    sheet = book.add_worksheet("about")
    facts: list[tuple[str, str | float | int | None]] = [
        ("state", stamp.words),
        ("revision", stamp.revision),
        ("signed by", stamp.signed_by),
        ("signature", "" if stamp.authenticated else UNAUTHENTICATED),
        ("check code", stamp.head),
        ("made", made_at.astimezone(UTC).isoformat(timespec="minutes")),
        ("status", plan.status),
        ("value_s", plan.value_s),
        ("bound_s", plan.bound_s),
        ("gap", plan.gap),
        ("seed", plan.seed),
        ("scenarios", plan.scenarios),
        ("take care", FIRST),
    ]
    _write_row(sheet, 0, ("fact", "value"), formats["head"])
    for row, fact in enumerate(facts, start=1):
        _write_row(sheet, row, fact, formats["name"])
    sheet.set_column(0, 0, 14)
    sheet.set_column(1, 1, 90)


def _write_row(sheet: Any, row: int, values: Any, form: Any) -> None:
    for column, value in enumerate(values):
        if isinstance(value, str):
            short = value if len(value) <= LONGEST_CELL else value[: LONGEST_CELL - 1] + "…"
            sheet.write_string(row, column, short.encode("utf-8", "replace").decode(), form)
        elif value is not None:
            sheet.write_number(row, column, value, form)
