"""Keeps what surrounds a roster: pins set by hand, drills that were run, reminders that were ticked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from typing import Any

from lineup.errors import InputError, StoreError
from lineup.season import Pin
from lineup.store.desk import Desk
from lineup.store.people import User
from lineup.store.record import Record
from lineup.store.reminders import Reminder
from lineup.store.revisions import clean
from lineup.store.weekend import Step, check_step


@dataclass(frozen=True, slots=True)
class KeptPin:
    """A pin that is in force, with the number of its record and who set it when."""

    number: int
    pin: Pin
    by: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Drill:
    """A drill that was run: what was asked and found, as plain JSON data."""

    number: int
    name: str
    by: str
    at: datetime
    fingerprints: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Tick:
    """A reminder of a weekend, and who ticked it when; None: nobody yet."""

    reminder: Reminder
    by: str | None = None
    at: datetime | None = None


class Notes(Desk):
    """Pins, drills and reminders of a store."""

    def keep_pin(self, pin: Pin, *, by: User, now: datetime) -> KeptPin:
        """Keep a pin until it is lifted; NotAllowed when the user is no coach, StoreError without a reason."""
        self._require(by, ("coach",), "setting a pin")
        pin = replace(pin, reason=clean(pin.reason, "a pin needs a reason"))
        with self._journal.writing() as store:
            return _to_pin(store.append("pin", {"pin": asdict(pin)}, by=by, now=now))

    def lift_pin(self, number: int, *, reason: str, by: User, now: datetime) -> Record:
        """End a pin; StoreError when it was lifted before or never set."""
        self._require(by, ("coach",), "lifting a pin")
        reason = clean(reason, "lifting a pin needs a reason")
        with self._journal.writing() as store:
            store.record(number, "pin")
            if any(record.body["pin"] == number for record in store.records(("pin_lifted",))):
                raise StoreError(f"pin {number} was lifted before")
            return store.append("pin_lifted", {"pin": number, "reason": reason}, by=by, now=now)

    def pins(self) -> tuple[KeptPin, ...]:
        """Return the pins in force, oldest first; add them with `season.with_pin`."""
        with self._journal.reading() as store:
            found = store.records(("pin", "pin_lifted"))
        lifted = {record.body["pin"] for record in found if record.kind == "pin_lifted"}
        return tuple(_to_pin(r) for r in found if r.kind == "pin" and r.number not in lifted)

    def keep_drill(
        self, name: str, document: Any, fingerprints: Mapping[str, str], *, by: User, now: datetime
    ) -> Drill:
        """Keep what a drill found; `document` is plain JSON data, `fingerprints` those of the season it ran on."""
        self._require(by, ("coach",), "keeping a drill")
        body = {"name": clean(name, "a drill needs a name"), "fingerprints": dict(fingerprints)}
        with self._journal.writing() as store:
            return _to_drill(store.append("drill", body, by=by, now=now, document=document))

    def drills(self) -> tuple[Drill, ...]:
        """Return every drill, oldest first, without its document."""
        with self._journal.reading() as store:
            return tuple(_to_drill(record) for record in store.records(("drill",)))

    def drill_document(self, number: int) -> Any:
        """Return what a drill found; StoreError when there is no such drill."""
        with self._journal.reading() as store:
            store.record(number, "drill")
            return store.document(number)

    def tick(self, weekend: str, reminder: str, *, by: User, now: datetime, done: bool = True) -> Record:
        """Tick a reminder of a weekend, or take the tick back; InputError when the season has no such reminder."""
        self._require(by, ("coach", "crew_chief", "signer"), "ticking a reminder")
        known = [r.id for r in self._routine.reminders]
        if reminder not in known:
            raise InputError(f"there is no reminder {reminder!r}; the season has {', '.join(known) or 'none'}")
        with self._journal.writing() as store:
            return store.append("ticked", {"reminder": reminder, "done": done}, by=by, now=now, weekends=(weekend,))

    def ticks(self, weekend: str, step: Step) -> tuple[Tick, ...]:
        """Return the reminders of one step of a weekend, ticked or not."""
        check_step(step)
        with self._journal.reading() as store:
            last = {record.body["reminder"]: record for record in store.records(("ticked",), weekend)}
        return tuple(_to_tick(reminder, last.get(reminder.id)) for reminder in self._routine.of(step))


def _to_pin(record: Record) -> KeptPin:
    return KeptPin(record.number, Pin(**record.body["pin"]), record.author, record.at)


def _to_drill(record: Record) -> Drill:
    return Drill(record.number, record.body["name"], record.author, record.at, record.body["fingerprints"])


def _to_tick(reminder: Reminder, record: Record | None) -> Tick:
    if record is None or not record.body["done"]:
        return Tick(reminder)
    return Tick(reminder, record.author, record.at)
