"""Cuts of whole crews stay below every crew's cost, and are at least as high as those that mix athletes."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from lineup.optimize.bench import Bench
from lineup.optimize.hull import HullCuts
from tests.builders import tiny_season
from tests.optimize.seasons import make_problem


@pytest.mark.parametrize("seed", range(8))
def test_below_every_crew_and_tight_at_the_mix(seed: int) -> None:
    bench = Bench(make_problem(tiny_season(athletes=5, positions=3, grades=0), seed))
    entry, rng = bench.frame.entries[0], np.random.default_rng(seed)
    shares = rng.dirichlet(np.ones(5) / 2, 3)
    constant, coefficients = HullCuts(bench.pool).cut(entry, shares) or (np.nan, shares)
    crews = list(product(range(5), repeat=3))
    costs = bench.values.costs(entry, crews)
    bounds = np.array([constant + sum(coefficients[p, a] for p, a in enumerate(crew)) for crew in crews])
    assert (costs - bounds).min() >= -1e-7
    mixed, terms = bench.pool.at_mix(entry.kind, shares).for_entry(entry)
    kept = np.where(shares > 0.02, shares, 0.0)  # smaller shares are left out of the mix, by design
    if np.array_equal(kept, shares):
        assert constant + (coefficients * shares).sum() >= mixed + (terms * shares).sum() - 0.05
