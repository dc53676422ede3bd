"""From estimates to banks and forecasts; the maximum of random times against published figures."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lineup.errors import InputError
from lineup.season import Clearance, Miss
from lineup.skills import SplitEstimate
from lineup.stop_model.bank import ServiceBank
from lineup.stop_model.stops import forecast_entry, sample_service, sample_stops, tail_mean
from tests.builders import make_race, tiny_season
from tests.services import FRONT, STAGER, log_level, made_estimates, stop_season, task

# ---------------------------------------------------------------------------------- maximum of independent normals


def side_by_side(normals: list[tuple[float, float]], scenarios: int = 2**14) -> ServiceBank:
    """Bank of one task per position, all side by side, each normal with the given mean and standard deviation."""
    season = tiny_season(athletes=1, positions=len(normals))

    def level(athlete: str, position: str, split: str) -> SplitEstimate:
        mean, sd = normals[int(position[1:]) - 1]
        return SplitEstimate(athlete, position, split, "plain", mean, 0.6 * sd, 0.8 * sd, 10.0)

    return sample_service(season, made_estimates(season, level), "four", "plain", 3, scenarios)


def stops_of(bank: ServiceBank) -> np.ndarray:
    """Stop times of the one crew there is."""
    times: np.ndarray = bank.stop_times(np.zeros(len(bank.positions), dtype=int))[0]
    return times


def test_clark_two_normals() -> None:
    # Clark, Operations Research 9 (1961) 145-162, exact for two normals; figures computed from his formula.
    times = stops_of(side_by_side([(12, 0.5), (11.5, 0.8)]))
    assert times.mean() == pytest.approx(12.17801769, abs=0.002)
    assert times.var() == pytest.approx(0.24554283, abs=0.005)


@pytest.mark.parametrize(
    ("count", "expected"),
    # Teichroew 1956, Harter 1961.
    [(2, 0.5641895835), (3, 0.8462843753), (4, 1.0293753730), (5, 1.1629644736), (10, 1.5387527308)],
)
def test_expected_maximum_of_standard_normals(count: int, expected: float) -> None:
    assert stops_of(side_by_side([(0.0, 1.0)] * count)).mean() == pytest.approx(expected, abs=0.006)


def test_four_unequal_normals_mean_and_tail() -> None:
    # Mean of the maximum and tail mean of its worst tenth, computed by numerical integration elsewhere.
    times = stops_of(side_by_side([(2.1, 0.12), (2.05, 0.2), (2.0, 0.25), (2.15, 0.08)]))
    assert times.mean() == pytest.approx(2.250850072, abs=0.001)
    assert float(tail_mean(times, 0.1)) == pytest.approx(2.491796354, abs=0.003)


# -------------------------------------------------------------------------------------------------- the whole model


def test_one_bank_for_each_service_and_tire_of_the_weekends() -> None:
    season = tiny_season(races=2)
    races = {"r1": make_race(0, tire="lined"), "r2": make_race(1, tire="plain")}
    season = season.replace(races=races)
    known = made_estimates(season, log_level(4.0))
    assert set(sample_stops(season, known, 1, 16).banks) == {("four", "lined"), ("four", "plain")}
    heavier = sample_stops(season, replace(known, tire={("do-p1", "lined"): 0.2}), 1, 16).banks
    assert {kind: bank.tire for kind, bank in heavier.items()} == {
        ("four", "lined"): "lined",
        ("four", "plain"): "plain",
    }
    assert np.all(heavier["four", "lined"].durations["p1"] > heavier["four", "plain"].durations["p1"])
    model = sample_stops(season, known, 1, 16, weekends=["w2"])
    assert set(model.banks) == {("four", "plain")}
    assert (model.seed, model.scenarios, model.banks["four", "plain"].scenarios) == (1, 16, 16)
    unknown = season.replace(service_counts={"r2": {"four": 3.0}})  # nobody said how many stops r1 has
    assert set(sample_stops(unknown, known, 1, 16).banks) == {("four", "plain")}


def test_everyone_with_any_clearance_has_a_row_and_nobody_else() -> None:
    levels = (
        Clearance("a3", "p1", "training"),
        Clearance("a1", "p1", "cleared", series="another"),
        Clearance("a1", "p2", "cleared"),
    )
    season = tiny_season(positions=2, clearances=levels)
    bank = sample_service(season, made_estimates(season, log_level(4.0)), "four", "plain", 1, 8)
    assert bank.athletes == {"p1": ("a1", "a3"), "p2": ("a1",)}


def test_a_clearance_without_an_estimate_is_an_error_that_names_it() -> None:
    season = tiny_season()
    known = made_estimates(season, log_level(4.0))
    season = season.with_clearance(Clearance("new", "p1", "cleared"))
    season = season.replace(athletes={**season.athletes, "new": season.athletes["a1"]})
    with pytest.raises(InputError, match="no estimate of new at p1 in do-p1"):
        sample_stops(season, known, 1, 8)


def test_penalties_stay_apart_from_time() -> None:
    season = stop_season()
    known = made_estimates(season, log_level(1.0), rate=0.1)
    bank = sample_service(season, known, "four", "plain", 1, 64)
    free = sample_service(
        season.replace(misses={m: Miss(m, m, 0.0) for m in season.misses}), known, "four", "plain", 1, 64
    )
    np.testing.assert_array_equal(bank.durations[FRONT], free.durations[FRONT])
    # Nuts go on twice in a stop, and the switch is listed with them: 2 chances of 0.1 at 20 s each.
    assert bank.penalty_s[FRONT] == pytest.approx(np.full(4, 4.0))
    assert bank.penalty_s["jack"].tolist() == [0.0] * 4


def test_a_setting_moves_the_splits_it_names() -> None:
    season = tiny_season()
    known = replace(made_estimates(season, log_level(4.0)), setting={("do-p1", "practice"): 0.2})
    race = sample_service(season, known, "four", "plain", 1, 16)
    practice = sample_service(season, known, "four", "plain", 1, 16, "practice")
    np.testing.assert_allclose(practice.durations["p1"], np.exp(0.2) * race.durations["p1"])
    np.testing.assert_array_equal(practice.durations["p2"], race.durations["p2"])


def test_a_clean_stop_has_no_miss_and_misses_are_told_apart_in_the_times() -> None:
    season = stop_season()
    bank = sample_service(season, made_estimates(season, log_level(1.0), rate=0.1), "four", "plain", 1, 2048)
    # A changer has six chances of a miss: a second strike in each of four tasks, the switch in two of them.
    assert bank.clean[FRONT][0].mean() == pytest.approx(np.exp(-0.6), abs=0.01)
    assert set(bank.lost_s) == {t.id for t in bank.choreography.tasks if t.misses}
    lost = sum(bank.lost_s[t.id][0] for t in bank.choreography.tasks if t.position == FRONT and t.misses)
    np.testing.assert_array_equal(lost > 0, ~bank.clean[FRONT][0])
    assert bank.clean_share(np.zeros(6, dtype=int)) == pytest.approx(np.exp(-1.2), abs=0.02)


def test_a_car_that_stalls_loses_seconds_that_are_told_apart() -> None:
    tasks = [task("lift", "p1"), task("leave", None, "lift", misses=("stall",), release=True)]
    season = tiny_season(positions=1, shape=tasks, misses={"stall": Miss("stall", "Stall", 2.0)})
    bank = sample_service(season, made_estimates(season, log_level(1.0), rate=0.1), "four", "plain", 1, 1024)
    lost = bank.lost_s["leave"][0]
    assert set(lost) == {0.0, 2.0, 4.0}
    assert (lost == 0).mean() == pytest.approx(np.exp(-0.1), abs=0.002)


def test_forecast_of_a_crew() -> None:
    season = stop_season()
    bank = sample_service(season, made_estimates(season, log_level(1.0), rate=0.05), "four", "plain", 1, 1024)
    crew = {p: f"a{i % 4 + 1}" for i, p in enumerate(bank.positions) if p != STAGER}
    forecast = forecast_entry(bank, crew, "r1", "c1", 0.1)
    times = bank.stop_times(bank.crew_row(crew))[0]
    assert (forecast.race, forecast.car, forecast.service) == ("r1", "c1", "four")
    assert forecast.mean_s == pytest.approx(times.mean())
    assert forecast.median_s == pytest.approx(np.median(times))
    assert (times <= forecast.p90_s).mean() == pytest.approx(0.9, abs=0.002)
    assert forecast.tail_mean_s > forecast.p90_s > forecast.median_s
    assert set(forecast.critical_share) == set(crew)
    assert all(0 <= share <= 1 for share in forecast.critical_share.values())
    assert forecast.critical_share["jack"] == pytest.approx(1.0)  # a stop with equal times waits for the jack


def test_an_empty_seat_brings_the_task_done_only_without_it() -> None:
    season = stop_season()
    bank = sample_service(season, made_estimates(season, log_level(1.0)), "four", "plain", 1, 64)
    filled = bank.crew_row(dict.fromkeys(bank.positions, "a1"))
    empty = filled.copy()
    empty[bank.positions.index(STAGER)] = -1
    gone = {t.id for t, d in zip(bank.choreography.tasks, bank.crew_durations(empty), strict=True) if not d.any()}
    assert gone == {"s-stage", "s-hold"}
    gone = {t.id for t, d in zip(bank.choreography.tasks, bank.crew_durations(filled), strict=True) if not d.any()}
    assert gone == {"j-fetch"}
    assert np.all(bank.stop_times(empty) > bank.stop_times(filled))


def test_a_support_position_without_tasks_of_its_own_still_has_a_seat() -> None:
    tasks = [task("fetch", "p1", only_without="helper"), task("hang", "p1", "fetch", release=True)]
    season = tiny_season(positions=["p1", "helper"], shape=tasks)
    bank = sample_service(season, made_estimates(season, log_level(1.0)), "four", "plain", 1, 32)
    with_helper, alone = bank.stop_times(np.array([[0, 1], [0, -1]]))
    assert np.all(alone > with_helper)
    assert bank.crew_row({"p1": "a1", "helper": "a2"}).tolist() == [0, 1]
