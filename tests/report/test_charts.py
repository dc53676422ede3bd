"""Charts are valid specifications, their words say the same facts, and their colours can be told apart."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pandas as pd
import pytest

from lineup.report import charts
from lineup.report.ink import contrast
from lineup.season import Season
from lineup.stop_model.crew_report import CrewReport, crew_report
from lineup.stop_model.stops import sample_service
from tests.services import STAGER, log_level, made_estimates, stop_season

LIGHT, DARK = (251, 250, 247), (27, 30, 34)  # backgrounds of the two themes


@pytest.fixture(scope="module")
def season() -> Season:
    return stop_season()


@pytest.fixture(scope="module")
def report(season: Season) -> CrewReport:
    bank = sample_service(season, made_estimates(season, log_level(1.0, 0.03, 0.1), rate=0.05), "four", "plain", 1, 512)
    crew = {p: f"a{i % 4 + 1}" for i, p in enumerate(bank.positions) if p != STAGER}
    return crew_report(bank, crew, 0.1, season)


def marks(spec: dict[str, Any]) -> Iterator[str]:
    """Every kind of mark in a specification, layer by layer."""
    if "mark" in spec:
        yield spec["mark"]["type"] if isinstance(spec["mark"], dict) else spec["mark"]
    for part in (*spec.get("layer", ()), *((spec["spec"],) if "spec" in spec else ())):
        yield from marks(part)


def rows_of(chart: Any) -> list[dict[str, Any]]:
    """The rows behind a chart's first layer."""
    spec = chart.to_dict()
    layer = spec
    while "layer" in layer and "data" not in layer:
        layer = layer["layer"][0]
    name = layer["data"]["name"]
    rows: list[dict[str, Any]] = spec["datasets"][name]
    return rows


def test_every_task_is_a_bar_and_the_decisive_ones_carry_a_mark(season: Season, report: CrewReport) -> None:
    picture = charts.stop_timeline(report, season)
    spec = picture.chart.to_dict()
    assert list(marks(spec)) == ["bar", "point", "rule"]
    data = rows_of(picture.chart)
    assert len(data) == len(report.tasks)
    decisive = {t.name for t in report.tasks if t.critical_share >= charts.DECISIVE}
    assert {row["task"] for row in data if row["weight"] == "decisive"} == decisive
    assert report.holds_up in picture.words


def test_fifty_dots_are_counted_in_words(report: CrewReport) -> None:
    under = report.median_s
    picture = charts.stop_dots(report, under)
    assert picture.words.startswith(f"25 of 50 forecast stops take less than {under:.1f} s")
    data = charts.stacked(report.dots, under)
    assert (data["side"] == "under").sum() == 25
    # dots of one bin stand on each other without a gap
    for _, column in data.groupby("x"):
        assert sorted(column["height"]) == list(range(1, len(column) + 1))
    assert set(marks(picture.chart.to_dict())) == {"point", "rule"}


def test_dots_are_counted_by_hand() -> None:
    data = charts.stacked([10.01, 10.2, 10.3, 12.0], 10.25)
    assert list(data["x"]) == [10.125, 10.125, 10.375, 12.125]
    assert list(data["height"]) == [1, 2, 1, 1]
    assert list(data["side"]) == ["under", "under", "over", "over"]


def test_a_swap_shows_both_crews_on_one_scale() -> None:
    picture = charts.swap_dots([10.0, 11.0, 12.0], [9.0, 10.0, 11.0], 10.5)
    assert "Now 1 of 3" in picture.words
    assert "After the swap 2 of 3" in picture.words
    heights = [row["height"] for row in rows_of(picture.chart)]
    assert sorted(heights) == [1, 1, 1, 4, 4, 4], "those of now stand above those after"


def test_before_and_after_differ_by_shape_too() -> None:
    picture = charts.before_after([("Ember", 12.3, 12.1), ("Slate", 11.0, 11.4)])
    spec = picture.chart.to_dict()
    shapes = {layer["mark"].get("shape") for layer in spec["layer"]} - {None}
    assert shapes == {"circle", "triangle"}
    assert picture.words == "Ember: 12.30 s before, 12.10 s after; Slate: 11.00 s before, 11.40 s after."


def test_splits_say_which_side_of_the_pool_they_lie_on() -> None:
    rows = [
        {"split": "Nuts off", "against_pool_s": -0.04, "low_s": -0.08, "high_s": 0.0},
        {"split": "Pull", "against_pool_s": 0.02, "low_s": -0.01, "high_s": 0.05},
    ]
    picture = charts.against_pool(rows)
    assert picture.words == "Nuts off: 0.04 s faster than the pool; Pull: 0.02 s slower than the pool."
    picture.chart.to_dict()


def test_grades_tell_misses_by_shape() -> None:
    grades = pd.DataFrame(
        {
            "date": pd.to_datetime(["2026-01-01", "2026-01-02", "2026-01-03"]),
            "seconds": [1.0, 1.1, 1.6],
            "setting": ["practice"] * 3,
            "misses": [(), (), ("restrike",)],
        }
    )
    picture = charts.grade_history(grades, 1.05)
    assert picture.words.startswith("3 grades, 1 of them with a miss; half of them between 1.05 s and 1.35 s")
    assert "shape" in picture.chart.to_dict()["layer"][0]["encoding"]


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([], "After 0 s: best plan none yet; no plan costs less than not known yet."),
        ([(3.0, None, 90.0)], "After 3 s: best plan none yet; no plan costs less than 90.0 s."),
        ([(3.0, 120.0, 90.0), (5.0, 100.0, 95.0)], "After 5 s: best plan 100.0 s; no plan costs less than 95.0 s."),
    ],
)
def test_a_search_is_told_from_its_first_moment(
    points: list[tuple[float, float | None, float | None]], words: str
) -> None:
    picture = charts.search_progress(points)
    assert picture.words == words
    picture.chart.to_dict()


def test_each_car_has_a_shape_of_its_own(season: Season) -> None:
    picture = charts.car_stops([("c1", "r1", 12.0, 13.0)], season)
    shape = picture.chart.to_dict()["encoding"]["shape"]["scale"]["range"]
    assert len(set(shape)) == len(shape)
    assert "median 12.0 to 12.0 s over 1 race." in picture.words


@pytest.mark.parametrize("colour", [charts.BLUE, charts.VERMILION, charts.GREY])
@pytest.mark.parametrize("ground", [LIGHT, DARK])
def test_colours_stand_out_from_both_grounds(colour: str, ground: tuple[int, int, int]) -> None:
    # WCAG 2.2, 1.4.11 Non-text Contrast: at least 3 : 1
    parts = tuple(int(colour[i : i + 2], 16) for i in (1, 3, 5))
    assert contrast((parts[0], parts[1], parts[2]), ground) >= 3.0
