"""Forecasts of whole stops: right when the world is as the model says, and told when it is not."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import kstest

from lineup.errors import InputError
from lineup.read import read_season
from lineup.season import Season
from lineup.skills import SkillEstimates, estimate_skills
from lineup.stop_model.past_stops import PastStop
from lineup.stop_model.stop_check import (
    Coverage,
    StopCalibration,
    _average_stops,
    _coverage,
    _places,
    _plain_forecasts,
    held_out_calibration,
    stops_calibration,
)
from tests.builders import FIRST_SUNDAY, grade_row, grade_table, stop_row, stop_table, tiny_season
from tests.many_seasons import check_seasons, grades_inside, stops_inside
from tests.services import log_level, made_estimates, task

DEMO = Path(__file__).parents[2] / "data_demo" / "season"


def world(stops: int, spread: float = 0.1, slower: float = 0.0) -> tuple[Season, SkillEstimates]:
    """Two tasks side by side with medians of 4 s, played `stops` times; the true median may be slower by a share."""
    rng = np.random.default_rng(2)
    grades, rows = [], []
    for number in range(stops):
        own = 4.0 * (1 + slower) * np.exp(spread * rng.normal(size=2))
        pair = [("a1", "p1"), ("a2", "p2")]
        grades += [grade_row(a, p, f"do-{p}", float(s), stop=f"s{number}") for (a, p), s in zip(pair, own, strict=True)]
        rows.append(stop_row(f"s{number}", float(own.max())))
    season = tiny_season(positions=2, grades=0).replace(grades=grade_table(grades), stops=stop_table(rows))
    return season, made_estimates(season, log_level(4.0, 0.0, spread))


def test_a_true_model_covers_what_it_promises() -> None:
    found = stops_calibration(*world(800))
    assert found.overall.stops == 800
    assert found.overall.cover50 == pytest.approx(0.5, abs=0.06)
    assert found.overall.cover90 == pytest.approx(0.9, abs=0.04)
    assert kstest(found.pit, "uniform").pvalue > 0.01
    assert abs(found.overall.bias_s) < 0.05
    assert "Of 800 stops" in found.text
    assert found.left_out == {}


def test_a_model_that_is_too_quick_or_too_sure_is_told_so() -> None:
    season, known = world(400, slower=0.1)
    slow = stops_calibration(season, known)
    assert slow.overall.bias_s == pytest.approx(0.42, abs=0.06)
    assert np.mean(slow.pit) > 0.7
    season, known = world(400)
    sure = replace(known, splits={k: replace(e, spread=0.03) for k, e in known.splits.items()})
    assert stops_calibration(season, sure).overall.cover90 < 0.6


def test_the_average_of_maxima_beats_the_maximum_of_averages() -> None:
    found = stops_calibration(*world(400, spread=0.2))
    assert found.rmse_s < found.plain_rmse_s


def test_plain_averages_fall_back_on_the_position_then_on_the_nominal_time() -> None:
    season, _ = world(10)
    crews = ({"p1": "a1", "p2": "a3"}, {"p1": "a3", "p2": "a2"})  # a3 has no grade
    stops = [PastStop("s", FIRST_SUNDAY, "race", "four", "plain", 9.0, crew) for crew in crews]
    mean = season.grades.groupby("position")["seconds"].mean()
    assert _plain_forecasts(season, stops) == pytest.approx([max(mean["p1"], mean["p2"])] * 2)
    ungraded = season.replace(grades=grade_table([]))
    assert _plain_forecasts(ungraded, stops).tolist() == [4.0, 4.0]


def test_plain_averages_know_which_tasks_an_empty_seat_brings_and_takes_away() -> None:
    tasks = [task("fetch", "p1", seconds=5.0, only_without="helper"), task("hand", "helper", seconds=9.0)]
    tasks += [task("hang", "p1", "fetch hand", 1.0), task("wave", None, "hang", 9.0, release=True)]
    season = tiny_season(positions=["p1", "helper"], shape=tasks, grades=0)
    grades = [grade_row("", "", "wave", 2.5), grade_row("a1", "p1", "hang", 1.5), grade_row("a3", "p1", "hang", 3.5)]
    season = season.replace(grades=grade_table(grades))
    crews = ({"p1": "a1"}, {"p1": "a1", "helper": "a2"})
    stops = [PastStop("s", FIRST_SUNDAY, "race", "four", "plain", 9.0, crew) for crew in crews]
    assert _plain_forecasts(season, stops).tolist() == [5.0 + 1.5 + 2.5, 9.0 + 1.5 + 2.5]


def test_the_average_stop_is_that_of_the_service_and_of_all_where_it_was_never_made() -> None:
    made = [("four", 10.0, ()), ("four", 12.0, ()), ("two", 5.0, ()), ("two", 99.0, ("box-blocked",))]
    rows = [stop_row(str(n), total, service=s, spoilers=spoilers) for n, (s, total, spoilers) in enumerate(made)]
    season = tiny_season().replace(stops=stop_table(rows))
    asked = [PastStop("s", FIRST_SUNDAY, "race", service, "plain", 9.0, {}) for service in ("four", "two", "fuel")]
    assert _average_stops(season, asked).tolist() == [11.0, 5.0, 9.0]


def test_without_earlier_stops_nothing_is_said_of_their_average() -> None:
    found = stops_calibration(*world(20), since=FIRST_SUNDAY)
    assert np.isnan(found.average_rmse_s)
    assert "nan" not in found.text
    assert found.text.endswith(f"plain averages of each athlete's splits by {found.plain_rmse_s:.2f} s.")


def test_places_and_shares_by_hand() -> None:
    times = np.array([[1.0, 2.0, 3.0, 4.0], [5.0, 5.0, 6.0, 7.0]])
    assert _places(np.array([2.0, 5.0]), times).tolist() == [0.375, 0.25]  # ties are shared
    luck = np.array([[0.5, 0.1], [0.5, 0.01], [0.3, 0.5], [0.99, 0.5], [0.25, 0.75]])
    found = _coverage(np.array([0.1, 0.5, 0.97, 0.25, 0.75]), luck, np.array([1.0, -2.0, 0.0, 0.0, 0.0]))
    assert (found.stops, found.cover50, found.cover90, found.bias_s) == (5, 0.2, 0.8, -0.2)
    assert (found.luck50, found.luck90) == (pytest.approx(0.1), 0.0)  # 3 and 2 of 5 inside; 4 and 4


def test_the_result_in_full() -> None:
    whole = Coverage(12, 0.5, 0.917, 0.144, 0.083, 0.126)
    known, unknown = Coverage(11, 0.545, 0.909, 0.15, 0.087, -0.104), Coverage(1, 0.0, 1.0, 0.5, 0.3, 1.5)
    found = StopCalibration(
        None, whole, known, unknown, (), 0.512, 0.634, 0.707, {"practice": 2, "tryout": 1}, {"spoiled": 3}
    )
    first = (
        "Of 12 stops: 50% ± 14% inside the 50 % interval, 92% ± 8% inside the 90 % interval, 0.13 s slower than "
        "forecast on average; ± is what luck alone does to so few stops, as far as one standard deviation goes, those "
        "of the same athletes erring together."
    )
    parts = (
        " Whole crew graded before, 11 stops: 55% ± 15% inside the 50 % interval, 91% ± 9% inside the 90 % interval, "
        "0.10 s quicker than forecast on average. Somebody never graded before, 1 stop: 0% ± 50% inside the 50 % "
        "interval, 100% ± 30% inside the 90 % interval, 1.50 s slower than forecast on average."
    )
    new = " Forecast like a race, there being no earlier grade of its kind: 2 in a practice, 1 in a tryout."
    last = (
        " The forecast misses by 0.51 s, plain averages of each athlete's splits by 0.63 s, the average stop by 0.71 s."
    )
    assert found.text == first + parts + new + last
    assert replace(found, known=None, new_settings={}).text == first + last


def test_held_out_stops_are_forecast_from_earlier_grades_alone() -> None:
    season, _ = world(60)
    later = FIRST_SUNDAY + timedelta(days=30)
    grades, stops = season.grades.copy(), season.stops.copy()
    grades["date"] = [FIRST_SUNDAY if int(s[1:]) < 40 else later for s in grades["stop"]]
    stops["date"] = [FIRST_SUNDAY if int(s[1:]) < 40 else later for s in stops["stop"]]
    grades["date"], stops["date"] = (t["date"].astype("datetime64[s]") for t in (grades, stops))
    moved = season.replace(grades=grades, stops=stops)
    found = held_out_calibration(moved, later, scenarios=256)
    assert found.overall.stops == 20
    known = estimate_skills(season.replace(grades=grades[grades["date"] < np.datetime64(later)]), on=later)
    assert found == stops_calibration(moved, known, later, seed=1, scenarios=256)
    assert found.since == later
    spoiled = grades.assign(seconds=np.where(grades["date"] >= np.datetime64(later), 400.0, grades["seconds"]))
    again = held_out_calibration(season.replace(grades=spoiled, stops=stops), later, scenarios=256)
    assert again.rmse_s == found.rmse_s


def test_nothing_to_compare_is_an_error_that_says_why() -> None:
    season, known = world(3)
    ungraded = season.replace(grades=grade_table([]))
    said = r"^no stop of stops\.csv can be compared with its forecast: "
    with pytest.raises(InputError, match=f"{said}3 crew not fully known$"):
        stops_calibration(ungraded, known)
    spoiled = stop_table([stop_row("s0", 4.0, spoilers=("late",)), *(stop_row(s, 4.0) for s in ("x", "y"))])
    with pytest.raises(InputError, match=f"{said}1 spoiled, 2 crew not fully known$"):
        stops_calibration(season.replace(stops=spoiled), known)
    with pytest.raises(InputError, match=f"{said}there is none$"):
        stops_calibration(season.replace(stops=stop_table([])), known)


def test_each_stop_is_held_against_its_own_forecast() -> None:
    """Stops that take twice as long on another tire, as forecast, and one by somebody who is not cleared today."""
    season, known = world(6, spread=0.0)
    stops = season.stops.assign(tire=["heavy", "plain"] * 3, total_s=[8.0, 4.0] * 3)
    grades = season.grades.assign(athlete=season.grades["athlete"].where(season.grades["stop"] != "s5", "a4"))
    cleared = tuple(c for c in season.clearances if c.athlete != "a4")
    known = replace(known, tire={(split, "heavy"): np.log(2.0) for split in ("do-p1", "do-p2")})
    found = stops_calibration(season.replace(stops=stops, grades=grades, clearances=cleared), known, scenarios=64)
    assert (found.rmse_s, found.overall.bias_s) == pytest.approx((0.0, 0.0))
    assert found.plain_rmse_s == pytest.approx(np.sqrt(3 * 4.0**2 / 5))  # grades of 4 s, and tires are not looked at
    assert found.average_rmse_s == pytest.approx(2.0)  # six stops of 8 and 4 s
    assert found.left_out == {"someone without a clearance today": 1}


def test_as_many_stops_are_sampled_as_asked() -> None:
    places = np.array(stops_calibration(*world(20), scenarios=8).pit)
    np.testing.assert_array_equal(places * 16, np.round(places * 16))


def test_stops_with_somebody_never_graded_are_told_apart() -> None:
    season, known = world(40)
    half = {key: replace(e, grades=0.0) if key[0] == "a2" else e for key, e in known.splits.items()}
    found = stops_calibration(season, replace(known, splits=half))
    assert found.known is None
    assert found.unknown == found.overall
    hardly = {key: replace(e, grades=0.5) for key, e in known.splits.items()}  # old grades are grades
    graded = stops_calibration(season, replace(known, splits=hardly))
    assert graded.unknown is None
    assert graded.known == graded.overall
    assert "never graded" not in graded.text


def test_a_setting_never_graded_before_is_named() -> None:
    season, known = world(10)
    raced = season.replace(grades=season.grades.assign(setting="race"), stops=season.stops.assign(setting="tryout"))
    found = stops_calibration(raced, known)
    assert found.new_settings == {"tryout": 10}
    assert "Forecast like a race, there being no earlier grade of its kind: 10 in a tryout." in found.text
    graded = raced.replace(grades=raced.grades.assign(setting="tryout"))
    assert stops_calibration(graded, known).new_settings == {}
    race = season.replace(stops=season.stops.assign(setting="race"))  # forecast like a race by right
    assert stops_calibration(race, known).new_settings == {}


def test_demo_stops_from_the_new_year_on_are_forecast_within_what_is_promised() -> None:
    season, _ = read_season(DEMO)
    found = held_out_calibration(season, season.stops["date"].max().date().replace(month=1, day=1), scenarios=512)
    overall = found.overall
    assert overall.cover50 == pytest.approx(0.5, abs=3 * overall.luck50)
    assert overall.cover90 == pytest.approx(0.9, abs=3 * overall.luck90)
    assert found.known is not None
    assert found.unknown is not None
    assert found.known.stops + found.unknown.stops == overall.stops
    assert found.new_settings.keys() == {"tryout"}
    assert found.rmse_s < found.plain_rmse_s
    assert found.rmse_s < found.average_rmse_s
    assert f"{overall.cover50:.0%} ± {overall.luck50:.0%} inside the 50 % interval" in found.text


def test_stops_and_grades_of_several_seasons_fall_where_they_were_forecast() -> None:
    """Seasons like the demo season, their true skills drawn anew; 48 of them: tests/long/test_coverage_many.py."""
    checked = check_seasons(["a", "b", "c"])
    stops = stops_inside([found.overall for _, found in checked])
    grades = grades_inside([found for found, _ in checked])
    # Recency allows for more drift of skills than these seasons have: shares of grades about 0.01 above promise.
    for (half, most), cases, known in ((stops, 120, 0.0), (grades, 9_000, 0.01)):
        assert half.cases > cases
        assert half.share == pytest.approx(0.5, abs=3 * half.luck + known)
        assert most.share == pytest.approx(0.9, abs=3 * most.luck + known)
    assert all(found.rmse_s < found.plain_rmse_s for _, found in checked)
