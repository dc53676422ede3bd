"""Pairs of athletes whose stops together are slower or quicker than the model, which knows no pairs, expects."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from lineup.season import Season
from lineup.skills import SkillEstimates
from lineup.stop_model.past_stops import Forecaster, past_stops

Floats = NDArray[np.float64]

LEAST_TOGETHER = 5  # stops of a pair below which nothing can be said
LEAST_APART = 1.0  # effective stops that tell a pair's effect from the two athletes' own
LEAST_FREEDOM = 10  # stops beyond the number of effects fitted
SHUFFLES = 999
UNLIKELY = 0.05


@dataclass(frozen=True, slots=True)
class PairPattern:
    """One pair: stops together, seconds slower together than their own records say, and how likely luck alone is.

    `luck`: chance that the strongest of all tested pairs would look at least this strong if pairs did not matter.
    """

    first: str
    second: str
    together: int
    slower_s: float
    luck: float


@dataclass(frozen=True, slots=True)
class PairPatterns:
    """Pairs tested, the least likely to be luck first; `untestable` pairs were hardly ever seen apart."""

    stops: int
    pairs: tuple[PairPattern, ...]
    untestable: int
    text: str = ""


def pair_patterns(season: Season, estimates: SkillEstimates, seed: int = 1, scenarios: int = 1024) -> PairPatterns:
    """Look for pairs in the residuals of the stops of stops.csv whose crews are known."""
    stops, times, _ = Forecaster(season, estimates, seed, scenarios).forecast(past_stops(season).stops)
    total = np.array([stop.total_s for stop in stops])
    crews = [frozenset(stop.crew.values()) for stop in stops]
    found = find_pairs(crews, total - times.mean(axis=1), times.std(axis=1), seed)
    return replace(found, text=_text(found, season))


def find_pairs(
    crews: Sequence[frozenset[str]], residual_s: Floats, spread_s: Floats, seed: int = 1, shuffles: int = SHUFFLES
) -> PairPatterns:
    """Test every pair for an effect beyond both athletes' own.

    Each athlete's own effect is fitted to the residuals and taken out, of the pairs' indicators too. What is left
    is shuffled to see how strong the strongest of all pairs gets by luck alone, which corrects for looking at many
    pairs at once (Freedman & Lane 1983 for shuffling reduced residuals, Westfall & Young 1993 for the strongest of
    many; both from memory).

    Parameters
    ----------
    crews : athletes of each stop.
    residual_s : time less forecast, seconds, shape (stops,).
    spread_s : forecast standard deviation, seconds, shape (stops,); weighs stops of different services alike.
    """
    own = _indicators(crews, sorted({(athlete,) for crew in crews for athlete in crew}))
    own = np.column_stack([np.ones(len(crews)), own]) / spread_s[:, None]
    candidates = _frequent_pairs(crews)
    basis = _basis(own)
    if len(crews) - basis.shape[1] < LEAST_FREEDOM or not candidates:
        return PairPatterns(len(crews), (), len(candidates))

    def without_own(values: Floats) -> Floats:
        left: Floats = values - basis @ (basis.T @ values)
        return left

    together = without_own(_indicators(crews, candidates) / spread_s[:, None])
    apart = (together**2 * spread_s.mean() ** 2).sum(axis=0)
    testable = apart >= LEAST_APART
    pairs = [pair for pair, good in zip(candidates, testable, strict=True) if good]
    together = together[:, testable]
    left = without_own(residual_s / spread_s)
    effect_s = together.T @ left / (together**2).sum(axis=0)
    direction = together / np.linalg.norm(together, axis=0)
    strength = np.abs(direction.T @ left) / np.linalg.norm(left)
    luck = _luck(strength, [without_own(left[order]) for order in _orders(len(left), seed, shuffles)], direction)
    counts = [sum(set(pair) <= crew for crew in crews) for pair in pairs]
    patterns = [
        PairPattern(*pair, count, float(slower), float(chance))
        for pair, count, slower, chance in zip(pairs, counts, effect_s, luck, strict=True)
    ]
    ordered = tuple(sorted(patterns, key=lambda p: (p.luck, -abs(p.slower_s))))
    return PairPatterns(len(crews), ordered, int((~testable).sum()))


def _frequent_pairs(crews: Sequence[frozenset[str]]) -> list[tuple[str, str]]:
    """Pairs with enough stops together."""
    counts = Counter(pair for crew in crews for pair in combinations(sorted(crew), 2))
    return sorted(pair for pair, count in counts.items() if count >= LEAST_TOGETHER)


def _indicators(crews: Sequence[frozenset[str]], groups: Sequence[tuple[str, ...]]) -> Floats:
    """Whether all of a group were in a stop, shape (stops, groups)."""
    found = [[float(set(group) <= crew) for group in groups] for crew in crews]
    return np.array(found).reshape(len(crews), len(groups))


def _basis(columns: Floats) -> Floats:
    """Orthonormal basis of the space of the columns."""
    if not columns.size:
        return columns
    left, size, _ = np.linalg.svd(columns, full_matrices=False)
    basis: Floats = left[:, size > 1e-9 * size.max()]
    return basis


def _orders(count: int, seed: int, shuffles: int) -> Iterable[NDArray[np.intp]]:
    rng = np.random.default_rng(seed)
    return (rng.permutation(count) for _ in range(shuffles))


def _luck(strength: Floats, shuffled: Sequence[Floats], direction: Floats) -> Floats:
    """Chance that the strongest pair of shuffled residuals is at least as strong as each pair, shape (pairs,)."""
    if not strength.size:
        return strength
    strongest = np.array([(np.abs(direction.T @ left) / np.linalg.norm(left)).max() for left in shuffled])
    reached: Floats = (strongest[:, None] >= strength).sum(axis=0)
    return (1.0 + reached) / (1.0 + len(strongest))


def _text(found: PairPatterns, season: Season) -> str:
    """Say what was found in one or two sentences."""
    if not found.pairs:
        return (
            f"{found.stops} stops of stops.csv name their whole crew: too few, or the same athletes always together, "
            f"to tell whether pairs matter."
        )
    best = found.pairs[0]
    names = " and ".join(season.label("athletes", athlete) for athlete in (best.first, best.second))
    pace = "slower" if best.slower_s > 0 else "quicker"
    tested = f"Of {len(found.pairs)} pairs tested on {found.stops} stops"
    if found.untestable:
        tested += f" ({found.untestable} more were hardly ever seen apart)"
    shown = f"{names}: {abs(best.slower_s):.2f} s {pace} together than their own records say"
    shown += f", over {best.together} stops"
    if best.luck < UNLIKELY:
        return f"{tested}, one stands out: {shown}. Luck alone would show a pair as strong with chance {best.luck:.3f}."
    return (
        f"{tested}, none stands out. The strongest is {shown}; among so many pairs luck alone shows one as strong "
        f"with chance {best.luck:.2f}."
    )
