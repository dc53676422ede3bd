"""Pins, drills and ticked reminders are kept, and can be told apart from those that ended."""

from __future__ import annotations

from pathlib import Path

import pytest

from lineup.errors import InputError, StoreError
from lineup.season import Pin, Season
from lineup.store import LOCAL, Store, read_routine, reminders
from lineup.store.reminders import Reminder, Routine
from tests.store.rosters import NOW, after, signed_weekend

PIN = Pin("must", "a1", "learns the wall", car="c1", position="p1")


def test_a_pin_holds_until_it_is_lifted(store: Store) -> None:
    first = store.keep_pin(PIN, by=LOCAL, now=NOW)
    other = store.keep_pin(Pin("apart", "a1", "quarrel", other="a2"), by=LOCAL, now=after(1))
    assert store.pins() == (first, other)
    assert (first.pin, first.by, first.at) == (PIN, "local", NOW)
    store.lift_pin(first.number, reason="has learnt it", by=LOCAL, now=after(2))
    assert store.pins() == (other,)
    with pytest.raises(StoreError, match="pin 1 was lifted before"):
        store.lift_pin(first.number, reason="r", by=LOCAL, now=after(3))
    with pytest.raises(StoreError, match="no pin 9"):
        store.lift_pin(9, reason="r", by=LOCAL, now=after(3))
    told = store.keep_pin(Pin("never", "a1", " not\nyet ", race="r1"), by=LOCAL, now=after(2))
    assert told.pin.reason == "not yet"
    with pytest.raises(StoreError, match="a pin needs a reason"):
        store.keep_pin(Pin("must", "a1", ""), by=LOCAL, now=NOW)


def test_a_drill_comes_back_as_it_was_kept(store: Store) -> None:
    found = {"losses": [{"athlete": "a1", "cost_s": 1.25}, {"athlete": "a2", "cost_s": None}]}
    drill = store.keep_drill("every athlete", found, {"grades": "g"}, by=LOCAL, now=NOW)
    assert store.drills() == (drill,)
    assert (drill.name, drill.fingerprints) == ("every athlete", {"grades": "g"})
    assert store.drill_document(drill.number) == found
    with pytest.raises(StoreError, match="no drill 7"):
        store.drill_document(7)
    with pytest.raises(StoreError, match="cannot be kept"):
        store.keep_drill("bad", {"cost_s": float("inf")}, {}, by=LOCAL, now=NOW)


def test_reminders_are_ticked_per_weekend(store: Store, season: Season) -> None:
    wheels, kit = Reminder("wheels", "Wheels prepared", "starting_crews"), Reminder("kit", "Kit", "travel_list")
    store._routine = Routine(reminders=(wheels, kit))
    store.tick("w1", "wheels", by=LOCAL, now=NOW)
    assert [(t.reminder, t.by, t.at) for t in store.ticks("w1", "starting_crews")] == [(wheels, "local", NOW)]
    assert [(t.reminder, t.by) for t in store.ticks("w1", "travel_list")] == [(kit, None)]
    assert [t.by for t in store.ticks("w2", "starting_crews")] == [None]
    signed_weekend(store, season)
    assert store.paper("w1").stamp.reminders == (("Wheels prepared", True),)
    store.tick("w1", "wheels", by=LOCAL, now=after(1), done=False)
    assert [t.by for t in store.ticks("w1", "starting_crews")] == [None]
    with pytest.raises(InputError, match="there is no reminder 'tires'; the season has wheels, kit"):
        store.tick("w1", "tires", by=LOCAL, now=NOW)


def test_history_tells_everything_in_order(store: Store, season: Season) -> None:
    store._routine = Routine(reminders=(Reminder("kit", "Kit", "travel_list"),))
    pin = store.keep_pin(PIN, by=LOCAL, now=NOW)
    store.lift_pin(pin.number, reason="over", by=LOCAL, now=NOW)
    store.keep_drill("every athlete", [], {}, by=LOCAL, now=NOW)
    store.tick("w1", "kit", by=LOCAL, now=NOW)
    store.set_deadline("w1", "travel_list", after(10), by=LOCAL, now=NOW)
    signed_weekend(store, season)
    assert [line.text for line in store.history()] == [
        "pinned a1 (must, c1, p1): learns the wall",
        "lifted pin 1: over",
        "kept the drill every athlete",
        "ticked the reminder kit",
        "set the deadline of the travel list to 2026-04-01 22:00 UTC",
        "kept revision 6: first lineup",
        "proposed the travel list, revision 6",
        "signed the travel list, revision 6; 1 item acknowledged",
        "proposed the starting crews, revision 6",
        "signed the starting crews, revision 6; 1 item acknowledged",
    ]
    assert [line.number for line in store.history("w2")] == [6]
    assert store.key() == store.history()[0].hash


def test_a_reminders_file_is_read(tmp_path: Path, season: Season) -> None:
    path = tmp_path / "reminders.toml"
    path.write_text(reminders.EXAMPLE)
    routine = read_routine(path)
    assert routine.deadline_hours == {"travel_list": 96, "starting_crews": 24}
    assert [r.id for r in routine.of("travel_list")] == ["kit"]
    assert [r.id for r in routine.of("starting_crews")] == ["wheels", "guns", "fuel-gear"]
    path.write_text("")
    assert read_routine(path) == Routine()


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ("[deadlines]\ntravel_list = -1", r"deadlines\.travel_list: input should be greater than or equal to 0"),
        ("[deadlines]\nlunch = 1", r"deadlines\.lunch: extra inputs"),
        ('[[reminder]]\nid = "a"', r"reminder\.1\.text: field required"),
        ('[[reminder]]\nid = "a"\ntext = "b"\n[[reminder]]\nid = "a"\ntext = "c"', "reminder ids a are there twice"),
    ],
)
def test_a_wrong_reminders_file_is_told(tmp_path: Path, content: str, message: str) -> None:
    path = tmp_path / "reminders.toml"
    path.write_text(content)
    with pytest.raises(InputError, match=message):
        read_routine(path)
