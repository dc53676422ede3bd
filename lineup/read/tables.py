"""Holds raw tables against their row models: small ones row by row, big ones column by column."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Annotated, Any, Final, TypeVar, get_args

import pandas as pd
from pydantic import BaseModel, TypeAdapter, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from lineup.read.cells import Ref
from lineup.read.notes import Notes, nearest
from lineup.read.rows import Row
from lineup.read.source import Table

AnyRow = TypeVar("AnyRow", bound=Row)
Known = Mapping[str, frozenset[str] | None]  # ids by table; None where the table itself cannot be used
ONE: Final[Mapping[str, str]] = {
    "athletes": "athlete",
    "positions": "position",
    "sites": "site",
    "cars": "car",
    "races": "race",
    "services": "service",
    "misses": "miss",
    "series": "series",
}


def columns_of(model: type[BaseModel]) -> dict[str, FieldInfo]:
    """Return the columns of a model by their names in the file."""
    return {info.alias or name: info for name, info in model.model_fields.items() if name != "row"}


def check_header(table: Table, model: type[Row], notes: Notes) -> bool:
    """Note unknown, missing and doubled-up columns; say whether the rows can be read."""
    columns = columns_of(model)
    for name in table.header:
        if name not in columns:
            free = [known for known in columns if known not in table.header]
            mend = nearest(name, free, "Leave the column out.")
            if table.file.removesuffix(".csv").endswith("availability"):
                mend += " No diagnosis is stored."
            notes.problem(table.file, 1, name, None, "is not a column of this table", mend)
    missing = [name for name, info in columns.items() if info.is_required() and name not in table.header]
    for name in missing:
        notes.problem(table.file, 1, name, None, "this column is missing", "Add it.")
    for first, second in model.one_of:
        if all(name in table.header and any(table.column(name)) for name in (first, second)):
            mend = "Keep one of them."
            notes.problem(table.file, 1, second, None, f"is given as well as {first}", mend)
    return not missing


def read_rows(table: Table, model: type[AnyRow], notes: Notes) -> list[AnyRow]:
    """Read a small table; rows with a problem are noted and left out."""
    if not check_header(table, model, notes):
        return []
    columns = columns_of(model)
    known = [(i, name) for i, name in enumerate(table.header) if name in columns]
    rows = []
    for number, cells in zip(table.numbers, table.rows, strict=True):
        given: dict[str, Any] = {name: cells[i] for i, name in known if cells[i]}
        try:
            rows.append(model.model_validate(given | {"row": number}))
        except ValidationError as error:
            for detail in error.errors(include_url=False):
                name = str(detail["loc"][0])
                notes.problem(table.file, number, name, given.get(name), *explain(detail))
    return rows


def read_frame(table: Table, model: type[Row], notes: Notes) -> pd.DataFrame | None:
    """Read a big table, each distinct cell of a column once; None when columns are missing.

    Returns
    -------
    A frame of objects with every column of the model and `row`; None where a cell is empty or has a problem. `bad`
    tells which rows had one.
    """
    if not check_header(table, model, notes):
        return None
    frame = pd.DataFrame({"row": pd.array(table.numbers, dtype="int64")})
    bad = pd.Series(False, index=frame.index)
    for name, info in columns_of(model).items():
        if name not in table.header:
            frame[name] = pd.Series([None] * len(frame), dtype=object)
            continue
        codes, cells = pd.factorize(pd.Series(table.column(name), dtype=object))
        values, faults = _read_cells([str(cell) for cell in cells], info)
        frame[name] = pd.Series([values[code] for code in codes], dtype=object)
        if faults:
            wrong = pd.Series(codes).isin(list(faults))
            bad |= wrong
            for code, number in zip(codes[wrong], frame["row"][wrong], strict=True):
                notes.problem(table.file, int(number), name, cells[code] or None, *faults[code])
    frame["bad"] = bad
    return frame


def _read_cells(cells: list[str], info: FieldInfo) -> tuple[list[Any], dict[int, tuple[str, str]]]:
    """Read distinct cells of one column; the faults by their place."""
    kind: Any = info.annotation
    for mark in info.metadata:
        kind = Annotated[kind, mark]
    adapter: TypeAdapter[Any] = TypeAdapter(kind)
    empty: Any = None if info.is_required() else info.get_default()
    may_be_empty = not info.is_required() or type(None) in get_args(info.annotation)
    values: list[Any] = []
    faults: dict[int, tuple[str, str]] = {}
    for place, cell in enumerate(cells):
        value = empty
        if cell:
            try:
                value = adapter.validate_python(cell)
            except ValidationError as error:
                faults[place] = explain(error.errors(include_url=False)[0])
        elif not may_be_empty:
            faults[place] = "is empty", "Fill it in."
        values.append(value)
    return values, faults


def explain(detail: ErrorDetails) -> tuple[str, str]:
    """Say in plain words what pydantic found: what is wrong, and the mend."""
    context = detail.get("ctx", {})
    match detail["type"]:
        case "fault":
            return context["message"], context["mend"]
        case "missing":
            return "is empty", "Fill it in."
        case "literal_error":
            words = [word.strip("'") for word in str(context["expected"]).replace(" or ", ", ").split(", ")]
            mend = nearest(str(detail["input"]), words, "")
            return f"is not one of {', '.join(words)}", mend if mend.startswith("Did") else "Write one of them."
        case "bool_type":
            return "is neither true nor false", "Write true or false."
        case "extra_forbidden":
            return "is not a known key", "Leave it out."
        case _:
            return f"cannot be used: {detail['msg'][:1].lower()}{detail['msg'][1:]}", "Correct it."


def refs_of(model: type[BaseModel]) -> Iterator[tuple[str, str, Ref]]:
    """Every column that names things of another table: (field, column, what it names)."""
    for name, info in model.model_fields.items():
        mark = next(_marks(info.annotation, info.metadata), None)
        if mark is not None:
            yield name, info.alias or name, mark


def _marks(annotation: Any, metadata: Iterable[Any]) -> Iterator[Ref]:
    yield from (mark for mark in metadata if isinstance(mark, Ref))
    for part in get_args(annotation):
        yield from _marks(part, get_args(part)[1:] if hasattr(part, "__metadata__") else ())


def unknown(value: str, ref: Ref, ids: Iterable[str]) -> tuple[str, str]:
    """Word an unknown id: what is wrong, and the nearest known one."""
    file = "choreography/" if ref.table == "services" else f"{ref.table}.csv"
    what = "race or car is of this series" if ref.table == "series" else f"{ONE[ref.table]} of {file} has this id"
    return f"no {what}", nearest(value, sorted(ids), f"Add it to {file}.")


def check_refs(file: str, rows: Sequence[Row], model: type[Row], known: Known, notes: Notes) -> None:
    """Note every unknown id of a small table."""
    for name, column, ref in refs_of(model):
        ids = known[ref.table]
        for row in rows:
            for one in _each(getattr(row, name)):
                if ids is not None and one not in ids:
                    notes.problem(file, row.row, column, one, *unknown(one, ref, ids))


def check_frame_refs(file: str, frame: pd.DataFrame, model: type[Row], known: Known, notes: Notes) -> None:
    """Note every unknown id of a big table, and mark the row as bad; a soft one is noted once, with its count."""
    for name, column, ref in refs_of(model):
        ids = known[ref.table]
        if ids is None:
            continue
        strange = {value for value in frame[name].unique() if not ids.issuperset(_each(value))}
        rows = frame.loc[frame[name].isin(strange), ["row", name]] if strange else frame.iloc[:0]
        found = [
            (int(row), one) for row, value in rows.itertuples(index=False) for one in _each(value) if one not in ids
        ]
        if ref.soft:
            for one, count in Counter(one for _, one in found).items():
                first = next(row for row, other in found if other == one)
                _odd_id(file, first, column, one, ref, count, notes)
        else:
            frame.loc[rows.index, "bad"] = True
            for number, one in found:
                notes.problem(file, number, column, one, *unknown(one, ref, ids))


def _odd_id(file: str, row: int, column: str, value: str, ref: Ref, count: int, notes: Notes) -> None:
    where = "this row" if count == 1 else f"this and {count - 1:,} more rows"
    message = f"{where} names a {ONE[ref.table]} that {ref.table}.csv does not have"
    notes.warning(file, row, column, value, message, "Nothing to do if it is of an earlier season.")


def _each(value: Any) -> tuple[str, ...]:
    return () if value is None else (value,) if isinstance(value, str) else value


def check_keys(file: str, rows: Iterable[Row], model: type[Row], notes: Notes) -> None:
    """Note every row that repeats the key of an earlier one."""
    columns = {name: info.alias or name for name, info in model.model_fields.items()}
    seen: dict[tuple[Any, ...], int] = {}
    for row in rows:
        key = tuple(getattr(row, name) for name in model.key)
        first = seen.setdefault(key, row.row)
        if first != row.row:
            value = ", ".join(str(part) for part in key if part is not None)
            names = [columns[name] for name in model.key]
            what = f"repeats row {first}" + (f" ({', '.join(names)})" if len(names) > 1 else "")
            notes.problem(file, row.row, columns[model.key[-1]] if len(names) == 1 else None, value, what, "Keep one.")
