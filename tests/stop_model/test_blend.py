"""Mean and tail mean against closed forms and against brute force."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm

from lineup.errors import InputError
from lineup.stop_model.blend import blend, blend_weights, tail_mean


@pytest.mark.parametrize(
    ("level", "published"),
    # CVaR of N(0, 1), Rockafellar & Uryasev 2000; .80 by their closed form phi(z) / (1 - level).
    [(0.80, norm.pdf(norm.ppf(0.80)) / 0.20), (0.90, 1.754983319), (0.95, 2.062712808), (0.99, 2.665214220)],
)
def test_tail_mean_of_a_normal(level: float, published: float) -> None:
    count = 2**18
    quantiles = norm.ppf((np.arange(count) + 0.5) / count)
    assert tail_mean(quantiles, 1 - level) == pytest.approx(published, abs=2e-4)


def test_the_boundary_scenario_counts_fractionally() -> None:
    times = np.array([4.0, 1.0, 3.0, 2.0])
    assert tail_mean(times, 0.5) == pytest.approx((4 + 3) / 2)
    assert tail_mean(times, 0.375) == pytest.approx((4 + 0.5 * 3) / 1.5)
    assert tail_mean(times, 0.1) == pytest.approx(4)
    assert tail_mean(times, 1.0) == pytest.approx(2.5)


@given(st.integers(0, 10_000), st.floats(0.0, 1.0), st.floats(0.01, 1.0))
@settings(max_examples=60, deadline=None)
def test_weights_give_the_blend_and_no_other_weights_give_more(seed: int, tail: float, share: float) -> None:
    rng = np.random.default_rng(seed)
    times = rng.normal(12, 1, 40).round(1)  # ties
    weights = blend_weights(times, tail, share)
    assert weights.sum() == pytest.approx(1)
    assert weights.min() >= 0
    assert weights @ times == pytest.approx(float(blend(times, tail, share)))
    other = blend_weights(rng.normal(size=40), tail, share)
    assert other @ times <= weights @ times + 1e-9


def test_many_crews_at_once_give_each_its_own_blend() -> None:
    times = np.random.default_rng(2).normal(12, 1, (5, 64))
    assert blend(times, 0.3, 0.1).tolist() == [pytest.approx(float(blend(row, 0.3, 0.1))) for row in times]


@pytest.mark.parametrize("share", [0.0, -0.1, 1.5])
def test_a_tail_share_outside_its_range_is_refused(share: float) -> None:
    with pytest.raises(InputError, match=r"tail_share must lie above 0 and at most at 1"):
        tail_mean(np.ones(4), share)
