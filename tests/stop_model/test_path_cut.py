"""The linear bound on a crew's stop: valid for every crew, exact at its own, and what it is for."""

from __future__ import annotations

import itertools
from collections.abc import Mapping

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import Bounds, LinearConstraint, milp

from lineup.choreography import order_tasks
from lineup.season import Choreography
from lineup.stop_model.bank import ServiceBank
from lineup.stop_model.blend import blend, blend_weights
from lineup.stop_model.network import Network
from lineup.stop_model.path_cut import TaskBounds
from tests.services import four_tires, random_bank, random_choreography, task


def cut_values(bank: ServiceBank, cut: tuple[float, Mapping[str, np.ndarray]], crews: np.ndarray) -> np.ndarray:
    """Value of a cut at each crew."""
    constant, coefficients = cut
    values = np.full(len(crews), constant)
    for column, position in enumerate(bank.positions):
        padded = np.append(coefficients[position], 0.0)  # row -1: nobody
        values += padded[crews[:, column]]
    return values


def all_crews(bank: ServiceBank) -> np.ndarray:
    """Every crew, every seat also empty."""
    sizes = [range(-1, len(bank.athletes[p])) for p in bank.positions]
    return np.array(list(itertools.product(*sizes)))


def mix_times(bank: ServiceBank, mix: Mapping[str, np.ndarray]) -> np.ndarray:
    """Stop time at a mix by the bounds of its tasks, which is exact when the mix is a crew."""
    network = Network(bank.choreography)
    values = TaskBounds(bank.choreography, bank.durations, bank.car).at(mix).values
    return network.stop_time(network.finish_all(values))


def random_mix(rng: np.random.Generator, bank: ServiceBank) -> dict[str, np.ndarray]:
    return {
        p: rng.dirichlet(np.full(len(bank.athletes[p]), 0.7)) * (1.0 if rng.random() < 0.5 else rng.random())
        for p in bank.positions
    }


@given(st.integers(0, 100_000), st.sampled_from([0.0, 0.3, 1.0]), st.floats(0.05, 1.0))
@settings(max_examples=80, deadline=None)
def test_a_cut_bounds_every_crew_and_touches_its_own(seed: int, tail: float, share: float) -> None:
    rng = np.random.default_rng(seed)
    bank = random_bank(rng, random_choreography(rng), athletes=2, scenarios=5, mean=float(rng.uniform(-0.5, 1.5)))
    crews = all_crews(bank)
    costs = blend(bank.stop_times(crews), tail, share)
    for own in rng.integers(len(crews), size=4):
        values = cut_values(bank, bank.blended_cut(bank.crew_mix(crews[own]), tail, share), crews)
        assert values[own] == pytest.approx(costs[own], abs=1e-9)
        assert np.all(values <= costs + 1e-9)
    for _ in range(4):
        values = cut_values(bank, bank.blended_cut(random_mix(rng, bank), tail, share), crews)
        assert np.all(values <= costs + 1e-9)


@given(st.integers(0, 100_000))
@settings(max_examples=40, deadline=None)
def test_any_scenario_weights_give_a_bound_on_the_weighted_stop(seed: int) -> None:
    rng = np.random.default_rng(seed)
    bank = random_bank(rng, random_choreography(rng), athletes=2, scenarios=4)
    crews = all_crews(bank)
    weights = rng.dirichlet(np.ones(4)) * rng.choice([0.5, 1.0, 3.0])
    weighted = bank.stop_times(crews) @ weights
    own = int(rng.integers(len(crews)))
    values = cut_values(bank, bank.path_cut(bank.crew_mix(crews[own]), weights), crews)
    assert values[own] == pytest.approx(weighted[own], abs=1e-9)
    assert np.all(values <= weighted + 1e-9)


def test_blended_cut_is_the_path_cut_with_blend_weights() -> None:
    rng = np.random.default_rng(8)
    bank = random_bank(rng, four_tires(), athletes=4, scenarios=64, mean=2.0)
    mix = random_mix(rng, bank)
    weights = blend_weights(mix_times(bank, mix), 0.4, 0.1)
    one, other = bank.blended_cut(mix, 0.4, 0.1), bank.path_cut(mix, weights)
    assert one[0] == pytest.approx(other[0])
    for p in bank.positions:
        np.testing.assert_allclose(one[1][p], other[1][p])


def test_without_conditions_the_value_at_a_mix_is_the_stop_of_the_mixed_durations() -> None:
    rng = np.random.default_rng(9)
    tasks = order_tasks(
        [task("a", "p"), task("b", "q", "a"), task("c", "p", "a b", release=True), task("d", "q", "b", release=True)]
    )
    bank = random_bank(rng, Choreography("s", "S", tasks), athletes=3, scenarios=50)
    mix = {p: rng.dirichlet(np.ones(3)) for p in bank.positions}
    mixed = ServiceBank(
        "s", "plain", bank.choreography, dict.fromkeys(bank.positions, ("mixed",)),
        {p: np.tensordot(mix[p], bank.durations[p], axes=1)[None] for p in bank.positions}, bank.car, {}, {},
    )  # fmt: skip
    np.testing.assert_allclose(mix_times(bank, mix), mixed.stop_times(np.array([0, 0]))[0])


@pytest.mark.parametrize("seconds", [0.5, 4.0, -0.5])
@pytest.mark.parametrize(("filled", "helper"), [(1.0, 0.5), (0.75, 0.5), (1.0, 0.0), (1.0, 1.0)])
def test_at_a_mix_a_task_done_with_a_helper_lasts_as_mccormick_says(
    seconds: float, filled: float, helper: float
) -> None:
    # Least of seconds · x · c over 0 <= x, c <= 1, linear in both (McCormick 1976, from memory): seconds times
    # max(x + c - 1, 0), or where seconds are negative times c, since x stays above it here.
    tasks = order_tasks(
        [
            task("hold", "p", only_with="h", early=True, release=True),
            task("stand", "p", only_without="h", early=True, release=True),
            task("help", "h"),
        ]
    )
    durations = {"p": np.full((2, 2, 1), seconds), "h": np.zeros((1, 1, 1))}
    bank = ServiceBank(
        "s", "plain", Choreography("s", "S", tasks), {"p": ("a", "b"), "h": ("c",)}, durations, np.zeros((0, 1)), {}, {}
    )
    found = mix_times(bank, {"p": np.full(2, filled / 2), "h": np.array([helper])})

    def least(condition: float) -> float:
        return seconds * (max(filled + condition - 1, 0.0) if seconds > 0 else min(filled, condition))

    assert found == pytest.approx([max(least(helper), least(1 - helper))])


# ------------------------------------------------------------------------- choosing by cuts: a network of 13 arcs

# Arcs of a stochastic network used in simulation-optimisation libraries; all Exp(1), independent. Exact mean
# 6.566019232 by the Markov chain of Kulkarni & Adlakha, Operations Research 34 (1986) (citation from memory).
# Halving the mean of three arcs: best 1-2, 2-4, 6-9 with exact mean 5.3709079; the choice by mean values
# (1-2, 1-3, 2-4) gives 5.5952: both by enumeration with the chain.
ARCS = ["12", "13", "23", "24", "26", "36", "45", "47", "56", "58", "69", "78", "89"]


def arc_bank(scenarios: int, seed: int) -> ServiceBank:
    """Each arc a task of its own position; "athlete" 0 takes Exp(1), athlete 1 half of it, on the same luck."""
    tasks = order_tasks(
        task(arc, arc, " ".join(a for a in ARCS if a[1] == arc[0]), release=arc[1] == "9") for arc in ARCS
    )
    choreography = Choreography("arcs", "Arcs", tasks)
    rng = np.random.default_rng(seed)
    drawn = {arc: rng.exponential(size=scenarios) for arc in ARCS}
    return ServiceBank(
        "arcs", "none", choreography, dict.fromkeys(ARCS, ("plain", "halved")),
        {arc: np.array([[d], [d / 2]]) for arc, d in drawn.items()}, np.zeros((0, scenarios)), {}, {},
    )  # fmt: skip


def crew_with(bank: ServiceBank, *halved: str) -> np.ndarray:
    return np.array([int(p in halved) for p in bank.positions])


def test_thirteen_arcs_have_the_exact_mean_within_error() -> None:
    bank = arc_bank(2**17, 1)
    for halved, exact in [((), 6.566019232), (("12", "24", "69"), 5.3709079), (("12", "13", "24"), 5.5952)]:
        times = bank.stop_times(crew_with(bank, *halved))[0]
        error = times.std() / np.sqrt(times.size)
        assert abs(times.mean() - exact) < 4 * error
        if not halved:
            assert times.var() == pytest.approx(4.907042, rel=0.02)  # exact variance of the same chain


def test_cuts_alone_find_the_three_arcs_to_halve_and_prove_it() -> None:
    bank = arc_bank(2**14, 2)
    size = len(bank.positions)
    choose_three = LinearConstraint(np.append(np.ones(size), 0.0), 3, 3)
    rows, lower = [], []
    best, bound, crew = np.inf, -np.inf, crew_with(bank, "12", "13", "24")
    while best - bound > 1e-6:
        best = min(best, float(bank.stop_times(crew).mean()))
        constant, c = bank.blended_cut(bank.crew_mix(crew), 0.0, 0.1)
        gains = [c[p][1] - c[p][0] for p in bank.positions]
        rows.append([*(-g for g in gains), 1.0])
        lower.append(constant + sum(c[p][0] for p in bank.positions))
        found = milp(
            np.append(np.zeros(size), 1.0),
            integrality=np.append(np.ones(size), 0),
            bounds=Bounds(np.zeros(size + 1), np.append(np.ones(size), np.inf)),
            constraints=[choose_three, LinearConstraint(rows, lower, np.inf)],
        )
        assert found.x is not None
        assert found.fun is not None
        bound, crew = found.fun, np.rint(found.x[:size]).astype(int)
    choices = np.array([crew_with(bank, *three) for three in itertools.combinations(ARCS, 3)])
    means = bank.stop_times(choices).mean(axis=1)
    assert {p for p, x in zip(bank.positions, choices[means.argmin()], strict=True) if x} == {"12", "24", "69"}
    assert bound == pytest.approx(means.min(), abs=1e-6)
    assert bound == pytest.approx(5.3709079, abs=0.06)


@pytest.mark.parametrize("condition", ["only_with", "only_without"])
def test_a_task_done_by_half_is_bounded_in_each_scenario_by_hand(condition: str) -> None:
    """McCormick's bounds of time times seat: the larger of own - M / 2 and m / 2, M and m of the scenario alone."""
    service = Choreography("s", "S", (task("hold", "p", release=True, **{condition: "h"}),))
    hold = np.array([[[1.0, 5.0, -1.0, -0.2]]])
    bounds = TaskBounds(service, {"p": hold, "h": np.zeros((1, 0, 4))}, np.zeros((0, 4)))
    found = bounds.at({"p": np.ones(1), "h": np.full(1, 0.5)})
    np.testing.assert_allclose(found.values, [[0.5, 2.5, -0.5, -0.1]])
