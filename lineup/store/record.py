"""One record of the store: its canonical text and the hash that chains it to the record before."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, NamedTuple

from lineup.errors import StoreError
from lineup.store.bodies import body_fits

GENESIS = "0" * 64  # what the first record names as its predecessor
SHORTEST_HEAD = 12  # hex digits below which a check code typed from a sheet could belong to another record


class Row(NamedTuple):
    """A record as the table holds it; columns in the order of `tables.records`."""

    number: int
    kind: str
    at: str
    author: str
    authenticated: bool
    weekends: str
    body: str
    document: str | None
    previous: str
    hash: str


@dataclass(frozen=True, slots=True)
class Record:
    """A record without its document, which is read when asked for; `at` is aware, in UTC."""

    number: int
    kind: str
    at: datetime
    author: str
    authenticated: bool
    weekends: tuple[str, ...]
    body: Mapping[str, Any]
    hash: str


@dataclass(frozen=True, slots=True)
class Verification:
    """What a walk along the chain found. `damaged` is the number of the first record that is not as it was written."""

    records: int
    head: str
    damaged: int | None = None
    problem: str | None = None

    @property
    def ok(self) -> bool:
        """Whether every record is as it was written, and the head asked for is among them."""
        return self.problem is None


def canonical(value: object) -> str:
    """Return JSON text that is the same for equal data: sorted keys, no spaces, ASCII only.

    Raises
    ------
    StoreError
        When the value holds something JSON cannot (NaN, or a text that is not valid Unicode).
    """
    try:
        text = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=True, allow_nan=False)
    except (TypeError, ValueError) as error:
        raise StoreError(f"this cannot be kept: {error}") from None
    return text


def utc_text(moment: datetime) -> str:
    """Return an aware moment as ISO 8601 in UTC.

    Raises
    ------
    StoreError
        When the moment does not say its offset.
    """
    if moment.tzinfo is None:
        raise StoreError(f"the time {moment.isoformat()} does not say its offset from UTC")
    return moment.astimezone(UTC).isoformat(timespec="seconds")


def digest(row: Row) -> str:
    """Return the sha256 (FIPS 180-4) of everything a record says, the hash before it included."""
    document = "" if row.document is None else _sha256(row.document)
    said = [row.number, row.kind, row.at, row.author, bool(row.authenticated), row.weekends, row.body, document]
    return _sha256(canonical([*said, row.previous]))


def to_record(row: Row) -> Record:
    """Parse a row.

    Raises
    ------
    StoreError
        When the row is not one this package wrote.
    """
    try:
        at = datetime.fromisoformat(row.at)
        weekends = tuple(json.loads(row.weekends))
        body = json.loads(row.body)
        if at.tzinfo is None or not body_fits(row.kind, body) or not all(isinstance(w, str) for w in weekends):
            raise ValueError
        if row.kind == "deadline":
            utc_text(datetime.fromisoformat(body["deadline"]))
    except (TypeError, ValueError, StoreError):
        raise StoreError(f"record {row.number} cannot be read: the store is damaged there, verify it") from None
    return Record(row.number, row.kind, at, row.author, bool(row.authenticated), weekends, body, row.hash)


def verify_chain(rows: Iterable[Row], printed: str = "") -> Verification:
    """Walk along the chain and name the first record that is missing or not as it was written.

    `printed` is the check code of a sheet: the hash of the newest record when it was printed (at least its first 12
    hex digits; spaces do not matter). A chain that was rewritten as a whole agrees with itself, but no longer holds it.
    """
    wanted = "".join(printed.split()).lower()
    if wanted and (len(wanted) < SHORTEST_HEAD or not set(wanted) <= set("0123456789abcdef")):
        raise StoreError(f"a check code is at least {SHORTEST_HEAD} digits 0-9 and a-f, as the sheet prints them")
    count, head, found = 0, GENESIS, not wanted
    for row in rows:
        expected = count + 1
        if row.number != expected:
            return Verification(count, head, expected, f"record {expected} is missing")
        if row.previous != head:
            return Verification(count, head, expected, f"record {expected} does not follow record {count}")
        if row.hash != _digest_of_any(row):
            return Verification(
                count, head, expected, f"record {expected} ({row.kind}) was changed after it was written"
            )
        count, head = expected, row.hash
        found = found or head.startswith(wanted)
    if not found:
        problem = "the check code of the sheet is not in this store: its history was rewritten, or its end cut off"
        return Verification(count, head, None, problem)
    return Verification(count, head)


def _digest_of_any(row: Row) -> str:
    # a tampered row can hold any type in any column; it then simply has another hash
    try:
        return digest(row)
    except (StoreError, AttributeError, TypeError, UnicodeError):
        return ""


def _sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()
