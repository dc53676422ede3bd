"""A season that uses every file and column, read value by value; and seasons written and read back."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lineup.limits import JourneyRules, Limit, Limits
from lineup.read import read_season
from lineup.season import (
    GRADE_COLUMNS,
    STOP_COLUMNS,
    Absence,
    Athlete,
    Car,
    Clearance,
    Entry,
    JourneyFact,
    Miss,
    Pin,
    Position,
    Race,
    Season,
    Site,
    Weights,
    WorkedDuty,
)
from tests.builders import (
    grade_row,
    grade_table,
    make_race,
    simple_tasks,
    stop_row,
    stop_table,
    tiny_season,
    utc,
    write_season,
    write_workbook,
)

DATA = Path(__file__).parents[1] / "data"


@pytest.fixture(scope="module")
def full() -> Season:
    return read_season(DATA / "full")[0]


def test_inches_and_pounds_become_metres_and_kilograms(full: Season) -> None:
    # international yard and pound agreement of 1959: 1 in = 0.0254 m, 1 lb = 0.45359237 kg, both exact
    ana = full.athletes["ana-lind"]
    assert ana.height_m == pytest.approx(1.8288, abs=1e-6)  # 6 ft
    assert ana.mass_kg == pytest.approx(175 * 0.45359237, abs=1e-6)
    assert full.positions["fueler"].min_height_m == pytest.approx(1.778, abs=1e-6)


def test_centimetres_and_kilograms_are_kept(tmp_path: Path) -> None:
    crew = {"a1": Athlete("a1", "Ana Lind", "shop", height_m=1.805, mass_kg=81.5)}
    season, _ = read_season(write_season(tiny_season(athletes=1).replace(athletes=crew), tmp_path))
    assert season.athletes == crew


def test_quoted_cells_keep_commas_quotes_and_accents(full: Season) -> None:
    # RFC 4180, section 2, rules 6 and 7
    assert full.athletes["ana-lind"] == Athlete(
        "ana-lind", 'Lind, Ana "Jet"', "shop", "lead", 1.8288, 79.378665, True, "ana@example.org"
    )
    assert full.athletes["di-olsen"].name == "Di Ólsen"


def test_empty_cells_take_their_defaults(full: Season) -> None:
    assert full.athletes["cy-dent"] == Athlete("cy-dent", "Cy Dent", "shop", "developing", 1.8796)
    assert full.cars["nine"] == Car("nine", "trophy", 0.5, "shop")
    assert full.cars["seven"] == Car("seven", "cup", 2.0, "shop", "Car seven", 14.0)
    assert full.positions["jack"] == Position("jack", "Jack", "over_wall", "always", 1.7272)
    assert full.positions["wall"] == Position("wall", "Wall support", "support", "if_possible")
    assert full.sites["west"] == Site("west", "West shop", "America/Los_Angeles")


def test_local_times_become_utc_and_races_stand_in_order_of_report(full: Season) -> None:
    # IANA: in April 2027 New York is at UTC-4, Phoenix at UTC-7 (Arizona keeps standard time)
    assert list(full.races) == ["oval-t", "oval-1", "mesa-1"]
    assert full.races["oval-t"].released == datetime(2027, 4, 10, 20, 15, tzinfo=UTC)
    assert full.races["mesa-1"] == Race(
        *("mesa-1", "w15", "cup", "mesa"),
        datetime(2027, 4, 18, 15, tzinfo=UTC),
        datetime(2027, 4, 18, 20, tzinfo=UTC),
        datetime(2027, 4, 19, 0, 30, tzinfo=UTC),
        *("soft", "Mesa 300", 8),
    )
    assert full.worked[0] == WorkedDuty(
        *("ana-lind", "oval-0", "oval"),
        datetime(2027, 3, 7, 13, tzinfo=UTC),  # still winter time, UTC-5
        datetime(2027, 3, 7, 23, tzinfo=UTC),
        *("seven", "changer"),
    )


def test_the_other_tables_are_read_in_file_order(full: Season) -> None:
    assert full.entries == (Entry("oval-1", "seven"), Entry("oval-t", "nine"), Entry("mesa-1", "seven"))
    assert full.service_counts == {
        "oval-1": {"four": 6, "fuel-only": 1.5},
        "oval-t": {"fuel-only": 2},
        "mesa-1": {"four": 5},
    }
    assert full.clearances[0] == Clearance("ana-lind", "changer", "cleared", date(2026, 1, 5))
    assert full.clearances[4] == Clearance("cy-dent", "changer", "training", date(2027, 2, 1), "trophy")
    assert full.misses == {
        "re-strike": Miss("re-strike", "Re-strike of a nut", 0.6, 0),
        "loose": Miss("loose", "Loose wheel", 0, 25),
    }
    spell = (date(2027, 4, 10), date(2027, 4, 12), "only", ("wall", "fueler"), "medical", "Crew office")
    assert full.absences == (
        Absence("ed-voss", *spell),
        Absence("cy-dent", date(2027, 5, 1), None, "out", (), "personal", ""),
    )
    assert full.pins == (
        Pin("must", "ana-lind", "The owner asked for her", None, "oval-1", "seven", "changer"),
        Pin("never", "ed-voss", "Hand on the mend", position="jack"),
        Pin("pair", "ana-lind", "They have drilled together", "bo-ray", "mesa-1"),
        Pin("apart", "cy-dent", "One of them stays at home", "di-olsen"),
    )
    assert full.standing[("seven", "fueler")] == "ed-voss"
    assert full.journeys[1:] == (JourneyFact("west", "mesa", 5.5, "road"), JourneyFact("mesa", "west", 6, "road"))


def test_limits_and_weights_are_read(full: Season) -> None:
    assert full.limits.by_name["weekends_in_a_row"] == Limit("weekends_in_a_row", at_most=3, price_s=4)
    assert full.limits.by_name["rest_hours"].at_least == 11
    assert full.weights == Weights(crew_change_s=1.5, tail=0.3, keep_chance=0.7)


def test_tasks_stand_in_an_order_in_which_each_follows_what_it_waits_for(full: Season) -> None:
    tasks = full.choreographies["four"].tasks
    assert [task.id for task in tasks] == ["lift", "change", "plug", "flow", "ready", "drop", "check-fuel"]
    drop = next(task for task in tasks if task.id == "drop")
    assert (drop.name, drop.position, drop.after, drop.release) == ("Drop the jack", "jack", ("change", "ready"), True)
    assert tasks[2].split == "plug-in"
    assert tasks[3].position is None
    assert tasks[4].early
    assert full.positions_of("oval-1") == ("changer", "jack", "fueler", "wall")


def test_finish_marks_become_own_times(full: Season) -> None:
    # stop m1: lifted at 1.4; changed at 6.9 after the lift: 5.5 of its own; dropped at 7.7, but nobody says when the
    # wall was ready, so that own time is not known
    own = full.grades.set_index("row")["seconds"]
    assert own[2] == 1.4
    assert own[3] == pytest.approx(5.5)
    assert np.isnan(own[4])
    assert list(own[[5, 6, 7]]) == [1.6, 5.6, -0.4]


def test_grades_carry_their_misses_and_the_spoilers_of_their_stop(full: Season) -> None:
    grades = full.grades.set_index("row")
    assert grades["misses"][3] == ("re-strike", "re-strike")
    assert grades["spoilers"][5] == ("car off its marks", "damage")
    assert grades["spoilers"][2] == ()
    assert (grades["athlete"][9], grades["position"][9], grades["task"][9]) == ("", "", "flow")
    assert tuple(full.grades.columns) == GRADE_COLUMNS
    assert tuple(full.stops.columns) == STOP_COLUMNS


def test_a_season_without_grades_is_read(tmp_path: Path) -> None:
    folder = write_season(tiny_season(), tmp_path)
    (folder / "graded_stops.csv").write_text("date,setting,service,tire,athlete,position,task,seconds\n")
    season, report = read_season(folder)
    assert not report.warnings
    assert len(season.grades) == 0
    assert season.grades.dtypes.equals(tiny_season().grades.dtypes)


def same(first: Season, second: Season) -> None:
    for name in Season.__dataclass_fields__:
        if name in ("grades", "stops"):
            pd.testing.assert_frame_equal(getattr(first, name), getattr(second, name))
        elif name != "fingerprints":
            assert getattr(first, name) == getattr(second, name), name


def rich_season(**changes: Any) -> Season:
    """A small season in which every table holds something."""
    stops = [stop_row("s1", 12.25, spoilers=("box blocked", "damage")), stop_row("s2", 9.5, car="c1")]
    facts: dict[str, Any] = {
        "limits": Limits(
            {
                "rest_hours": Limit("rest_hours", at_least=11.0),
                "weekends_in_a_row": Limit("weekends_in_a_row", at_most=3.0, price_s=4.0),
                "races_in_days": Limit("races_in_days", at_most=6.0, days=28),
            },
            True,
            JourneyRules(road_km_h=90.0),
        ),
        "weights": Weights(crew_change_s=2.0, tail=0.25),
        "misses": {"slip": Miss("slip", "A slip", 0.5, 0.0)},
        "pins": (Pin("must", "a1", "Asked for", None, "r1", "c1", "p1"), Pin("pair", "a1", "Friends", "a2")),
        "absences": (Absence("a2", date(2026, 4, 6), None, "only", ("p1", "p2"), "medical", "Office"),),
        "standing": {("c1", "p1"): "a1"},
        "journeys": (JourneyFact("shop", "track-1", 3.5, "road"),),
        "stops": stop_table(stops),
        "clearances": tuple(
            Clearance(f"a{i}", p, "cleared", date(2025, 1, i), "cup") for i in (1, 2) for p in ("p1", "p2")
        ),
        "worked": (
            WorkedDuty("a2", "old", "track-1", utc(datetime(2026, 3, 1, 8)), utc(datetime(2026, 3, 1, 18)), "c1"),
        ),
    }
    return tiny_season(athletes=2, positions=2, cars=2, races=2, shape="chained", **(facts | changes))


def test_a_rich_season_comes_back_from_its_folder(tmp_path: Path) -> None:
    season = rich_season()
    same(read_season(write_season(season, tmp_path))[0], season)


def test_a_rich_season_comes_back_from_its_workbook(tmp_path: Path) -> None:
    season = rich_season()
    same(read_season(write_workbook(season, tmp_path / "season.xlsx"))[0], season)


seconds = st.floats(0.3, 60, allow_nan=False).map(lambda value: round(value, 4))
days = st.dates(date(2024, 1, 1), date(2026, 12, 31))
names = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=12)


@st.composite
def seasons(draw: st.DrawFn) -> Season:
    tasks = simple_tasks(["p1", "p2"], draw(st.sampled_from(["parallel", "chained"])))
    crew = {
        f"a{i}": Athlete(f"a{i}", f"{draw(names)} {i}", "shop", height_m=draw(st.sampled_from([None, 1.7, 1.923])))
        for i in (1, 2, 3)
    }
    rows = [
        grade_row(draw(st.sampled_from(["a1", "a2"])), task.position or "", task.id, draw(seconds), on=draw(days))
        for task in tasks
        for _ in range(draw(st.integers(0, 3)))
    ]
    hours = draw(st.floats(0.5, 12).map(lambda value: round(value * 3600) / 3600))
    start = make_race(0)
    race = make_race(
        0, released=start.start + timedelta(hours=hours), travel_places=draw(st.sampled_from([None, 0, 9]))
    )
    cars = {"c1": Car("c1", "cup", draw(seconds), "shop", draw(names), draw(st.none() | seconds))}
    facts = {"athletes": crew, "grades": grade_table(rows), "cars": cars, "races": {"r1": race}}
    return tiny_season(athletes=3, positions=2, shape=tasks, grades=0).replace(**facts)


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(season=seasons())
def test_any_season_comes_back_from_folder_and_workbook(season: Season, tmp_path: Path) -> None:
    folder = write_season(season, tmp_path / "folder")
    same(read_season(folder)[0], season)
    same(read_season(write_workbook(season, tmp_path / "season.xlsx"))[0], season)
