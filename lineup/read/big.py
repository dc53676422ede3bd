"""Holds big tables against their row models, column by column: each distinct cell is read once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Annotated, Any, Final, get_args

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pydantic import TypeAdapter, ValidationError
from pydantic.fields import FieldInfo

from lineup.read.cells import Ref
from lineup.read.notes import Notes
from lineup.read.rows import Row
from lineup.read.source import Table
from lineup.read.tables import SINGULAR, Known, check_header, columns_of, explain, ids_in, refs_of, unknown

FAR_OUT: Final = 10.0
LOOKS_ALIKE: Final = 0.87  # ratio of equal letters above which an unknown id looks like a slip of the pen


@dataclass(frozen=True)
class Frame:
    """A big table: every column of its model and `row`, as objects; None where a cell is empty or has a problem.

    `faults` tells by column which rows have a problem there, shape (rows,).
    """

    file: str
    cells: pd.DataFrame
    faults: dict[str, NDArray[np.bool_]]

    @property
    def bad(self) -> NDArray[np.bool_]:
        """Rows with a problem anywhere."""
        bad: NDArray[np.bool_] = np.any(list(self.faults.values()), axis=0)
        return bad


def read_frame(table: Table, model: type[Row], notes: Notes) -> Frame | None:
    """Read a big table, each distinct cell of a column once; None when columns are missing."""
    if not check_header(table, model, notes):
        return None
    columns: dict[str, Any] = {"row": pd.array(table.numbers, dtype="int64")}
    shifted = np.isin(table.numbers, list(table.shifted))
    faults = {"row": shifted}
    for name, info in columns_of(model).items():
        codes, cells = pd.factorize(pd.Series(table.column(name), dtype=object))
        values, found = _read_cells([str(cell) for cell in cells], info)
        columns[name] = pd.Series([values[code] for code in codes], dtype=object)
        faults[name] = np.isin(codes, list(found))
        for i in np.flatnonzero(faults[name] & ~shifted):
            notes.problem(table.file, table.numbers[i], name, cells[codes[i]] or None, *found[codes[i]])
    return Frame(table.file, pd.DataFrame(columns), faults)


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


def check_frame_refs(frame: Frame, model: type[Row], known: Known, notes: Notes) -> None:
    """Note every unknown id of a big table as a fault; a soft one is noted once, with its count."""
    for name, column, ref in refs_of(model):
        ids = known[ref.table]
        if ids is None:
            continue
        strange = {value for value in frame.cells[name].unique() if not ids.issuperset(ids_in(value))}
        where = np.flatnonzero(frame.cells[name].isin(strange)) if strange else np.array([], dtype=int)
        found = frame.cells[["row", name]].iloc[where]
        rows = [(row, one) for row, value in zip(found["row"], found[name], strict=True) for one in ids_in(value)]
        rows = [(int(row), one) for row, one in rows if one not in ids]
        if ref.soft:
            first = {one: row for row, one in reversed(rows)}
            for one, count in Counter(one for _, one in rows).items():
                near = get_close_matches(one, ids, 1, LOOKS_ALIKE)
                if near or ref.table != "races":  # grades go back to races of earlier seasons: only a slip is odd
                    _odd_id(frame.file, first[one], column, one, ref, count, notes)
        else:
            frame.faults[name][where] = True
            for row, one in rows:
                notes.problem(frame.file, row, column, one, *unknown(one, ref, ids))


def _odd_id(file: str, row: int, column: str, value: str, ref: Ref, count: int, notes: Notes) -> None:
    more = "" if count == 1 else f", like {count - 1:,} more"
    message = f"names a {SINGULAR[ref.table]} that {ref.table}.csv does not have{more}"
    notes.warning(file, row, column, value, message, "Nothing to do if it is of an earlier season.")


def flagged(
    frame: Frame,
    mask: NDArray[np.bool_],
    column: str,
    message: str,
    mend: str,
    needs: Sequence[str],
    notes: Notes,
    show: str | None = None,
) -> None:
    """Note the rows of a mask as wrong in a column, unless one of the columns it `needs` already has a fault."""
    wrong = mask & ~np.logical_or.reduce([frame.faults[name] for name in ("row", *needs)])
    frame.faults[column] |= wrong
    found = frame.cells[["row", show or column]][wrong]
    for row, value in found.itertuples(index=False):
        notes.problem(frame.file, int(row), column, value, message, mend)


def warn_of_far_out(
    file: str, rows: pd.DataFrame, column: str, groups: pd.Series[Any], what: str, notes: Notes
) -> None:
    """Note times ten times, or a tenth of, the median of their group, or further out."""
    times = rows[column].astype(float)
    typical = times.groupby(groups).transform("median")
    far = (times >= FAR_OUT * typical) | (times <= typical / FAR_OUT)
    for row, value, usual in zip(rows["row"][far], times[far], typical[far], strict=True):
        odd = f"is {'ten times' if value > usual else 'a tenth of'} {what}, {usual:.2f} s, or further out"
        notes.warning(file, int(row), column, value, odd, "Check the decimal point.")


def typed(rows: pd.DataFrame, columns: Sequence[str]) -> pd.DataFrame:
    """Bring a table to the columns and types that `Season` promises."""
    found: dict[str, Any] = {}
    for column in columns:
        cells = rows[column]
        if column == "row":
            found[column] = cells.to_numpy(dtype="int64")
        elif column == "date":
            found[column] = pd.to_datetime(cells).to_numpy(dtype="datetime64[s]")
        elif column in ("seconds", "total_s"):
            found[column] = cells.to_numpy(dtype="float64")
        elif column in ("misses", "spoilers"):
            found[column] = pd.Series(list(cells), dtype=object)
        else:
            found[column] = pd.Series(["" if cell is None else cell for cell in cells], dtype="str")
    return pd.DataFrame(found)
