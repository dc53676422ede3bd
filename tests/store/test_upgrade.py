"""A store that any earlier version wrote opens with everything in it; a kill while it is upgraded loses nothing.

tests/data/stores/REVISION.sql are such stores as text, one for each revision of the schema; they stay as they were
written. After a new migration LINEUP_WRITE_EXPECTED=1 adds the one of that revision.
"""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from alembic.script import ScriptDirectory

from lineup.season import Pin, Season
from lineup.store import LOCAL, Roster, Store, open_store
from lineup.store.tables import SCHEMA
from tests.store.rosters import after, roster_plan, signed_weekend

STORES = Path(__file__).parents[1] / "data" / "stores"
MIGRATIONS = Path(__file__).parents[2] / "lineup" / "store" / "migrations"
REVISIONS = sorted(script.revision for script in ScriptDirectory(str(MIGRATIONS)).walk_revisions())
ROWS = "SELECT * FROM records ORDER BY number"


def populate(store: Store, season: Season) -> None:
    """Write a record of most kinds: revisions, sign-off of a weekend, pins, a drill, a proposal that is open."""
    signed_weekend(store, season)
    store.keep_drill("what if a1 is lost", ["a1"], {}, by=LOCAL, now=after(2))
    lifted = store.keep_pin(Pin("never", "a5", "sore hand", position="p1"), by=LOCAL, now=after(2))
    store.keep_pin(Pin("must", "a1", "the owner’s wish", car="c1", position="p1"), by=LOCAL, now=after(2))
    store.lift_pin(lifted.number, reason="healed", by=LOCAL, now=after(3))
    plan = roster_plan(season, r2_c2_p1="a8")
    second = store.save(plan, season, reason="second thoughts — Łukasz", by=LOCAL, now=after(3), parent=1)
    store.propose(Roster("w2", "travel_list", second.number), by=LOCAL, now=after(4))


def restored(revision: str, place: Path) -> list[tuple[Any, ...]]:
    """Make the store of a revision from its text; return its records."""
    with sqlite3.connect(place) as base:
        base.executescript((STORES / f"{revision}.sql").read_text(encoding="utf-8"))
        rows = base.execute(ROWS).fetchall()
    base.close()
    return rows


def rows_of(place: Path) -> list[tuple[Any, ...]]:
    base = sqlite3.connect(place)
    rows = base.execute(ROWS).fetchall()
    base.close()
    return rows


def test_every_revision_has_its_store(tmp_path: Path, season: Season) -> None:
    newest = STORES / f"{SCHEMA}.sql"
    if os.environ.get("LINEUP_WRITE_EXPECTED") and not newest.exists():
        with open_store(tmp_path / "new.db") as store:
            populate(store, season)
        base = sqlite3.connect(tmp_path / "new.db")
        newest.write_text("\n".join(base.iterdump()) + "\n", encoding="utf-8")
        base.close()
    assert [path.stem for path in sorted(STORES.iterdir())] == REVISIONS


@pytest.mark.parametrize("revision", REVISIONS)
def test_a_store_of_an_earlier_revision_opens_with_everything_in_it(
    revision: str, tmp_path: Path, season: Season
) -> None:
    place = tmp_path / "old.db"
    before = restored(revision, place)
    with open_store(place) as store:
        found = store.verify()
        assert found.ok, found
        assert found.records == len(before) == 11
        assert [line.number for line in store.history("w2")] == [1, 10, 11]
        assert [revision.number for revision in store.revisions()] == [1, 10]
        assert [row.pin.athlete for row in store.pins()] == ["a1"]
        assert store.in_force(season).weekends == ("w1",)
        assert store.plan(10).athlete_in(season.seats("r2", "c2")[0]) == "a8"
        assert store.verify().ok
    assert rows_of(place)[: len(before)] == before
    with open_store(tmp_path / "new.db") as store:
        populate(store, season)
    told = [(row[1], *row[5:7]) for row in rows_of(tmp_path / "new.db") if row[1] != "revision"]
    assert told == [(row[1], *row[5:7]) for row in before if row[1] != "revision"], "what is written now says the same"


KILLER = """
import json, os, shutil, signal, sys
from sqlalchemy import Engine, event
from lineup.store import open_store

old, place = sys.argv[1:]
kills = 0
for number in range(1, 200):
    for ending in ("", "-wal", "-shm"):
        if os.path.exists(place + ending):
            os.remove(place + ending)
    shutil.copy(old, place)
    child = os.fork()
    if child == 0:
        seen = 0
        def count(*_):
            global seen
            seen += 1
            if seen == number:
                os.kill(os.getpid(), signal.SIGKILL)
        event.listen(Engine, "before_cursor_execute", count)
        event.listen(Engine, "commit", count)
        open_store(place).close()
        os._exit(0)
    if os.WIFEXITED(os.waitpid(child, 0)[1]):
        break
    kills += 1
    with open_store(place) as store:
        found = store.verify()
        assert found.ok and found.records == 11, found
        assert len(store.history("w2")) == 3
print(json.dumps(kills))
"""


def test_a_kill_before_any_statement_of_an_upgrade_loses_nothing(tmp_path: Path) -> None:
    restored("0001", tmp_path / "old.db")
    command = [sys.executable, "-c", KILLER, str(tmp_path / "old.db"), str(tmp_path / "killed.db")]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout) > 8
