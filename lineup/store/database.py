"""Opens the database of a store, upgrades its schema, and turns what the database refuses into one clear line."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, inspect, make_url, text
from sqlalchemy.exc import ArgumentError, DBAPIError, SQLAlchemyError
from sqlalchemy.pool import NullPool

from lineup.errors import StoreError
from lineup.store.tables import SCHEMA

WAIT_S = 30  # how long a write waits for the writers before it
UPGRADE_LOCK = 5_301_861  # any number: PostgreSQL's key of the lock that one upgrade at a time holds

# what a database says (in part) -> what the user is told
REFUSALS = (
    ("is full", "the disk is full: nothing of this step was kept. Make room and repeat it"),
    ("No space left", "the disk is full: nothing of this step was kept. Make room and repeat it"),
    ("disk I/O", "the disk refuses to write, it is full or failing: nothing of this step was kept. Look at it first"),
    ("locked", f"another program has been writing for more than {WAIT_S} s: nothing was kept. Repeat the step"),
    ("lock timeout", f"another program has been writing for more than {WAIT_S} s: nothing was kept. Repeat the step"),
    ("readonly", "the store is read-only here: nothing was kept. Ask for the right to write"),
    ("unable to open", "the store cannot be opened: does its folder exist, and may it be written to?"),
    ("not a database", "this file is not a store. Name another file"),
    ("malformed", "the database file is damaged. Bring back a copy from before"),
    ("only be added to", "records can only be added, never changed or removed"),
)


class Database:
    """One database, SQLite or PostgreSQL, whose transactions either happen whole or not at all."""

    def __init__(self, where: str | Path) -> None:
        self.where, url = _address(where)
        try:
            self.engine = _sqlite(url) if url.get_backend_name() == "sqlite" else _server(url)
        except ModuleNotFoundError:
            raise StoreError(
                f"{self.where}: a PostgreSQL store needs the extra: pip install 'lineup[postgres]'"
            ) from None
        except SQLAlchemyError as error:
            raise StoreError(f"{self.where}: cannot be opened ({_first_line(error)})") from None
        try:
            with self._plainly():
                self._upgrade()
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Let go of every connection."""
        self.engine.dispose()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection that sees the store as it is at one moment."""
        with self._plainly(), self.engine.connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Give the one connection that may write now; others wait, and all of it is kept or nothing."""
        with self._plainly(), self.engine.connect() as connection:
            connection = connection.execution_options(writes=True)
            with connection.begin():
                if connection.dialect.name == "postgresql":
                    connection.execute(text("LOCK TABLE records IN SHARE ROW EXCLUSIVE MODE"))
                yield connection

    def _upgrade(self) -> None:
        with self.engine.connect() as connection:
            if _schema(connection) == SCHEMA:
                return
        with self.engine.connect() as connection:
            connection = connection.execution_options(writes=True)
            with connection.begin():
                if connection.dialect.name == "postgresql":
                    connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": UPGRADE_LOCK})
                found = _schema(connection)
                if found == SCHEMA:  # another program upgraded it while this one waited
                    return
                if found is None and inspect(connection).has_table("records"):
                    raise StoreError(f"{self.where}: has tables of another program. Name another file")
                if found is not None and found > SCHEMA:
                    raise StoreError(f"{self.where}: was written by a newer version ({found}). Update this program")
                migrate(connection, SCHEMA)

    @contextmanager
    def _plainly(self) -> Iterator[None]:
        try:
            yield
        except DBAPIError as error:
            said = str(error.orig)
            told = next((told for part, told in REFUSALS if part in said), _first_line(error))
            raise StoreError(f"{self.where}: {told}") from error


def migrate(connection: Connection, revision: str) -> None:
    """Bring the schema to a revision, inside the transaction that is open."""
    from alembic import command
    from alembic.config import Config
    from alembic.util import CommandError

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations").replace("%", "%%"))
    config.attributes["connection"] = connection
    try:
        command.upgrade(config, revision)
    except (ValueError, CommandError) as error:  # a record, or a version, that this package never wrote
        raise StoreError(f"the store's schema cannot be upgraded: {error}. Nothing was changed") from error


def _schema(connection: Connection) -> str | None:
    if not inspect(connection).has_table("alembic_version"):
        return None
    found: str | None = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    return found


def _address(where: str | Path) -> tuple[str, URL]:
    """Return how messages name the store, and its URL; a password is never shown."""
    given = str(where)
    if "://" not in given:
        path = Path(given)
        if path.is_dir():
            raise StoreError(f"{given}: is a folder. Name a file in it")
        if not path.absolute().parent.is_dir():
            raise StoreError(f"{given}: the folder {path.absolute().parent} does not exist")
        return given, URL.create("sqlite", database=str(path.absolute()))
    try:
        url = make_url(given)
    except (ArgumentError, ValueError):
        raise StoreError("the store's URL cannot be read: write postgresql://user@host/database") from None
    shown = url.render_as_string(hide_password=True)
    if url.get_backend_name() not in ("sqlite", "postgresql"):
        raise StoreError(f"{shown}: a store is a SQLite file or a PostgreSQL database")
    if url.drivername == "postgresql":
        url = url.set(drivername="postgresql+psycopg")
    return shown, url


def _sqlite(url: URL) -> Engine:
    engine = create_engine(url, poolclass=NullPool, connect_args={"timeout": WAIT_S})
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    return engine


def _server(url: URL) -> Engine:
    engine = create_engine(url, pool_pre_ping=True, pool_size=2, max_overflow=8)
    event.listen(engine, "connect", _limit_wait)
    return engine


def _limit_wait(connection: Any, _record: Any) -> None:
    connection.execute(f"SET lock_timeout = '{WAIT_S}s'")
    connection.commit()


def _prepare(connection: sqlite3.Connection, _record: Any) -> None:
    connection.isolation_level = None  # the driver starts no transaction of its own: _begin does
    _write_ahead(connection)
    connection.execute("PRAGMA synchronous = FULL")  # a step that was confirmed survives a power cut
    connection.execute("PRAGMA foreign_keys = ON")


def _write_ahead(connection: sqlite3.Connection) -> None:
    # SQLite does not wait for a lock in this one statement, so many first openings at once need patience here
    deadline = time.monotonic() + WAIT_S
    while True:
        try:
            if connection.execute("PRAGMA journal_mode").fetchone()[0] == "wal":
                return
            connection.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > deadline:
                raise
            time.sleep(0.02)


def _begin(connection: Connection) -> None:
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _first_line(error: SQLAlchemyError) -> str:
    cause = getattr(error, "orig", None) or error
    lines = str(cause).strip().splitlines() or [type(cause).__name__]
    return lines[0]
