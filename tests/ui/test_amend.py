"""Amending at the track, from the Sign-off page: in force at once, shown as to be ratified, ratified by a signer."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pytest
from icalendar import Calendar
from pypdf import PdfReader
from streamlit.testing.v1 import AppTest

from lineup.read import read_season
from lineup.season import Seat
from lineup.store import LOCAL, STEPS, Roster, User, default_store, open_store, read_people
from lineup.ui.documents import weekend_documents, weekend_sheets
from tests.store.rosters import NOW, after, clean_audit, roster_plan, sign_step
from tests.ui.conftest import Open, words
from tests.ui.test_log_in import ROLES, labels, press, user, visit

SEAT = Seat("r1", "c1", "p2")
AMEND = "Put it in force now"
LINK = {"weekend": "w1", "step": "starting_crews"}


@pytest.fixture
def signed(folder: Path) -> Path:
    """The weekend w1 is signed, by the one local user."""
    season, _ = read_season(folder)
    with open_store(default_store(folder)) as kept:
        number = kept.save(roster_plan(season), season, reason="spring", by=LOCAL, now=NOW).number
        for step in STEPS:
            sign_step(kept, season, number, step)
    return folder


def fill(at: AppTest, reason: str, who: str = "Athlete 7") -> None:
    """Choose seat and who steps in, and give the reason."""
    lost = next(box for box in at.selectbox if box.label == "Which seat is lost")
    lost.set_value(SEAT)
    at.run()
    ways = next(radio for radio in at.radio if radio.label.startswith("Who steps in"))
    ways.set_value(f"a{who.removeprefix('Athlete ')}")
    next(field for field in at.text_input if field.label == "Why, without a diagnosis").input(reason)


def test_a_seat_is_amended_ratified_and_every_document_follows(open_page: Open, signed: Path) -> None:
    season, _ = read_season(signed)
    with open_store(default_store(signed)) as kept:
        before = weekend_documents(kept, season, "w1", after(2))
    at = open_page("sign", **LINK)
    fill(at, "unavailable since noon")
    press(at, AMEND)
    assert not at.error, [e.value for e in at.error]
    said = words(at)
    assert "A signer has to ratify them" in said
    assert "amended at the track, not ratified yet" in said
    with open_store(default_store(signed)) as kept:
        state = kept.state("w1")["starting_crews"]
        assert state.amendment is not None
        assert state.amendment.reason == "unavailable since noon"
        assert kept.in_force(season).athlete_in(SEAT) == "a7"
        sheet = weekend_sheets(kept, season, "w1", after(9))["crew-w1-c1.pdf"]
        text = " ".join(PdfReader(io.BytesIO(sheet)).pages[0].extract_text().split())
        assert "Amended at the track, not ratified yet" in text
        assert "P2 Athlete 7" in text
        assert "new" in text
        changed = weekend_documents(kept, season, "w1", after(9))
    old, new = (events(packed, "a7") for packed in (before, changed))
    first = [uid for uid, event in old.items() if event["DTSTART"].dt.day == 5]
    assert first
    assert old.keys() <= new.keys(), "a change updates the events, and adds none in their place"
    assert all(new[uid]["SEQUENCE"] > old[uid]["SEQUENCE"] for uid in first)
    assert any("p2" in str(new[uid].get("SUMMARY")).lower() for uid in first)
    at = open_page("sign", **LINK)
    for box in at.checkbox:
        box.check()
    at.run()
    press(at, f"Ratify revision {state.amendment.revision}")
    assert not at.error, [e.value for e in at.error]
    with open_store(default_store(signed)) as kept:
        assert kept.state("w1")["starting_crews"].status == "signed"
        assert kept.in_force(season).athlete_in(SEAT) == "a7"
        assert kept.verify().ok


def events(packed: bytes, athlete: str) -> dict[str, Calendar]:
    """Return an athlete's events by UID from the calendars of a zip."""
    with zipfile.ZipFile(io.BytesIO(packed)) as folder:
        (name,) = [n for n in folder.namelist() if n.endswith(".ics") and athlete in n.split("/")[-1]]
        return {str(event["UID"]): event for event in Calendar.from_ical(folder.read(name)).walk("VEVENT")}


def test_a_reason_is_asked_for(open_page: Open, signed: Path) -> None:
    at = open_page("sign", **LINK)
    fill(at, "  ")
    press(at, AMEND)
    assert "needs a reason" in at.error[0].value
    with open_store(default_store(signed)) as kept:
        assert kept.state("w1")["starting_crews"].amendment is None


def test_only_what_is_in_force_is_amended(open_page: Open, signed: Path) -> None:
    assert AMEND in labels(open_page("sign", **LINK))
    assert AMEND not in labels(open_page("sign", weekend="w1", step="travel_list"))
    assert AMEND not in labels(open_page("sign", weekend="w2", step="starting_crews"))


def test_two_who_amend_at_once_do_not_overwrite_each_other(open_page: Open, signed: Path) -> None:
    season, _ = read_season(signed)
    at = open_page("sign", **LINK)
    fill(at, "late")
    with open_store(default_store(signed)) as kept:
        number = kept.state("w1")["starting_crews"].in_force
        assert number is not None
        roster = Roster("w1", "starting_crews", number)
        other = kept.amend(
            roster, roster_plan(season, r1_c2_p1="a7"), season, clean_audit, reason="first", by=LOCAL, now=after(3)
        )
    press(at, AMEND)
    with open_store(default_store(signed)) as kept:
        assert kept.state("w1")["starting_crews"].in_force == other.number
    # the page now shows the seats of what is in force by then
    assert AMEND in labels(at)


def test_roles_say_who_may_amend(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = folder.with_name("roles.toml")
    path.write_text(ROLES)
    monkeypatch.setenv("LINEUP_ROLES", str(path))
    season, _ = read_season(folder)
    coach, director = (User(f"{name}@example.org", authenticated=True) for name in ("coach", "director"))
    with open_store(default_store(folder), read_people(path)) as kept:
        number = kept.save(roster_plan(season), season, reason="spring", by=coach, now=NOW).number
        for step in STEPS:
            sign_step(kept, season, number, step, coach=coach, signer=director)
    assert AMEND not in labels(visit(user("reader"), "sign", **LINK))
    at = visit(user("director"), "sign", **LINK)
    fill(at, "unavailable")
    press(at, AMEND)
    assert not at.error, [e.value for e in at.error]
    # who put it in force does not ratify it
    assert "it takes a second person" in words(visit(user("director"), "sign", **LINK))
    assert any(label.startswith("Ratify revision") for label in labels(visit(user("both"), "sign", **LINK)))
