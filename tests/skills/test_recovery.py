"""Hidden true skills of a simulated season are found again, within their stated uncertainty."""

import numpy as np
import pytest

from tests.skills.simulated import HEAVY, MISSES, OTHER, PACE, POSITIONS, PRACTICE, SAME, TRUE_LOSS_S, TRUE_RATE


def by_grades(truth, estimates, lowest, highest):
    keys = [k for k in truth.level if lowest <= estimates.splits[k].grades <= highest]
    own = [estimates.splits[k] for k in keys]
    return np.array([(e.mean - truth.level[k]) / e.sd for e, k in zip(own, keys, strict=True)])


@pytest.mark.parametrize(("lowest", "highest"), [(0, 0), (0.01, 5), (5, 15), (15, 200)])
def test_true_levels_lie_where_the_estimates_say(simulated, lowest, highest):
    """Standardised errors have a spread near one, whether there are no grades or many.

    A little below one is right here: the simulated skills do not drift, and recency leaves room for drift.
    """
    _, truth, estimates = simulated
    errors = by_grades(truth, estimates, lowest, highest)
    assert len(errors) >= 25
    assert 0.6 < errors.std() < 1.2
    assert (np.abs(errors) < 1.645).mean() > 0.84


def test_more_grades_mean_less_doubt(simulated):
    _, truth, estimates = simulated
    own = [estimates.splits[k] for k in truth.level if k[2].endswith("-off")]
    doubt = {few: np.mean([e.sd for e in own if (e.grades < 1) == few]) for few in (True, False)}
    assert doubt[True] > 2 * doubt[False]


def test_pooling_beats_the_plain_average(simulated):
    """Against the truth itself: the athletes' plain averages of clean times in a race are further off."""
    season, truth, estimates = simulated
    clean = season.grades[(season.grades["misses"].map(len) == 0) & season.grades["position"].isin(POSITIONS)]
    clean = clean[~clean["task"].str.endswith("reach")]
    split = clean["task"].str.replace(r"-\d$", "", regex=True)
    plain = np.log(clean["seconds"]).groupby([clean["athlete"], clean["position"], split]).mean()
    errors = np.array([[estimates.splits[k].mean - truth.level[k], plain[k] - truth.level[k]] for k in plain.index])
    pooled_rmse, plain_rmse = np.sqrt((errors**2).mean(axis=0))
    assert pooled_rmse < 0.95 * plain_rmse
    few = clean.groupby([clean["athlete"], clean["position"], split]).size().to_numpy() <= 4
    pooled_rmse, plain_rmse = np.sqrt((errors[few] ** 2).mean(axis=0))
    assert pooled_rmse < 0.9 * plain_rmse


def test_consistency(simulated):
    _, truth, estimates = simulated
    keys = [k for k in truth.spread if estimates.splits[k].grades > 5]
    ratio = np.log([estimates.splits[k].spread / truth.spread[k] for k in keys])
    assert abs(ratio.mean()) < 0.08
    assert ratio.std() < 0.17  # against 0.21 between athletes
    true = np.log([truth.spread[k] for k in keys])
    assert np.corrcoef(true, true + ratio)[0, 1] > 0.6


def test_effects_of_practice_and_tire(simulated):
    _, _, estimates = simulated
    assert estimates.reference_tire == "plain"
    practice = [
        v for (split, setting), v in estimates.setting.items() if (split[-5:], setting) == ("-move", "practice")
    ]
    assert np.mean(practice) == pytest.approx(PRACTICE, abs=0.012)
    heavy = [v for (_, tire), v in estimates.tire.items() if tire == "heavy"]
    assert len(heavy) == len(POSITIONS)  # only where the load matters
    assert np.mean(heavy) == pytest.approx(HEAVY, abs=0.015)


def test_losses_and_pace(simulated):
    """Losses move from what misses.csv says (0.3 s and 1.0 s) to what the grades say."""
    _, truth, estimates = simulated
    assert estimates.loss_s["restrike"] == pytest.approx(TRUE_LOSS_S["restrike"], abs=0.04)
    assert estimates.loss_s["spill"] == pytest.approx(TRUE_LOSS_S["spill"], abs=0.12)
    pace = np.log(list(estimates.pace.values()))
    assert pace.mean() == pytest.approx(PACE, abs=0.015)
    assert pace.std() < np.log(list(truth.pace.values())).std()  # pooled hard


def test_rates_of_misses(simulated):
    _, truth, estimates = simulated
    for miss, rate in TRUE_RATE.items():
        keys = [k for k in truth.rate if k[2] == miss]
        own = np.array([estimates.misses[k].rate for k in keys])
        true = np.array([truth.rate[k] for k in keys])
        assert own.mean() == pytest.approx(rate, rel=0.35)
        if not MISSES[miss].penalty_s:  # penalties are too rare to tell athletes apart
            assert np.corrcoef(own, true)[0, 1] > 0.15


def test_correlations(simulated):
    _, _, estimates = simulated
    assert abs(estimates.same_position - SAME) < 0.3
    assert abs(estimates.other_position - OTHER) < 0.25
