"""Pairs in the residuals: a planted one is found, luck is not taken for one, and what cannot be told is said."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lineup.season import Season
from lineup.skills import estimate_skills
from lineup.stop_model.pair_patterns import PairPattern, PairPatterns, _orders, _text, find_pairs, pair_patterns
from tests.builders import grade_row, grade_table, stop_row, stop_table, tiny_season
from tests.services import log_level, made_estimates


def mixed_crews(rng: np.random.Generator, stops: int, athletes: int = 12, size: int = 4) -> list[frozenset[str]]:
    return [frozenset(f"a{i}" for i in rng.choice(athletes, size, replace=False)) for _ in range(stops)]


def test_a_planted_pair_is_found_with_its_size() -> None:
    sizes, named = [], 0
    for seed in range(30):
        rng = np.random.default_rng(seed)
        crews = mixed_crews(rng, 250)
        spread = rng.uniform(0.3, 0.6, 250)
        planted = np.array([{"a2", "a7"} <= crew for crew in crews])
        pairs = find_pairs(crews, spread * rng.normal(size=250) + 0.6 * planted, spread, seed, shuffles=99).pairs
        own = next(p for p in pairs if (p.first, p.second) == ("a2", "a7"))
        assert own.together == planted.sum()
        sizes.append(own.slower_s)
        named += pairs[0] == own and own.luck < 0.05
    assert named >= 24
    assert np.mean(sizes) == pytest.approx(0.6, abs=0.1)


def test_an_athlete_who_is_slower_with_everyone_is_no_pair() -> None:
    rng = np.random.default_rng(2)
    crews = mixed_crews(rng, 250)
    residual = 0.4 * rng.normal(size=250) + 0.8 * np.array(["a3" in crew for crew in crews])
    assert find_pairs(crews, residual, np.full(250, 0.4)).pairs[0].luck > 0.05


def test_luck_alone_rarely_passes_for_a_pattern() -> None:
    alarms = 0
    for seed in range(40):
        rng = np.random.default_rng(seed)
        crews = mixed_crews(rng, 80)
        alarms += find_pairs(crews, rng.normal(size=80), np.ones(80), seed).pairs[0].luck < 0.05
    assert alarms <= 6  # 2 expected; 7 or more of 40 at 5 % each has a chance of 0.3 %


def test_two_who_always_work_together_cannot_be_told_apart() -> None:
    rng = np.random.default_rng(3)
    crews = [crew | {"x", "y"} if rng.random() < 0.5 else crew for crew in mixed_crews(rng, 120)]
    found = find_pairs(crews, rng.normal(size=120), np.ones(120))
    assert found.untestable >= 1
    assert all({p.first, p.second} != {"x", "y"} for p in found.pairs)


def test_too_few_stops_say_so() -> None:
    crews = mixed_crews(np.random.default_rng(4), 12)
    assert find_pairs(crews, np.zeros(12), np.ones(12)).pairs == ()
    assert find_pairs([], np.zeros(0), np.zeros(0)).pairs == ()


def graded_season(stops: int, slower_together: float) -> Season:
    """Season of whole stops by mixed crews of two, each graded; one pair loses time that no grade shows."""
    rng = np.random.default_rng(6)
    grades, rows = [], []
    for number in range(stops):
        first, second = (f"a{i}" for i in rng.choice(np.arange(1, 7), 2, replace=False))
        own = {f"do-{p}": float(rng.normal(4.0, 0.1)) for p in ("p1", "p2")}
        grades += [
            grade_row(a, p, f"do-{p}", own[f"do-{p}"], stop=f"s{number}") for a, p in ((first, "p1"), (second, "p2"))
        ]
        lost = slower_together if {first, second} == {"a1", "a2"} else 0.0
        rows.append(stop_row(f"s{number}", max(own.values()) + lost))
    season = tiny_season(athletes=6, positions=2)
    return season.replace(grades=grade_table(grades), stops=stop_table(rows))


def test_the_sentence_says_what_stands_out_or_that_nothing_does() -> None:
    season = graded_season(200, 0.5)
    found = pair_patterns(season, estimate_skills(season), scenarios=128)
    assert found.text.startswith(
        "Of 15 pairs tested on 200 stops, one stands out: Athlete 1 (a1) and Athlete 2 (a2): 0."
    )
    assert "s slower together than their own records say" in found.text
    season = graded_season(200, 0.0)
    found = pair_patterns(season, estimate_skills(season), scenarios=128)
    assert "none stands out" in found.text
    assert "luck alone shows one as strong" in found.text
    season = graded_season(8, 0.0)
    assert "too few" in pair_patterns(season, estimate_skills(season), scenarios=64).text


def test_a_slow_kind_of_stop_is_no_pattern_of_those_who_make_it() -> None:
    """Two athletes are together in stops that take twice as long, as forecast."""
    season = graded_season(120, 0.0)
    crews = [set(rows["athlete"]) for _, rows in season.grades.groupby("stop", sort=False)]
    heavy = np.array([crew == {"a1", "a2"} for crew in crews])
    stops = season.stops.assign(tire=np.where(heavy, "heavy", "plain"), total_s=np.where(heavy, 8.0, 4.0))
    known = made_estimates(season, log_level(4.0, 0.0, 0.001))
    known = replace(known, tire={(split, "heavy"): np.log(2.0) for split in ("do-p1", "do-p2")})
    found = pair_patterns(season.replace(stops=stops), known, scenarios=64)
    together = {(p.first, p.second): p.together for p in found.pairs}
    assert together["a1", "a2"] == heavy.sum()
    assert max(abs(p.slower_s) for p in found.pairs) < 0.05
    assert found == pair_patterns(season.replace(stops=stops), known, scenarios=64)


def test_what_is_said_of_pairs_in_full() -> None:
    season = tiny_season(athletes=3)

    def said(slower_s: float, luck: float, untestable: int) -> str:
        best = PairPattern("a1", "a3", 12, slower_s, luck)
        return _text(PairPatterns(80, (best, PairPattern("a1", "a2", 9, 0.0, 1.0)), untestable), season)

    both = "Athlete 1 (a1) and Athlete 3 (a3)"
    assert said(0.217, 0.02, 0) == (
        f"Of 2 pairs tested on 80 stops, one stands out: {both}: 0.22 s slower together than their own records say, "
        "over 12 stops. Luck alone would show a pair as strong with chance 0.020."
    )
    assert said(-0.217, 0.05, 4) == (
        "Of 2 pairs tested on 80 stops (4 more were hardly ever seen apart), none stands out. The strongest is "
        f"{both}: 0.22 s quicker together than their own records say, over 12 stops; among so many pairs luck alone "
        "shows one as strong with chance 0.05."
    )
    assert _text(PairPatterns(7, (), 3), season) == (
        "7 stops of stops.csv name their whole crew: too few, or the same athletes always together, to tell whether "
        "pairs matter."
    )


def test_pairs_know_no_unit_of_time_and_five_stops_together_are_enough() -> None:
    rng = np.random.default_rng(7)
    crews = [crew - {"a1"} if {"a1", "a2"} <= crew else crew for crew in mixed_crews(rng, 120, athletes=8)]
    together = np.array([True] * 5 + [False] * 115)
    crews = [frozenset({"a1", "a2", "a3"}) if pair else crew for pair, crew in zip(together, crews, strict=True)]
    residual, spread = 0.1 * rng.normal(size=120) + 5.0 * together, np.full(120, 0.1)
    one, long = (find_pairs(crews, scale * residual, scale * spread, shuffles=99) for scale in (1.0, 100.0))
    best = one.pairs[0]
    assert (best.first, best.second, best.together, best.luck) == ("a1", "a2", 5, 0.01)  # no shuffle of 99 is as strong
    assert [(p.first, p.second) for p in long.pairs] == [(p.first, p.second) for p in one.pairs]
    assert [p.slower_s for p in long.pairs] == pytest.approx([100 * p.slower_s for p in one.pairs])
    assert long.untestable == one.untestable
    fewer = find_pairs(crews[1:], residual[1:], spread[1:], shuffles=9)
    assert ("a1", "a2") not in [(p.first, p.second) for p in fewer.pairs]
    nothing = find_pairs(crews[:8], residual[:8], spread[:8])
    assert (nothing.stops, nothing.pairs, nothing.untestable) == (8, (), 3)  # a1, a2 and a3, always together


def test_athletes_own_effects_are_taken_out_however_stops_differ() -> None:
    """Without noise a pair's effect comes back exactly, and is nothing where athletes alone explain the times."""
    rng = np.random.default_rng(8)
    crews = mixed_crews(rng, 150, athletes=8)
    own = {f"a{i}": 0.2 * rng.normal() for i in range(8)}
    times = np.array([sum(own[a] for a in crew) for crew in crews])
    spread = rng.uniform(0.2, 2.0, 150)
    pair = np.array([{"a1", "a2"} <= crew for crew in crews])
    assert max(abs(p.slower_s) for p in find_pairs(crews, times, spread, shuffles=9).pairs) < 1e-9
    best = find_pairs(crews, times + 0.5 * pair, spread, shuffles=9).pairs[0]
    assert (best.first, best.second, best.slower_s) == ("a1", "a2", pytest.approx(0.5))


def test_ten_stops_more_than_effects_are_enough() -> None:
    """Eight athletes' effects are told from eighteen stops; with one stop less a pair could be, and is not, tested."""
    crews = mixed_crews(np.random.default_rng(84), 18, athletes=8, size=5)
    residual = np.random.default_rng(1).normal(size=18)
    assert find_pairs(crews, residual, np.ones(18), shuffles=9).pairs
    assert not find_pairs(crews[:-1], residual[:-1], np.ones(17), shuffles=9).pairs
    assert find_pairs([], np.zeros(0), np.zeros(0)).pairs == ()


def test_luck_is_counted_against_the_strongest_partial_correlation_of_each_shuffle() -> None:
    """Freedman & Lane 1983 with numpy's least squares: shuffle residuals, take athletes out again, try every pair."""
    rng = np.random.default_rng(10)
    crews = mixed_crews(rng, 60, athletes=6, size=3)
    planted = (({"a0", "a1"}, 1.5), ({"a2", "a3"}, 1.2))
    residual = rng.normal(size=60) + sum(size * np.array([pair <= crew for crew in crews]) for pair, size in planted)
    own = np.array([[1.0, *(f"a{i}" in crew for i in range(6))] for crew in crews])

    def left_over(values: np.ndarray) -> np.ndarray:
        kept: np.ndarray = values - own @ np.linalg.lstsq(own, values, rcond=None)[0]
        return kept

    found = find_pairs(crews, residual, np.ones(60), seed=3, shuffles=19).pairs
    pairs = {(p.first, p.second): left_over(np.array([{p.first, p.second} <= c for c in crews], float)) for p in found}

    def strength(values: np.ndarray) -> dict[tuple[str, str], float]:
        return {pair: abs(np.corrcoef(own, values)[0, 1]) for pair, own in pairs.items()}

    left = left_over(residual)
    strongest = [max(strength(left_over(left[order])).values()) for order in _orders(60, 3, 19)]
    for p in found:
        own_strength = strength(left)[p.first, p.second]
        assert p.luck == (1 + sum(s >= own_strength for s in strongest)) / 20
    assert len({p.luck for p in found}) > 2
