"""The chance that one crew is really faster, against what the normal distribution says of simple cases."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from lineup.season import Miss, Season
from lineup.skills import MissEstimate, SkillEstimates, SplitEstimate
from lineup.stop_model.crew_chance import CrewChances, Floats, Work, chance_above_zero
from lineup.stop_model.stops import sample_service
from tests.builders import tiny_season
from tests.services import STAGER, log_level, made_estimates, stop_season, task

MEANS = {"a1": 4.0, "a2": 4.1, "a3": 4.3}


def relay(sd: float) -> tuple[Season, SkillEstimates]:
    """Two tasks one after the other, on the plain scale, so that a stop is a sum of normals."""
    tasks = [task("one", "p1"), task("two", "p2", "one", release=True)]
    season = tiny_season(athletes=3, positions=2, shape=tasks)

    def level(athlete: str, position: str, split: str) -> SplitEstimate:
        return SplitEstimate(athlete, position, split, "plain", MEANS.get(athlete, 0.0), sd, 0.3, 5.0)

    return season, made_estimates(season, level)


def chances(sd: float = 0.1) -> CrewChances:
    season, known = relay(sd)
    return CrewChances(season, known, guesses=4096, stops=8)


def work(first: str, second: str, count: float = 1.0) -> list[Work]:
    return [Work("four", "plain", {"p1": first, "p2": second}, count)]


def saved(model: CrewChances, before: Sequence[Work], after: Sequence[Work]) -> Floats:
    """Seconds saved under each guess."""
    return model.seconds(before) - model.seconds(after)


def test_one_change_has_the_chance_of_two_normals() -> None:
    gain = saved(chances(), work("a3", "a2"), work("a1", "a2"))
    assert gain.mean() == pytest.approx(0.3, abs=0.01)
    assert gain.std() == pytest.approx(0.1 * np.sqrt(2), rel=0.05)
    assert chance_above_zero(gain) == pytest.approx(norm.cdf(0.3 / (0.1 * np.sqrt(2))), abs=0.01)


def test_whoever_stays_adds_no_doubt() -> None:
    model = chances()
    alone = saved(model, work("a2", "a3"), work("a1", "a3"))
    other = saved(model, work("a2", "a2"), work("a1", "a2"))
    assert alone == pytest.approx(other)


def test_two_who_swap_places_are_doubted_in_both() -> None:
    gain = saved(chances(), work("a2", "a3"), work("a3", "a2"))
    assert gain.mean() == pytest.approx(0.0, abs=0.02)
    assert gain.std() == pytest.approx(0.2, rel=0.05)
    assert chance_above_zero(gain) == pytest.approx(0.5, abs=0.03)


def test_no_change_is_no_evidence_and_the_way_back_is_the_other_chance() -> None:
    model = chances()
    assert chance_above_zero(saved(model, work("a1", "a2"), work("a1", "a2"))) == 0.5
    slow, quick = work("a3", "a2"), work("a1", "a2")
    there, back = saved(model, slow, quick), saved(model, quick, slow)
    assert chance_above_zero(there) + chance_above_zero(back) == pytest.approx(1)


def test_counts_scale_the_gain() -> None:
    model = chances()
    one, five = (saved(model, work("a3", "a2", count), work("a1", "a2", count)) for count in (1, 5))
    assert five == pytest.approx(5 * one)


def test_all_the_work_is_added_up() -> None:
    model = chances()
    one, other = work("a1", "a2"), work("a3", "a2", 2.0)
    assert model.seconds([*one, *other]) == pytest.approx(model.seconds(one) + model.seconds(other))


def test_certain_skills_leave_no_doubt() -> None:
    assert chance_above_zero(saved(chances(sd=0.0), work("a2", "a2"), work("a1", "a2"))) == 1.0


def test_a_tire_moves_the_splits_it_names() -> None:
    season, known = relay(0.1)
    model = CrewChances(season, replace(known, tire={("one", "lined"): 0.25}), guesses=16, stops=4)
    plain, lined = (model.seconds([Work("four", tire, {"p1": "a1", "p2": "a2"})]) for tire in ("plain", "lined"))
    assert lined - plain == pytest.approx(0.25)


def test_how_often_somebody_slips_is_guessed_once_for_all_his_stops() -> None:
    """Rate Gamma(1, 1), a second lost each time: under each guess the stops' mean is its rate, standard deviation 1."""
    tasks = [task("lift", "p1", misses=("slip",), release=True)]
    season = tiny_season(positions=1, shape=tasks, misses={"slip": Miss("slip", "A slip", 1.0)})
    known = made_estimates(season, log_level(4.0, 0.0, 0.0))
    often = {key: MissEstimate(*key, 1.0, 1.0, 1.0, 0.0) for key in known.misses}
    model = CrewChances(season, replace(known, misses=often), guesses=2048, stops=64)
    seconds = model.seconds([Work("four", "plain", {"p1": "a1"})])
    assert (seconds.mean(), seconds.std()) == (pytest.approx(5.0, abs=0.1), pytest.approx(1.0, abs=0.1))


def test_mean_and_tail_mean_are_blended() -> None:
    """The worse half of a normal lies 0.7979 standard deviations above its mean, here of the sum of two (0.3 each)."""
    season, known = relay(0.0)
    model = CrewChances(season, known, guesses=2, stops=4096, tail=0.4, tail_share=0.5)
    expected = 4.0 + 4.1 + 0.4 * 0.797885 * 0.3 * np.sqrt(2)
    assert model.seconds(work("a1", "a2")) == pytest.approx(expected, abs=0.005)


@pytest.mark.parametrize("stager", [True, False])
def test_the_mean_over_guesses_is_the_forecast_of_the_bank(stager: bool) -> None:
    season = stop_season()
    known = made_estimates(season, log_level(1.0, 0.03, 0.08), rate=0.05)
    bank = sample_service(season, known, "four", "plain", 1, 4096)
    crew = {p: f"a{i % 4 + 1}" for i, p in enumerate(bank.positions) if stager or p != STAGER}
    expected = bank.stop_times(bank.crew_row(crew))[0].mean()
    seconds = CrewChances(season, known, guesses=256, stops=256).seconds([Work("four", "plain", crew)])
    assert seconds.mean() == pytest.approx(expected, abs=0.02)
