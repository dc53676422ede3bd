"""Stores on both databases, a season of two weekends, and a plan of it."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import create_engine, make_url, text

from lineup.season import Season
from lineup.store import Store, open_store
from tests.store.rosters import roster_season


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.server)])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """An empty database: a SQLite file, or a fresh database on the test server."""
    if request.param == "sqlite":
        yield str(tmp_path / "season.store.db")
        return
    yield from fresh_database()


@pytest.fixture
def store(place: str) -> Iterator[Store]:
    """An empty store where one local user may do all."""
    with open_store(place) as opened:
        yield opened


@pytest.fixture
def season() -> Season:
    """Two weekends, two cars, three positions, eight athletes who may all do everything."""
    return roster_season()


def fresh_database() -> Iterator[str]:
    server = os.environ.get("LINEUP_TEST_POSTGRES", "")
    if not server:
        reason = "LINEUP_TEST_POSTGRES names no server; .ci/postgres.sh starts one and prints its URL"
        if os.environ.get("LINEUP_REQUIRE_ALL"):
            pytest.fail(reason)
        pytest.skip(reason)
    url = make_url(server).set(drivername="postgresql+psycopg")
    name = f"lineup_{uuid.uuid4().hex}"
    engine = create_engine(url, isolation_level="AUTOCOMMIT")
    try:
        with engine.connect() as connection:
            connection.execute(text(f"CREATE DATABASE {name}"))
        yield url.set(database=name, drivername="postgresql").render_as_string(hide_password=False)
        with engine.connect() as connection:
            connection.execute(text(f"DROP DATABASE {name} WITH (FORCE)"))
    finally:
        engine.dispose()
