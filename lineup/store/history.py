"""Tells every record of a store as one plain sentence."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from lineup.explain.words import count
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
            late = " after its deadline" if body["late"] else ""
            return f"signed {roster}{late}; {count(len(body['items']), 'item')} acknowledged"
        case "acknowledged":
            return f"acknowledged {roster}, for car {body['car']}{reason}"
        case "objected":
            return f"objected to {roster}, for car {body['car']}{reason}"
        case "amended":
            return f"amended at the track: {roster} is in force{reason}"
        case "withdrawn":
            return f"took back the {body['what']} of {roster}{reason}"
        case "deadline":
            return f"set the deadline of the {step} to {datetime.fromisoformat(body['deadline']):%Y-%m-%d %H:%M} UTC"
        case "ticked":
            return f"{'ticked' if body['done'] else 'took the tick back from'} the reminder {body['reminder']}"
        case "pin":
            pin = body["pin"]
            place = [pin[key] for key in ("other", "race", "car", "position") if pin[key]]
            return f"pinned {pin['athlete']} ({', '.join((pin['kind'], *place))}): {pin['reason']}"
        case "pin_lifted":
            return f"lifted pin {body['pin']}{reason}"
        case "drill":
            return f"kept the drill {body['name']}"
        case _:
            return record.kind
