"""The tables of the store, as the newest migration leaves them."""

from __future__ import annotations

from sqlalchemy import Boolean, Column, ForeignKey, Integer, MetaData, String, Table, Text

SCHEMA = "0002"  # newest migration; a store with another one is upgraded, or refused when it is newer

metadata = MetaData()

# One row per thing that happened; rows are only ever added.
records = Table(
    "records",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("kind", String(40), nullable=False),
    Column("at", String(40), nullable=False),  # ISO 8601, UTC, kept as text so that its hash never depends on a driver
    Column("author", Text, nullable=False),
    Column("authenticated", Boolean, nullable=False),
    Column("weekends", Text, nullable=False),  # JSON list
    Column("body", Text, nullable=False),  # canonical JSON
    Column("document", Text),  # canonical JSON of a whole plan or drill; its sha256 takes part in `hash`
    Column("previous", String(64), nullable=False, unique=True),
    Column("hash", String(64), nullable=False, unique=True),
)

# Which weekends a record is about: an index of `records.weekends`.
touches = Table(
    "touches",
    metadata,
    Column("weekend", Text, primary_key=True),
    Column("number", Integer, ForeignKey("records.number"), primary_key=True, autoincrement=False),
)
