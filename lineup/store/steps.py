"""The small steps that every part of the sign-off takes inside a transaction."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from lineup.errors import NotAllowed, StoreError
from lineup.store.journal import Reader, Writer
from lineup.store.people import User
from lineup.store.record import Record
from lineup.store.weekend import STATUS_WORDS, STEP_KINDS, Mark, Roster, StepState, WeekendState, weekend_state


def read_state(store: Reader, weekend: str) -> WeekendState:
    """Return where both steps of a weekend stand."""
    return weekend_state(weekend, store.records(STEP_KINDS, weekend))


def append_step(store: Writer, kind: str, roster: Roster, by: User, now: datetime, **more: Any) -> Record:
    """Append a record about a roster."""
    body = {"step": roster.step, "revision": roster.revision, **more}
    return store.append(kind, body, by=by, now=now, weekends=(roster.weekend,))


def require_revision(roster: Roster, state: StepState, mark: Mark | None, what: str) -> None:
    """Refuse a step on a revision that is not, or no longer, the one it can be taken on."""
    if mark is None:
        raise NotAllowed(f"{roster}: there is nothing {what}, the step is {STATUS_WORDS[state.status]}")
    if mark.revision != roster.revision:
        raise StoreError(
            f"weekend {roster.weekend} has changed: the revision {what} is {mark.revision} now, by {mark.by}, "
            f"not {roster.revision}. Nothing was written: look at it first"
        )
