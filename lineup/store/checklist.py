"""What a signer must know: what stands against signing, what must be acknowledged, what is only a warning."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final, Literal, Protocol

from lineup.errors import NotAllowed, Unacknowledged
from lineup.pins import pair_rule
from lineup.plan import Plan
from lineup.plan_changes import seat_changes
from lineup.report.limit_rows import limit_name
from lineup.report.party import travellers
from lineup.season import Pin, Season
from lineup.store.changes import change_texts, label, races_of, trip_changes
from lineup.store.weekend import StepState

# parts of the inputs that, once changed, make a plan unfit to sign; a change in any other part is a warning
BLOCKING: Final = ("absences", "clearances", "races", "entries", "limits")
PART_WORDS: Final = {"absences": "availability"}  # parts of the inputs that their file calls otherwise

Kind = Literal["change", "pin", "limit", "objection", "late", "breach"]


class Breach(Protocol):
    """One figure beyond a limit."""

    @property
    def text(self) -> str:
        """The finding in words."""

    @property
    def race(self) -> str | None:
        """The race it happens at; None where it belongs to no single race."""


class AuditCheck(Protocol):
    """One limit as an audit found it."""

    @property
    def rule(self) -> str:
        """Name of the limit."""

    @property
    def kept(self) -> bool:
        """Whether the plan keeps it."""

    @property
    def priced(self) -> bool:
        """Whether breaking it only costs."""

    @property
    def text(self) -> str:
        """The worst finding in words."""

    @property
    def broken(self) -> Sequence[Breach]:
        """Everything beyond the limit."""


class AuditResult(Protocol):
    """Every limit, kept or broken."""

    @property
    def checks(self) -> Sequence[AuditCheck]:
        """One check per limit."""


Auditor = Callable[[Season, Plan], AuditResult]


@dataclass(frozen=True, slots=True)
class Item:
    """One thing the signer acknowledges. Its id follows from what it says: other words, another id."""

    id: str
    kind: Kind
    text: str


@dataclass(frozen=True, slots=True)
class Checklist:
    """`blocks`: why it cannot be signed. `items`: each must be acknowledged. `warnings`: worth knowing."""

    blocks: tuple[str, ...]
    items: tuple[Item, ...]
    warnings: tuple[str, ...] = ()

    def missing(self, acknowledged: Collection[str]) -> tuple[Item, ...]:
        """Return the items that nobody acknowledged."""
        return tuple(item for item in self.items if item.id not in acknowledged)

    def require(self, acknowledged: Collection[str], step: str) -> None:
        """Refuse a step that is blocked, or whose items are not all acknowledged.

        Raises
        ------
        NotAllowed
            With every reason.
        Unacknowledged
            With the text and the id of every item that is missing.
        """
        if self.blocks:
            raise NotAllowed(f"{step} is not possible: {'; '.join(self.blocks)}")
        missing = self.missing(acknowledged)
        if missing:
            listed = "; ".join(f"{item.text} [{item.id}]" for item in missing)
            raise Unacknowledged(f"{step} needs these to be acknowledged first: {listed}")


@dataclass(frozen=True)
class Subject:
    """What is about to be signed, with everything the checklist depends on."""

    weekend: str
    state: StepState
    plan: Plan
    pins: tuple[Pin, ...]
    fingerprints: Mapping[str, str]
    earlier: Plan | None
    travel_list: Plan | None
    deadline: datetime | None
    blocks: tuple[str, ...] = ()


def checklist(
    season: Season, subject: Subject, audit: AuditResult, now: datetime, *, after_the_fact: bool
) -> Checklist:
    """Gather what the signer must know.

    `after_the_fact`: an amendment that is in force already is being ratified, so a broken hard limit is
    acknowledged instead of standing in the way, and inputs may have changed (they are why it was needed).
    """
    broken = [check for check in audit.checks if not check.kept]
    hard = [f"the audit found a breach, {text}" for text in breaches(audit)]
    blocks = list(subject.blocks) if after_the_fact else [*subject.blocks, *hard, *_stale(season, subject)]
    unlisted = [] if subject.travel_list is None else _not_on_the_list(season, subject, subject.travel_list)
    blocks += [] if after_the_fact else unlisted
    items = [*_changes(season, subject), *_pins(season, subject)]
    items += _prices(season, subject, broken)
    items += [_item("breach", text) for text in (*hard, *unlisted) if after_the_fact]
    items += _objections(season, subject.state)
    if subject.deadline is not None and now > subject.deadline:
        items.append(_item("late", f"the deadline, {subject.deadline:%Y-%m-%d %H:%M} UTC, has passed"))
    unique = {item.id: item for item in items}
    return Checklist(tuple(dict.fromkeys(blocks)), tuple(unique.values()), _warnings(season, subject))


def breaches(audit: AuditResult) -> list[str]:
    """Return every limit that is broken and has no price, with its worst finding."""
    return [f"{limit_name(check.rule)}: {check.text}" for check in audit.checks if not check.kept and not check.priced]


def changed_parts(then: Mapping[str, str], now: Mapping[str, str]) -> tuple[str, ...]:
    """Return the parts of the inputs whose fingerprint differs, in order of name."""
    return tuple(part for part in sorted(then.keys() | now.keys()) if then.get(part) != now.get(part))


def _stale(season: Season, subject: Subject) -> list[str]:
    changed = changed_parts(subject.fingerprints, season.fingerprints)
    return [
        f"{PART_WORDS.get(part, part)} changed since this plan was made: plan again, or check the same lineup anew"
        for part in changed
        if part in BLOCKING
    ]


def _warnings(season: Season, subject: Subject) -> tuple[str, ...]:
    changed = changed_parts(subject.fingerprints, season.fingerprints)
    return tuple(f"{part} changed since this plan was made" for part in changed if part not in BLOCKING)


def _not_on_the_list(season: Season, subject: Subject, listed: Plan) -> list[str]:
    races = races_of(season, subject.weekend)
    missing = travellers(subject.plan, races) - travellers(listed, races)
    return [
        f"{label(season, 'athletes', athlete)} is not on the signed travel list of {label(season, 'races', race)}"
        for race, athlete in sorted(missing)
    ]


def _changes(season: Season, subject: Subject) -> Iterator[Item]:
    races = races_of(season, subject.weekend)
    trips = subject.state.step == "travel_list"
    if subject.earlier is None:
        count = (
            len(travellers(subject.plan, races)) if trips else sum(a.race in races for a in subject.plan.assignments)
        )
        what = "places on the travel list" if trips else "seats"
        yield _item("change", f"nothing was signed for this weekend before: all {count} {what} are new")
        return
    changes = (trip_changes if trips else seat_changes)(subject.earlier, subject.plan, races)
    for text in change_texts(season, changes):
        yield _item("change", text)


def _pins(season: Season, subject: Subject) -> Iterator[Item]:
    races = races_of(season, subject.weekend)
    for pin in subject.pins:
        if pin.race is None or pin.race in races:
            yield _item("pin", pin_text(season, pin) + f" ({pin.reason})")


def _prices(season: Season, subject: Subject, broken: Sequence[AuditCheck]) -> Iterator[Item]:
    """Yield every figure beyond a priced limit, those that belong to another weekend's race left out."""
    races = races_of(season, subject.weekend)
    for check in broken:
        here = [breach.text for breach in check.broken if breach.race is None or breach.race in races]
        texts = here if check.broken else [check.text]
        for text in texts if check.priced else ():
            yield _item("limit", f"broken at a price, {limit_name(check.rule)}: {text}")


def _objections(season: Season, state: StepState) -> list[Item]:
    return [
        _item("objection", f"{review.mark.by} objects for {label(season, 'cars', car)}: {review.mark.reason}")
        for car, review in sorted(state.reviews.items())
        if review.verdict == "objected"
    ]


def pin_text(season: Season, pin: Pin) -> str:
    """Return a pin in words, its reason left out."""
    who = label(season, "athletes", pin.athlete)
    if pin.other is not None:
        return f"pinned: {who} and {label(season, 'athletes', pin.other)} {pair_rule(season, pin)}"
    where = [label(season, kind, key) for kind, key in _places(pin) if key is not None]
    verb = "must work" if pin.kind == "must" else "must not work"
    return f"pinned: {who} {verb}" + (f" in {', '.join(where)}" if where else "")


def _places(pin: Pin) -> tuple[tuple[str, str | None], ...]:
    return ("races", pin.race), ("cars", pin.car), ("positions", pin.position)


def _item(kind: Kind, text: str) -> Item:
    return Item(f"{kind}-{hashlib.sha256(text.encode()).hexdigest()[:10]}", kind, text)
