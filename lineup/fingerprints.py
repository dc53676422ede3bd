"""Names the state of each part of a season by the sha256 of its canonical data.

Rows count in any order, units and file forms do not matter: a folder and a workbook with the same facts agree.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, is_dataclass
from datetime import UTC, date, datetime
from typing import Any, Final

import numpy as np
import pandas as pd

from lineup.season import Season

PARTS: Final = (
    "athletes",
    "positions",
    "clearances",
    "sites",
    "cars",
    "races",
    "entries",
    "service_counts",
    "choreographies",
    "misses",
    "grades",
    "stops",
    "absences",
    "pins",
    "standing",
    "worked",
    "journeys",
    "limits",
    "weights",
)


def fingerprints(season: Season) -> dict[str, str]:
    """Return the sha256, in hexadecimal, of every part of a season."""
    return {part: _fingerprint(getattr(season, part)) for part in PARTS}


def _fingerprint(facts: Any) -> str:
    digest = hashlib.sha256()
    if isinstance(facts, pd.DataFrame):
        for line in _frame_lines(facts):
            digest.update(line.encode() + b"\n")
    else:
        digest.update(_json(_plain(facts)).encode())
    return digest.hexdigest()


def _json(plain: Any) -> str:
    return json.dumps(plain, sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def _plain(fact: Any) -> Any:
    """Reduce a fact to what JSON can say: numbers to nine digits, moments to UTC, several things in sorted order."""
    if is_dataclass(fact) and not isinstance(fact, type):
        return {key: _plain(value) for key, value in asdict(fact).items()}
    if isinstance(fact, Mapping):
        return {"/".join(key) if isinstance(key, tuple) else str(key): _plain(value) for key, value in fact.items()}
    if isinstance(fact, tuple | list):
        return sorted((_plain(part) for part in fact), key=_json)
    if isinstance(fact, bool) or fact is None or isinstance(fact, str):
        return fact
    if isinstance(fact, datetime):
        return fact.astimezone(UTC).isoformat()
    if isinstance(fact, date):
        return fact.isoformat()
    return f"{float(fact):.9g}"


def _frame_lines(table: pd.DataFrame) -> list[str]:
    """Write every row as one line, the row number left out, in sorted order."""
    columns = []
    for name in table.columns:
        if name == "row":
            continue
        cells = table[name]
        if cells.dtype.kind == "M":
            columns.append(np.datetime_as_string(cells.to_numpy(dtype="datetime64[D]")).tolist())
        elif cells.dtype.kind == "f":
            columns.append([f"{cell:.9g}" for cell in cells.tolist()])
        else:
            columns.append(
                [";".join(sorted(cell)) if isinstance(cell, tuple) else str(cell) for cell in cells.tolist()]
            )
    return sorted("\x1f".join(row) for row in zip(*columns, strict=True))
