"""Decisions by hand: pins set, lifted and planned with; somebody seated in thought; every athlete lost on paper."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from lineup.plan import Plan
from lineup.season import Pin
from lineup.store import default_store, open_store
from lineup.ui import live
from tests.ui.conftest import Open, job_of, words

SEAT = {"weekend": "w1", "entry": "r1/c1", "position": "p1"}


def press(at: Any, label: str) -> None:
    next(button for button in at.button if button.label == label).click().run()


def choose(at: Any, label: str, value: str) -> None:
    next(box for box in at.selectbox if box.label == label).select(value)


def write(at: Any, label: str, text: str) -> None:
    next(field for field in at.text_input if field.label == label).input(text)


def test_a_pin_is_kept_planned_with_and_lifted(open_page: Open, folder: Path) -> None:
    at = open_page("crews", **SEAT)
    choose(at, "Athlete", "a8")
    write(at, "Reason, which stays in the record", "his home track")
    press(at, "Pin it")
    assert not at.error, [e.value for e in at.error]
    with open_store(default_store(folder)) as kept:
        assert [row.pin for row in kept.pins()] == [Pin("must", "a8", "his home track", None, "r1", "c1", "p1")]
    press(at, "Plan again with the pins")
    key = at.query_params["plan"]
    job = job_of(folder, key)
    assert job is not None
    assert job.wait(60) == "done", job.error
    assert isinstance(job.result, Plan)
    assert {a.athlete for a in job.result.assignments if (a.race, a.car, a.position) == ("r1", "c1", "p1")} == {"a8"}
    at = open_page("crews", **SEAT)
    press(at, "Lift")
    assert "lifting a pin needs a reason" in at.error[0].value
    write(at, "Why it is lifted, which stays in the record", "tried, and slower")
    press(at, "Lift")
    with open_store(default_store(folder)) as kept:
        assert kept.pins() == ()


def test_a_pin_without_a_reason_is_refused(open_page: Open) -> None:
    at = open_page("crews", **SEAT)
    press(at, "Pin it")
    assert "reason" in at.error[0].value


def test_a_pair_needs_two(open_page: Open) -> None:
    at = open_page("crews", **SEAT)
    choose(at, "Decision", "pair")
    write(at, "Reason, which stays in the record", "learning together")
    press(at, "Pin it")
    assert at.error[0].value == "Name the other one."


def until(at: Any, text: str) -> str:
    """Look again until a background answer is there, as the page itself does."""
    for job in live.quiet().running():
        job.wait(60)
    said = words(at.run())
    assert text in said
    return said


def test_somebody_is_seated_in_thought(open_page: Open) -> None:
    at = open_page("crews", **SEAT)
    choose(at, "Seat somebody by hand, as a trial", "a8")
    press(at, "Plan the rest around them")
    assert not at.exception
    until(at, "Athlete 8")


def test_every_athlete_is_lost_on_paper_and_the_drill_is_kept(open_page: Open, folder: Path) -> None:
    at = open_page("depth")
    press(at, "Run the drill")
    key = at.query_params["drill"]
    job = job_of(folder, key)
    assert job is not None
    assert job.wait(120) == "done", job.error
    at.run()
    assert "Athlete 2" in words(at)
    press(at, "Keep it in the record")
    with open_store(default_store(folder)) as kept:
        assert [row.name for row in kept.drills()] == ["drill of the block"]
