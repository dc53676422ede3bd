"""Sampled stops of athletes: their law, what they share, and what does not touch them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from scipy import stats

from lineup.choreography import order_tasks
from lineup.errors import InputError
from lineup.season import Choreography, Task
from lineup.skills import MissEstimate, PoolEstimate, Scale, SkillEstimates, SplitEstimate, shared_doubt
from lineup.stop_model.sampling import (
    Points,
    Sampler,
    poisson_counts,
    predictive_counts,
    random_points,
    sobol_points,
)
from tests.services import task

TASKS = [
    task("run", "p", seconds=0.5, early=True),
    task("off", "p", "run", misses=("restrike",)),
    task("cross", "p", "off", 2.0),
    task("off-2", "p", "cross", split="off", misses=("restrike", "trigger")),
    task("go", None, "off-2", 0.3, release=True),
]


def choreography(tasks: list[Task] = TASKS) -> Choreography:
    return Choreography("four", "Four", order_tasks(tasks))


def split(
    athlete: str, name: str, mean: float, sd: float = 0.0, spread: float = 0.1, scale: Scale = "log"
) -> SplitEstimate:
    return SplitEstimate(athlete, "p" if athlete else "", name, scale, mean, sd, spread, 10.0)


def estimates(**athletes: float) -> SkillEstimates:
    """Athletes of position p by how much slower (ln seconds) they are than one second."""
    splits = [split("", "go", np.log(0.3), spread=0.0)]
    misses = []
    for name, slower in athletes.items():
        splits += [split(name, "run", 0.5 + slower, 0.05, 0.1, "plain")]
        splits += [split(name, "off", slower, 0.05, 0.08), split(name, "cross", np.log(2.0) + slower, 0.02, 0.05)]
        misses += [MissEstimate(name, "p", "restrike", 0.2, 2.0, 10.0, 30.0)]
        misses += [MissEstimate(name, "p", "trigger", 0.1, 5.0, 50.0, 30.0)]
    return SkillEstimates(
        on=date(2026, 4, 1),
        splits={(e.athlete, e.position, e.split): e for e in splits},
        misses={(e.athlete, e.position, e.miss): e for e in misses},
        tire={("off", "heavy"): 0.05},
        setting={("cross", "practice"): -0.1},
        loss_s={"restrike": 0.3, "trigger": 0.8},
        pace={"ana": 1.1},
    )


def sampler(scenarios: int = 1024, seed: int = 1, tasks: list[Task] = TASKS, **athletes: float) -> Sampler:
    service = choreography(tasks)
    return Sampler(service, estimates(**athletes), "plain", sobol_points(service, seed, scenarios))


def test_an_athletes_stop_has_the_law_of_one_played_task_by_task() -> None:
    # An independent simulation, written the plain way: draw the level, then task by task luck, misses and pace.
    drawn = sampler(2**14, ana=0.05).draw("p", ["ana"])
    rng = np.random.default_rng(3)
    count = 40_000
    level = {name: rng.normal(size=count) for name in ("run", "off", "cross")}
    total, slipped, clean = np.zeros(count), np.zeros(count, dtype=bool), np.zeros(count)
    for name, mean, sd, spread, misses in [
        ("run", 0.55, 0.05, 0.1, []),
        ("off", 0.05, 0.05, 0.08, [(2.0, 10.0, 0.3)]),
        ("cross", np.log(2) + 0.05, 0.02, 0.05, []),
        ("off", 0.05, 0.05, 0.08, [(2.0, 10.0, 0.3), (5.0, 50.0, 0.8)]),
    ]:
        x = mean + sd * level[name] + spread * rng.normal(size=count)
        clean = x if name == "run" else np.exp(x) * np.where(slipped, 1.1, 1.0)
        total += clean
        for alpha, beta, loss in misses:
            times = rng.poisson(rng.gamma(alpha, 1 / beta, count))
            total += loss * times
            slipped |= times > 0
    sampled = drawn.seconds[0].sum(axis=0)
    error = total.std() / np.sqrt(count)
    assert sampled.mean() == pytest.approx(total.mean(), abs=4 * error)
    assert sampled.std() == pytest.approx(total.std(), rel=0.03)
    for share in (0.1, 0.5, 0.9, 0.99):
        assert np.quantile(sampled, share) == pytest.approx(np.quantile(total, share), abs=0.03)
    assert drawn.slips[0].any(axis=0).mean() == pytest.approx(slipped.mean(), abs=0.01)


def test_athletes_share_their_luck_so_the_quicker_one_is_quicker_every_time() -> None:
    drawn = sampler(ana=0.0, bo=0.02).draw("p", ["ana", "bo"])
    clean = drawn.seconds - drawn.lost
    assert np.all(clean[1, :2] > clean[0, :2])
    np.testing.assert_array_equal(drawn.slips[0], drawn.slips[1])


def test_who_else_is_sampled_changes_nobodys_stops() -> None:
    alone = sampler(ana=0.0).draw("p", ["ana"])
    among = sampler(bo=0.1, ana=0.0).draw("p", ["bo", "ana"])
    np.testing.assert_array_equal(alone.seconds[0], among.seconds[1])


def test_the_same_seed_gives_the_same_points_and_another_seed_others() -> None:
    for points in (sobol_points, random_points):
        one, two, other = (points(choreography(), seed, 64) for seed in (1, 1, 2))
        np.testing.assert_array_equal(one.day["off"], two.day["off"])
        assert not np.array_equal(one.day["off"], other.day["off"])


def test_tasks_of_one_split_share_the_doubt_about_it_but_not_the_luck_of_the_day() -> None:
    points = sobol_points(choreography(), 1, 4096)
    assert set(points.level) == {("p", "run"), ("p", "off"), ("p", "cross"), ("p", ""), ("", "go"), ("", "")}
    assert abs(np.corrcoef(points.day["off"], points.day["off-2"])[0, 1]) < 0.05
    certain = sampler(4096, ana=0.0)
    doubtful = replace(
        certain,
        estimates=replace(
            certain.estimates,
            splits={k: replace(e, sd=0.3 if e.split == "off" else e.sd) for k, e in certain.estimates.splits.items()},
            misses={k: replace(m, alpha=1e-9) for k, m in certain.estimates.misses.items()},
        ),
    ).draw("p", ["ana"])
    assert np.corrcoef(np.log(doubtful.seconds[0, 1]), np.log(doubtful.seconds[0, 3]))[0, 1] > 0.9


def test_each_point_is_spread_evenly() -> None:
    points = sobol_points(choreography(), 7, 256)
    for uniform in [stats.norm.cdf(z) for z in points.day.values()] + list(points.miss.values()):
        assert np.bincount((uniform * 256).astype(int), minlength=256).max() == 1


def test_a_point_in_the_corner_still_gives_a_stop_that_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stats.qmc.Sobol, "random_base2", lambda self, m: np.zeros((2**m, self.d)))
    assert np.isfinite(sampler(16, ana=0.0).draw("p", ["ana"]).seconds).all()


def test_sobol_points_settle_the_mean_stop_better_than_plain_random_ones() -> None:
    service = choreography()
    known = estimates(ana=0.0)

    def mean(points: Points) -> float:
        return float(Sampler(service, known, "plain", points).draw("p", ["ana"]).seconds.sum(axis=1).mean())

    sobol = np.std([mean(sobol_points(service, seed, 512)) for seed in range(12)])
    plain = np.std([mean(random_points(service, seed, 512)) for seed in range(12)])
    assert sobol < plain / 3


def with_pools(base: Sampler, same_position: float, between: float) -> Sampler:
    """Return the sampler with pools of that spread between athletes, and splits that hang together by that much."""
    names = {split for _, position, split in base.estimates.splits if position}
    pools = {("p", s): PoolEstimate("p", s, "log", 0.0, 0.0, between, 0.1, 5) for s in names}
    return replace(base, estimates=replace(base.estimates, pools=pools, same_position=same_position))


def test_what_is_not_known_of_an_ungraded_athlete_is_shared_by_his_splits() -> None:
    base = sampler(4096, ana=0.0)
    flat = {k: replace(e, sd=0.1, spread=1e-9, scale="log") for k, e in base.estimates.splits.items()}
    calm = {k: replace(m, alpha=1e-9) for k, m in base.estimates.misses.items()}
    base = replace(base, estimates=replace(base.estimates, splits=flat, misses=calm, pace={}))
    for between, expected in [(0.1, 0.7), (0.2, 0.7 / 4), (0.05, 0.7), (0.0, 0.7)]:
        seconds = np.log(with_pools(base, 0.7, between).draw("p", ["ana"]).seconds[0])
        assert np.corrcoef(seconds[0], seconds[2])[0, 1] == pytest.approx(expected, abs=0.03)
        assert seconds.std(axis=1) == pytest.approx(np.full(4, 0.1), rel=0.02)


def test_the_shared_doubt_is_near_the_exact_posterior_of_splits_graded_alike() -> None:
    # Prior correlation r between six splits, each seen with noise variance v: posterior (P⁻¹ + I/v)⁻¹.
    for r in (0.3, 0.7):
        prior = np.full((6, 6), r) + (1 - r) * np.eye(6)
        for noise in (0.05, 0.5, 2.0, 20.0):
            exact = np.linalg.inv(np.linalg.inv(prior) + np.eye(6) / noise)
            estimate = split("ana", "off", 0.0, sd=float(np.sqrt(exact[0, 0])))
            known = with_pools(sampler(16, ana=0.0), r, 1.0).estimates
            assert shared_doubt(known, estimate) == pytest.approx(exact[0, 1] / exact[0, 0], abs=0.12)


def test_tire_and_setting_move_the_splits_they_name() -> None:
    plain = sampler(ana=0.0)
    heavy = replace(plain, tire="heavy", setting="practice").draw("p", ["ana"])
    base = plain.draw("p", ["ana"])
    ratio = (heavy.seconds - heavy.lost) / (base.seconds - base.lost)
    np.testing.assert_allclose(ratio[0, 0], 1.0)
    np.testing.assert_allclose(ratio[0, [1, 3]], np.exp(0.05))
    np.testing.assert_allclose(ratio[0, 2], np.exp(-0.1))


def test_pace_after_a_miss_slows_later_tasks_only() -> None:
    pressed, calm = sampler(ana=0.0), sampler(ana=0.0)
    calm = replace(calm, estimates=replace(calm.estimates, pace={}))
    with_pace, without = pressed.draw("p", ["ana"]), calm.draw("p", ["ana"])
    ratio = (with_pace.seconds - with_pace.lost) / (without.seconds - without.lost)
    slipped = with_pace.slips[0, 1]
    np.testing.assert_allclose(ratio[0, :2], 1.0)
    np.testing.assert_allclose(ratio[0, 2], np.where(slipped, 1.1, 1.0))
    assert 0.1 < slipped.mean() < 0.3


def test_a_miss_in_a_task_that_may_not_exist_slows_only_what_exists_with_it() -> None:
    tasks = [
        task("off", "p", misses=("restrike",), only_without="helper"),
        task("cross", "p", "off", 2.0),
        task("off-2", "p", "cross", split="off", only_without="helper"),
        task("hold", "helper"),
        task("go", None, "off-2 hold", release=True),
    ]
    drawn = sampler(tasks=tasks, ana=0.0).draw("p", ["ana"])
    calm = sampler(tasks=tasks, ana=0.0)
    calm_drawn = replace(calm, estimates=replace(calm.estimates, pace={})).draw("p", ["ana"])
    np.testing.assert_array_equal(drawn.seconds[0, 1], calm_drawn.seconds[0, 1])
    slipped = drawn.slips[0, 0]
    np.testing.assert_allclose((drawn.seconds / calm_drawn.seconds)[0, 2], np.where(slipped, 1.1, 1.0))


def test_counts_invert_the_distributions_of_scipy() -> None:
    uniform = (np.arange(2000) + 0.5) / 2000
    for rate in (0.01, 0.3, 2.5):
        np.testing.assert_array_equal(poisson_counts(uniform, np.array([rate])), stats.poisson.ppf(uniform, rate))
        alpha, beta = 4.0, 4.0 / rate
        expected = stats.nbinom.ppf(uniform, alpha, beta / (beta + 1))
        np.testing.assert_array_equal(predictive_counts(uniform, np.array([alpha]), np.array([beta])), expected)


def test_drawn_rates_replace_the_doubt_about_them() -> None:
    base = sampler(4096, ana=0.0)
    points = replace(base.points, rates={("p", "restrike"): np.full(4096, 0.5)})
    slips = replace(base, points=points).draw("p", ["ana"]).slips[0, 1]
    assert slips.mean() == pytest.approx(1 - np.exp(-0.5), abs=2e-3)


def test_a_missing_estimate_is_named() -> None:
    with pytest.raises(InputError, match="no estimate of bo at p in run"):
        sampler(ana=0.0).draw("p", ["bo"])
    known = sampler(ana=0.0)
    no_misses = replace(known, estimates=replace(known.estimates, misses={}))
    with pytest.raises(InputError, match="no estimate of ana's restrike at p"):
        no_misses.draw("p", ["ana"])
    no_car = replace(known, estimates=replace(known.estimates, splits={}))
    with pytest.raises(InputError, match="no estimate of car and driver in go"):
        no_car.draw("", [""])
    tasks = [task("lift", "p"), task("go", None, misses=("stall",), release=True)]
    with pytest.raises(InputError, match=r"no estimate of the car's stall at the car$"):
        sampler(tasks=tasks, ana=0.0).draw("", [""])
