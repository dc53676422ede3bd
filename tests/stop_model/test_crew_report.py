"""The report on one crew: its figures agree with the samples, and what practice is worth with finite differences."""

from __future__ import annotations

import numpy as np
import pytest

from lineup.choreography import order_tasks
from lineup.plan import EntryForecast
from lineup.season import Choreography
from lineup.stop_model.bank import ServiceBank
from lineup.stop_model.crew_report import CrewReport, PositionReport, SplitWorth, TaskReport, crew_report
from lineup.stop_model.stops import forecast_entry, sample_service, tail_mean
from tests.builders import tiny_season
from tests.services import FRONT, REAR, STAGER, log_level, made_estimates, stop_season, task


@pytest.fixture(scope="module")
def bank() -> ServiceBank:
    """A four-tire stop with misses, everybody equal."""
    season = stop_season()
    return sample_service(
        season, made_estimates(season, log_level(1.0, 0.03, 0.1), rate=0.05), "four", "plain", 1, 2048
    )


@pytest.fixture(scope="module")
def crew(bank: ServiceBank) -> dict[str, str]:
    return {p: f"a{i % 4 + 1}" for i, p in enumerate(bank.positions) if p != STAGER}


@pytest.fixture(scope="module")
def report(bank: ServiceBank, crew: dict[str, str]) -> CrewReport:
    return crew_report(bank, crew, 0.1)


def test_figures_are_those_of_the_sampled_stops(bank: ServiceBank, crew: dict[str, str], report: CrewReport) -> None:
    times = bank.stop_times(bank.crew_row(crew))[0]
    assert report.mean_s == pytest.approx(times.mean())
    assert report.tail_mean_s == pytest.approx(float(tail_mean(times, 0.1)))
    assert len(report.dots) == 50
    assert np.mean(report.dots) == pytest.approx(report.mean_s, abs=0.01)
    assert sum(dot < report.median_s for dot in report.dots) == 25


def test_only_tasks_that_exist_are_reported(report: CrewReport) -> None:
    names = {t.task for t in report.tasks}
    assert "j-fetch" in names
    assert not names & {"s-stage", "s-hold"}


def test_tasks_begin_when_what_they_wait_for_is_done_and_the_last_lets_the_car_go(report: CrewReport) -> None:
    for done in report.tasks:
        assert done.finish_s == pytest.approx(done.start_s + done.mean_s)
    # the mean of a latest finish is never below the latest of the mean finishes (Jensen's inequality)
    latest = max(done.finish_s for done in report.tasks)
    assert latest == pytest.approx(report.mean_s, rel=0.05)


def test_critical_seconds_of_all_positions_make_up_the_stop(report: CrewReport) -> None:
    assert sum(p.critical_s for p in report.positions) == pytest.approx(report.mean_s)


def test_a_task_on_the_longest_path_has_no_slack(report: CrewReport) -> None:
    for t in report.tasks:
        assert t.slack_s is not None
        assert (t.slack_s == pytest.approx(0.0, abs=1e-9)) == (t.critical_share == 1.0)


@pytest.mark.parametrize("position", [FRONT, REAR, "jack", "fueler", "carrier"])
def test_what_a_split_is_worth_agrees_with_finite_differences(
    bank: ServiceBank, crew: dict[str, str], report: CrewReport, position: str
) -> None:
    row = bank.crew_row(crew)
    own = [t for t in bank.choreography.tasks if t.position == position]
    base = bank.durations[position][row[bank.positions.index(position)]]
    athlete = bank.rows[position][crew[position]]
    lost = np.array([bank.lost_s[t.id][athlete] if t.id in bank.lost_s else np.zeros(bank.scenarios) for t in own])
    h = 1e-4
    for worth in (w for w in report.splits if w.position == position):
        picked = np.array([t.split == worth.split for t in own])[:, None]
        quicker, slower = base - h * picked, base + h * picked
        both = bank.with_durations(row, position, np.array([quicker, slower])).mean(axis=1)
        assert (both[1] - both[0]) / (2 * h) * 0.01 == pytest.approx(worth.hundredth_s, abs=2e-5)
        share = h * picked * (base - lost)
        both = bank.with_durations(row, position, np.array([base - share, base + share])).mean(axis=1)
        assert (both[1] - both[0]) / (2 * h) * 0.01 == pytest.approx(worth.percent_s, abs=2e-5)


def test_the_sentence_names_who_holds_the_stop_up_and_with_what() -> None:
    tasks = [
        task("lift", "p1", seconds=1.0),
        task("turn", "p2", "lift", release=True),
        task("wave", None, release=True),
    ]
    season = tiny_season(positions=2, shape=tasks)
    seconds = {"lift": 1.0, "turn": 3.0, "wave": 0.5}
    known = made_estimates(season, lambda a, p, s: log_level(seconds[s])(a, p, s))
    bank = sample_service(season, known, "four", "plain", 1, 256)
    with_names = crew_report(bank, {"p1": "a1", "p2": "a2"}, 0.1, season)
    assert with_names.holds_up == (
        "P2 Athlete 2 (a2) holds this stop up: 3.0 of its 4.0 s are spent waiting for that work, most of all for "
        "“turn” (3.00 s, decisive in 100 of 100 stops)."
    )
    assert crew_report(bank, {"p1": "a1", "p2": "a2"}, 0.1).holds_up.startswith("p2 a2 holds")
    slow_car = made_estimates(season, lambda a, p, s: log_level({**seconds, "wave": 9.0}[s])(a, p, s))
    bank = sample_service(season, slow_car, "four", "plain", 1, 256)
    assert crew_report(bank, {"p1": "a1", "p2": "a2"}, 0.1).holds_up.startswith(
        "Car and driver hold this stop up: 9.0 of its 9.0 s"
    )


def four_stops() -> ServiceBank:
    """Four stops: in the second the car holds up everyone, in the fourth a slip of half a second does."""
    tasks = [
        task("lift", "p1", name="Lift the car"),
        task("turn", "p2", "lift", name="Turn the wheel", misses=("slip",), release=True),
        task("tidy", "p1", "lift", name="Tidy up", split="lift"),
        task("slow", None, name="Slow down"),
        task("wave", None, "slow", name="Wait for the flag", release=True),
    ]
    ones = np.ones((1, 4))
    own = np.array([[2.0, 3.0, 2.0, 2.5]])
    clean = np.array([True, True, True, False])
    return ServiceBank(
        "four",
        "lined",
        Choreography("four", "Four tires", order_tasks(tasks)),
        {"p1": ("a1",), "p2": ("a2", "a3")},
        durations={"p1": 0.5 * np.ones((1, 2, 4)), "p2": np.array([own + 9, own])},
        car=np.array([[0.25, 0.25, 0.25, 0.25], [0.25, 9.25, 0.25, 0.25]]),
        clean={"p1": ones > 0, "p2": np.array([~clean, clean])},
        penalty_s={"p1": np.zeros(1), "p2": np.zeros(2)},
        lost_s={"turn": np.array([own[0], 0.5 * ~clean])},
    )


def test_a_report_by_hand() -> None:
    """Stops of 2.5, 9.5, 2.5 and 3 s; quantiles between two of them as in Hyndman & Fan 1996, type 7."""
    crew = {"p2": "a3", "p1": "a1", "elsewhere": "a9"}
    report = crew_report(four_stops(), crew, 0.25)
    assert (report.service, report.tire, report.crew) == ("four", "lined", {"p1": "a1", "p2": "a3"})
    figures = (report.mean_s, report.median_s, report.p90_s, report.tail_mean_s, report.clean_share)
    assert figures == pytest.approx((4.375, 2.75, 3.0 + 0.7 * 6.5, 9.5, 0.75))
    assert (report.dots[0], report.dots[-1]) == pytest.approx((2.5, 3.0 + 0.97 * 6.5))
    assert report.tasks == (
        TaskReport("lift", "Lift the car", "p1", "a1", 0.5, 0.0, 0.5, 0.75, 1.5),
        TaskReport("turn", "Turn the wheel", "p2", "a3", 2.375, 0.5, 2.875, 0.75, 1.5),
        TaskReport("tidy", "Tidy up", "p1", "a1", 0.5, 0.5, 1.0, 0.0, None),  # nobody waits for it
        TaskReport("slow", "Slow down", "", "", 0.25, 0.0, 0.25, 0.25, 1.625),
        TaskReport("wave", "Wait for the flag", "", "", 2.5, 0.25, 2.75, 0.25, 1.625),
    )
    assert report.positions == (
        PositionReport("", "", 0.25, 2.375, 1.0),
        PositionReport("p1", "a1", 0.75, 0.375, 1.0),
        PositionReport("p2", "a3", 0.75, 1.625, 0.75),
    )
    assert report.splits == (  # a percent of the clean 2 s, three times in four
        SplitWorth("p2", "a3", "turn", pytest.approx(0.0075), pytest.approx(0.015)),
        SplitWorth("p1", "a1", "lift", pytest.approx(0.0075), pytest.approx(0.00375)),
    )
    assert report.holds_up == (
        "Car and driver hold this stop up: 2.4 of its 4.4 s are spent waiting for that work, most of all for "
        "“Wait for the flag” (2.50 s, decisive in 25 of 100 stops)."
    )
    shares = {"p1": 0.75, "p2": 0.75}
    figures = (report.mean_s, report.median_s, report.p90_s, report.tail_mean_s, report.clean_share, shares)
    assert forecast_entry(four_stops(), crew, "r1", "c1", 0.25) == EntryForecast("r1", "c1", "four", *figures)
