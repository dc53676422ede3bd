"""Holds raw tables against their row models, row by row: headers, cells, ids of other tables, keys."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any, Final, TypeVar, get_args

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from lineup.read.cells import Ref
from lineup.read.notes import Notes, meant, nearest
from lineup.read.rows import Row
from lineup.read.source import Table

AnyRow = TypeVar("AnyRow", bound=Row)
Known = Mapping[str, frozenset[str] | None]  # ids by table; None where the table itself cannot be used
SINGULAR: Final[Mapping[str, str]] = {
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
    if model.any_of and not any(name in table.header for name in model.any_of):
        missing.append(" or ".join(model.any_of))
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
        if number in table.shifted:
            continue
        given: dict[str, Any] = {name: cells[i] for i, name in known if cells[i]}
        try:
            rows.append(model.model_validate(given | {"row": number}))
        except ValidationError as error:
            for detail in error.errors(include_url=False):
                name = str(detail["loc"][0])
                notes.problem(table.file, number, name, given.get(name), *explain(detail))
    return rows


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
            return f"is not one of {', '.join(words)}", meant(str(detail["input"]), words) or "Write one of them."
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


def unknown(value: str, ref: Ref, ids: Iterable[str]) -> tuple[str, Callable[[], str]]:
    """Word an unknown id: what is wrong, and what names the nearest known one."""
    file = "choreography/" if ref.table == "services" else f"{ref.table}.csv"
    what = "race or car is of this series" if ref.table == "series" else f"{SINGULAR[ref.table]} of {file} has this id"
    return f"no {what}", lambda: nearest(value, sorted(ids), f"Add it to {file}.")


def check_refs(file: str, rows: Sequence[Row], model: type[Row], known: Known, notes: Notes) -> None:
    """Note every unknown id of a small table."""
    for name, column, ref in refs_of(model):
        ids = known[ref.table]
        for row in rows:
            for one in ids_in(getattr(row, name)):
                if ids is not None and one not in ids:
                    notes.problem(file, row.row, column, one, *unknown(one, ref, ids))


def ids_in(value: Any) -> tuple[str, ...]:
    """Return the ids a cell holds: none, one or several."""
    return () if value is None else (value,) if isinstance(value, str) else value


def check_keys(table: Table, model: type[Row], notes: Notes) -> None:
    """Note every row that repeats the key of an earlier one."""
    columns = [model.model_fields[name].alias or name for name in model.key]
    seen: dict[tuple[str, ...], int] = {}
    for number, *key in zip(table.numbers, *(table.column(name) for name in columns), strict=True):
        first = seen.setdefault(tuple(key), number)
        if first != number and any(key):
            value = ", ".join(filter(None, key))
            what = f"repeats row {first}" + (f" ({', '.join(columns)})" if len(columns) > 1 else "")
            notes.problem(table.file, number, columns[0] if len(columns) == 1 else None, value, what, "Keep one.")
