"""Turns what an editable grid reports into the rows it shows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any


def edited(header: Sequence[str], rows: Sequence[Sequence[str]], state: Mapping[str, Any]) -> list[list[str]]:
    """Return the rows after the changes that a grid reports: edited cells by row, added rows, deleted rows."""
    changed = [list(row) for row in rows]
    for number, cells in (state.get("edited_rows") or {}).items():
        for column, value in cells.items():
            if column in header:
                changed[int(number)][header.index(column)] = _text(value)
    gone = {int(number) for number in state.get("deleted_rows") or ()}
    added = [[_text(row.get(column)) for column in header] for row in state.get("added_rows") or ()]
    return [row for number, row in enumerate(changed) if number not in gone] + [row for row in added if any(row)]


def _text(value: object) -> str:
    return "" if value is None else str(value)
