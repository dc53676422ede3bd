"""Keeps plans as revisions: each names its parent, author, reason, inputs, versions and seed."""

from __future__ import annotations

import platform
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from importlib.metadata import PackageNotFoundError, version
from typing import Final

from lineup.errors import NotAllowed, StoreError
from lineup.plan import Plan
from lineup.plan_file import plan_from_dict, plan_to_dict
from lineup.season import Pin, Season
from lineup.store.checklist import BLOCKING, AuditResult, breaches
from lineup.store.desk import Desk
from lineup.store.journal import Reader, Writer
from lineup.store.people import User
from lineup.store.record import Record

RECORDED_PACKAGES: Final = ("lineup", "numpy", "ortools", "scipy")
LONGEST_REASON = 2000


@dataclass(frozen=True, slots=True)
class Revision:
    """A kept plan, without the plan itself. `number`: its record's; `parent` None: the first of its weekends."""

    number: int
    parent: int | None
    author: str
    authenticated: bool
    at: datetime
    reason: str
    weekends: tuple[str, ...]
    fingerprints: Mapping[str, str]
    versions: Mapping[str, str]
    seed: int | None
    pins: tuple[Pin, ...]
    value_s: float | None
    hash: str


class Revisions(Desk):
    """The revisions of a store."""

    def save(
        self, plan: Plan, season: Season, *, reason: str, by: User, now: datetime, parent: int | None = None
    ) -> Revision:
        """Keep a plan as a new revision; `parent` is the revision it was made from.

        Raises
        ------
        NotAllowed
            When the user is no coach.
        StoreError
            When one of the plan's weekends has a newer revision than `parent`: somebody else was faster.
        """
        self._require(by, ("coach",), "keeping a revision")
        with self._journal.writing() as store:
            check_newest(store, weekends_of(plan, season), parent)
            return keep(store, plan, season, reason=reason, by=by, now=now, parent=parent)

    def check_anew(
        self, number: int, season: Season, audit: AuditResult, *, reason: str, by: User, now: datetime
    ) -> Revision:
        """Keep the same lineup as a new revision that has been checked against the inputs of now.

        `audit` is that of this revision's plan on this season. The forecasts stay those of the old grades.

        Raises
        ------
        NotAllowed
            When the audit found a breach.
        """
        self._require(by, ("coach",), "checking a lineup anew")
        broken = breaches(audit)
        if broken:
            raise NotAllowed(f"the lineup of revision {number} no longer holds: {'; '.join(broken)}. Plan again")
        with self._journal.writing() as store:
            revision, plan = to_revision(store.record(number, "revision")), read_plan(store, number)
            fresh = {part: mark for part, mark in season.fingerprints.items() if part in BLOCKING}
            kept = {part: mark for part, mark in revision.fingerprints.items() if part not in BLOCKING}
            plan = plan.replace(fingerprints=kept | fresh)
            check_newest(store, weekends_of(plan, season), number)
            return keep(store, plan, season, reason=reason, by=by, now=now, parent=number)

    def revision(self, number: int) -> Revision:
        """Return one revision; StoreError when there is none of this number."""
        with self._journal.reading() as store:
            return to_revision(store.record(number, "revision"))

    def revisions(self, weekend: str | None = None) -> tuple[Revision, ...]:
        """Return every revision in order, of one weekend where asked."""
        with self._journal.reading() as store:
            return tuple(to_revision(record) for record in store.records(("revision",), weekend))

    def plan(self, number: int) -> Plan:
        """Return the plan of a revision; StoreError when there is none of this number."""
        with self._journal.reading() as store:
            return read_plan(store, number)


def keep(
    store: Writer, plan: Plan, season: Season, *, reason: str, by: User, now: datetime, parent: int | None
) -> Revision:
    """Append a plan as a revision inside a transaction that is open; who may, and from where, is checked before."""
    if not plan.assignments:
        raise StoreError(f"a plan without a lineup (status {plan.status}) is not kept")
    if parent is not None:
        store.record(parent, "revision")
    document = plan_to_dict(plan)
    document.pop("clash", None)  # its facts can name why somebody is absent, and that stays in the season folder
    body = {
        "parent": parent,
        "reason": clean(reason, "a revision needs a reason"),
        "fingerprints": dict(plan.fingerprints or season.fingerprints),
        "versions": versions(),
        "seed": plan.seed,
        "pins": [asdict(pin) for pin in season.pins],
        "value_s": plan.value_s,
    }
    weekends = weekends_of(plan, season)
    return to_revision(store.append("revision", body, by=by, now=now, weekends=weekends, document=document))


def check_newest(store: Reader, weekends: tuple[str, ...], seen: int | None) -> None:
    """Refuse to go on from a revision that is not the newest of its weekends."""
    for weekend in weekends:
        newest = store.latest("revision", weekend)
        if newest is not None and newest.number > (seen or 0):
            since = "no revision" if seen is None else f"revision {seen}"
            raise StoreError(
                f"weekend {weekend} has changed: {newest.author} kept revision {newest.number} "
                f"({newest.body['reason']}) while you worked from {since}. Nothing was overwritten: look at it first"
            )


def read_plan(store: Reader, number: int) -> Plan:
    """Return the plan of a revision inside a transaction that is open."""
    store.record(number, "revision")
    return plan_from_dict(store.document(number), None)


def to_revision(record: Record) -> Revision:
    """Read a record of kind `revision`."""
    body = record.body
    return Revision(
        number=record.number,
        parent=body["parent"],
        author=record.author,
        authenticated=record.authenticated,
        at=record.at,
        reason=body["reason"],
        weekends=record.weekends,
        fingerprints=body["fingerprints"],
        versions=body["versions"],
        seed=body["seed"],
        pins=tuple(Pin(**pin) for pin in body["pins"]),
        value_s=body["value_s"],
        hash=record.hash,
    )


def versions() -> dict[str, str]:
    """Return the versions a plan depends on, by package name."""
    found = {"python": platform.python_version()}
    for package in RECORDED_PACKAGES:
        try:
            found[package] = version(package)
        except PackageNotFoundError:
            found[package] = "not installed"
    return found


def clean(text: str, need: str) -> str:
    """Return a text worth keeping: one line, not empty, not endless."""
    plain = " ".join(text.encode("utf-8", "replace").decode().split())
    if not plain:
        raise StoreError(need)
    if len(plain) > LONGEST_REASON:
        raise StoreError(f"a reason has at most {LONGEST_REASON} characters, this one {len(plain)}")
    return plain


def weekends_of(plan: Plan, season: Season) -> tuple[str, ...]:
    """Return the weekends a plan is about: those it names, and those it has a seat in."""
    races = {a.race for a in plan.assignments}
    worked = {race.weekend for race in season.races.values() if race.id in races}
    return tuple(w for w in season.weekends if w in worked or w in plan.weekends)
