"""The chain of hashes: what one is made of, and that any later change is found and named."""

from __future__ import annotations

import hashlib

import pytest
from sqlalchemy import text

from lineup.errors import StoreError
from lineup.season import Pin, Season
from lineup.store import LOCAL, Store, open_store
from lineup.store.bodies import BODIES, body_fits
from lineup.store.record import GENESIS, Row, canonical, digest, verify_chain
from tests.store.rosters import NOW, after, roster_plan, roster_season, sign_step, signed_weekend


def test_the_hash_is_sha256() -> None:
    # FIPS 180-4 example "abc", read from NIST's example values (from memory): ba7816bf…
    assert (
        hashlib.sha256(b"abc")
        .hexdigest()
        .startswith("ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad")
    )
    row = Row(1, "revision", "2026-04-01T12:00:00+00:00", "local", False, '["w1"]', '{"a":1}', None, GENESIS, "")
    said = '[1,"revision","2026-04-01T12:00:00+00:00","local",false,"[\\"w1\\"]","{\\"a\\":1}","","' + GENESIS + '"]'
    assert digest(row) == hashlib.sha256(said.encode()).hexdigest()


def test_equal_data_has_one_text() -> None:
    assert canonical({"b": [1, 2.5, "Ł"], "a": None}) == '{"a":null,"b":[1,2.5,"\\u0141"]}'
    with pytest.raises(StoreError, match="cannot be kept"):
        canonical({"value": float("nan")})


def chain(length: int) -> list[Row]:
    rows, previous = [], GENESIS
    for number in range(1, length + 1):
        row = Row(
            number, "tick", "2026-04-01T12:00:00+00:00", "local", False, "[]", f'{{"n":{number}}}', "[1]", previous, ""
        )
        row = row._replace(hash=digest(row))
        rows.append(row)
        previous = row.hash
    return rows


def test_a_chain_as_written_verifies() -> None:
    rows = chain(5)
    assert verify_chain([]).ok
    found = verify_chain(rows)
    assert (found.ok, found.records, found.head) == (True, 5, rows[-1].hash)


@pytest.mark.parametrize(
    "change",
    [
        {"kind": "signed"},
        {"at": "2026-04-01T12:00:01+00:00"},
        {"author": "somebody"},
        {"authenticated": True},
        {"weekends": '["w1"]'},
        {"body": '{"n":4}'},
        {"body": None},
        {"body": b"\xff"},
        {"document": "[2]"},
        {"document": None},
        {"hash": "f" * 64},
    ],
)
def test_a_change_in_any_column_is_found_at_its_record(change: dict) -> None:
    rows = chain(5)
    rows[2] = rows[2]._replace(**change)
    found = verify_chain(rows)
    assert (found.ok, found.damaged, found.records) == (False, 3, 2)
    assert found.problem == f"record 3 ({rows[2].kind}) was changed after it was written"


def test_a_record_taken_out_is_found() -> None:
    rows = chain(5)
    assert verify_chain(rows[:2] + rows[3:]).problem == "record 3 is missing"
    renumbered = rows[:2] + [row._replace(number=row.number - 1) for row in rows[3:]]
    assert verify_chain(renumbered).problem == "record 3 does not follow record 2"


def test_a_rewritten_or_shortened_chain_is_found_by_the_printed_head() -> None:
    rows = chain(5)
    printed = " ".join(rows[3].hash[i : i + 8] for i in range(0, 64, 8))
    assert verify_chain(rows, printed).ok
    assert verify_chain(rows, rows[3].hash[:12].upper()).ok
    for forged in (rows[:3], chain(2)):
        found = verify_chain(forged, printed)
        assert not found.ok
        assert found.damaged is None
        assert "check code of the sheet is not in this store" in str(found.problem)
    for wrong in ("12345678901", "not a head at all"):
        with pytest.raises(StoreError, match="at least 12 digits"):
            verify_chain(rows, wrong)


def without_triggers(store: Store, statement: str) -> None:
    """Do what somebody with the right to change the schema could do."""
    with store._journal._database.writing() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(text("DROP TRIGGER records_stay ON records"))
        else:
            connection.execute(text("DROP TRIGGER records_stay_update"))
            connection.execute(text("DROP TRIGGER records_stay_delete"))
        connection.execute(text("DELETE FROM touches WHERE number = 5"))
        connection.execute(text(statement))


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE records SET document = replace(document, 'a1', 'a8') WHERE number = 1",
        "UPDATE records SET author = 'somebody' WHERE kind = 'signed'",
        "DELETE FROM records WHERE number = 5",
    ],
)
def test_a_tampered_store_is_found_and_nothing_is_signed_on_it(store: Store, season: Season, statement: str) -> None:
    signed_weekend(store, season)
    head = store.head()[1]
    assert store.verify(head).ok
    first_signature = next(line.number for line in store.history() if line.kind == "signed")
    if "DELETE" in statement:  # the end is cut off: the chain agrees with itself, the printed head tells
        without_triggers(store, statement)
        assert store.verify().ok
        assert not store.verify(head).ok
        return
    without_triggers(store, statement)
    found = store.verify()
    assert not found.ok
    assert found.damaged == (1 if "document" in statement else first_signature)
    anew = store.save(roster_plan(season, r1_c1_p1="a8"), season, reason="again", by=LOCAL, now=after(2), parent=1)
    with pytest.raises(StoreError, match="nothing is signed on a damaged history: record"):
        sign_step(store, season, anew.number, "travel_list")


def test_the_database_itself_refuses_changes(store: Store, season: Season) -> None:
    store.save(roster_plan(season), season, reason="r", by=LOCAL, now=NOW)
    for statement in ("UPDATE records SET author = 'x'", "DELETE FROM records"):
        with (
            pytest.raises(StoreError, match="records can only be added"),
            store._journal._database.writing() as connection,
        ):
            connection.execute(text(statement))
    assert store.verify().ok


def test_a_record_this_package_did_not_write_is_named(place: str) -> None:
    season = roster_season()
    with open_store(place) as store:
        store.save(roster_plan(season), season, reason="r", by=LOCAL, now=NOW)
        without_triggers(store, "UPDATE records SET body = '[]', document = 'x'")
        with pytest.raises(StoreError, match="record 1 cannot be read: the store is damaged there"):
            store.history()
        assert store.verify().damaged == 1


@pytest.mark.parametrize("kind", BODIES)
def test_a_body_without_what_its_kind_needs_is_damaged(kind: str) -> None:
    assert not body_fits(kind, {})
    assert not body_fits(kind, [])
    for key in BODIES[kind]:
        assert not body_fits(kind, {**dict.fromkeys(BODIES[kind], "x"), key: object()})
    assert body_fits("a kind of later", {})


def test_every_kind_of_body_that_is_written_fits(store: Store, season: Season) -> None:
    signed_weekend(store, season.with_pin(Pin("must", "a1", "r", car="c1")))
    with store._journal.reading() as reader:
        for record in reader.records():
            assert body_fits(record.kind, dict(record.body))


def test_a_tampered_body_is_told_wherever_it_is_read(store: Store, season: Season) -> None:
    signed_weekend(store, season)
    without_triggers(store, """UPDATE records SET body = '{"step":"travel_list"}' WHERE kind = 'signed'""")
    for read in (lambda: store.state("w1"), store.history, lambda: store.paper("w1"), lambda: store.in_force(season)):
        with pytest.raises(StoreError, match="record 3 cannot be read: the store is damaged there"):
            read()
    assert store.verify().damaged == 3
