"""Appends records to the chain, and reads them back."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, insert, select

from lineup.errors import StoreError
from lineup.store.database import Database
from lineup.store.people import User
from lineup.store.record import (
    GENESIS,
    Record,
    Row,
    Verification,
    canonical,
    digest,
    to_record,
    utc_text,
    verify_chain,
)
from lineup.store.tables import records, touches

LONGEST_NAME = 200
_WITHOUT_DOCUMENT = [column for column in records.c if column.name != "document"]


class Reader:
    """The store as one transaction sees it."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def head(self) -> tuple[int, str]:
        """Return number and hash of the newest record; 0 and zeros in an empty store."""
        newest = select(records.c.number, records.c.hash).order_by(records.c.number.desc()).limit(1)
        row = self._connection.execute(newest).first()
        return (row.number, row.hash) if row else (0, GENESIS)

    def records(self, kinds: Collection[str] = (), weekend: str | None = None) -> tuple[Record, ...]:
        """Return records in order, of some kinds or about one weekend where asked."""
        query = select(*_WITHOUT_DOCUMENT).order_by(records.c.number)
        if kinds:
            query = query.where(records.c.kind.in_(kinds))
        if weekend is not None:
            query = query.join(touches, touches.c.number == records.c.number).where(touches.c.weekend == weekend)
        return tuple(to_record(_row(found)) for found in self._connection.execute(query))

    def record(self, number: int, kind: str) -> Record:
        """Return one record of a kind.

        Raises
        ------
        StoreError
            When the store has no such record.
        """
        query = select(*_WITHOUT_DOCUMENT).where(records.c.number == number, records.c.kind == kind)
        found = self._connection.execute(query).first()
        if found is None:
            raise StoreError(f"there is no {kind} {number} in this store")
        return to_record(_row(found))

    def document(self, number: int) -> Any:
        """Return the parsed document of a record, None where it has none."""
        text = self._connection.execute(select(records.c.document).where(records.c.number == number)).scalar()
        try:
            return None if text is None else json.loads(text)
        except ValueError:
            raise StoreError(f"record {number} cannot be read: the store is damaged there, verify it") from None

    def latest(self, kind: str, weekend: str) -> Record | None:
        """Return the newest record of a kind about a weekend."""
        found = self.records((kind,), weekend)
        return found[-1] if found else None

    def verify(self, printed: str = "") -> Verification:
        """Walk along the whole chain; see `verify_chain`."""
        query = select(records).order_by(records.c.number).execution_options(yield_per=200)
        with self._connection.execute(query) as found:
            return verify_chain((Row(*columns) for columns in found), printed)


class Writer(Reader):
    """The one transaction that may append now."""

    def append(
        self,
        kind: str,
        body: Mapping[str, Any],
        *,
        by: User,
        now: datetime,
        weekends: Collection[str] = (),
        document: object = None,
    ) -> Record:
        """Add a record behind the newest one."""
        if not by.id.isprintable() or not by.id.strip() or len(by.id) > LONGEST_NAME:
            raise StoreError(f"whoever writes needs a name of 1 to {LONGEST_NAME} printable characters")
        number, previous = self.head()
        row = Row(
            number=number + 1,
            kind=kind,
            at=utc_text(now),
            author=by.id,
            authenticated=by.authenticated,
            weekends=canonical(list(weekends)),
            body=canonical(body),
            document=None if document is None else canonical(document),
            previous=previous,
            hash="",
        )
        row = row._replace(hash=digest(row))
        self._connection.execute(insert(records).values(row._asdict()))
        if weekends:
            pairs = [{"weekend": weekend, "number": row.number} for weekend in dict.fromkeys(weekends)]
            self._connection.execute(insert(touches), pairs)
        return to_record(row)


class Journal:
    """A database of records."""

    def __init__(self, where: str | Path) -> None:
        self._database = Database(where)

    @property
    def where(self) -> str:
        """How messages name the store; a password is left out."""
        return self._database.where

    def close(self) -> None:
        """Let go of every connection."""
        self._database.close()

    @contextmanager
    def reading(self) -> Iterator[Reader]:
        """Read the store as it is at one moment."""
        with self._database.reading() as connection:
            yield Reader(connection)

    @contextmanager
    def writing(self) -> Iterator[Writer]:
        """Write alone; everything inside is kept, or nothing."""
        with self._database.writing() as connection:
            yield Writer(connection)


def _row(f: Any) -> Row:
    columns = (f.number, f.kind, f.at, f.author, f.authenticated, f.weekends, f.body)
    return Row(*columns, document=None, previous=f.previous, hash=f.hash)
