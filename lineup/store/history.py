"""Tells every record of a store as one plain sentence."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from lineup.store.record import Record
from lineup.store.weekend import STEP_NAMES


@dataclass(frozen=True, slots=True)
class HistoryLine:
    """One record in words; `at` is aware, in UTC."""

    number: int
    at: datetime
    author: str
    authenticated: bool
    kind: str
    weekends: tuple[str, ...]
    text: str
    hash: str


def history_line(record: Record) -> HistoryLine:
    """Return a record in words."""
    return HistoryLine(
        record.number,
        record.at,
        record.author,
        record.authenticated,
        record.kind,
        record.weekends,
        _text(record),
        record.hash,
    )


def _text(record: Record) -> str:
    body = record.body
    reason = f": {body['reason']}" if body.get("reason") else ""
    step = STEP_NAMES.get(body.get("step", ""), "")
    roster = f"the {step}, revision {body.get('revision')}"
    match record.kind:
        case "revision":
            parent = "" if body["parent"] is None else f", made from revision {body['parent']}"
            return f"kept revision {record.number}{parent}{reason}"
        case "proposed" | "ratified":
            return f"{record.kind} {roster}"
        case "signed":
            return f"signed {roster}{' after its deadline' if body['late'] else ''}; {_count(body)} acknowledged"
        case "acknowledged":
            return f"acknowledged {roster}, for car {body['car']}{reason}"
        case "objected":
            return f"objected to {roster}, for car {body['car']}{reason}"
        case "amended":
            return f"amended on site: {roster} is in force{reason}"
        case "withdrawn":
            return f"took back the {body['what']} of {roster}{reason}"
        case "deadline":
            return f"set the deadline of the {step} to {body['deadline']}"
        case "ticked":
            return f"{'ticked' if body['done'] else 'took the tick back from'} the reminder {body['reminder']}"
        case "pin":
            return f"pinned {body['pin']['athlete']} ({body['pin']['kind']}): {body['pin']['reason']}"
        case "pin_lifted":
            return f"lifted pin {body['pin']}{reason}"
        case "drill":
            return f"kept the drill {body['name']}"
        case _:
            return record.kind


def _count(body: object) -> str:
    items = body["items"] if isinstance(body, dict) else ()
    return "1 item" if len(items) == 1 else f"{len(items)} items"
