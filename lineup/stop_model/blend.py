"""Mean and tail mean of sampled stop times, blended, and the scenario weights that give them."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from lineup.errors import InputError

Floats = NDArray[np.float64]


def tail_mean(stop_times: Floats, share: float) -> Floats:
    """Mean of the worst `share` of scenarios, the one on the boundary counted fractionally (CVaR).

    Parameters
    ----------
    stop_times : seconds, shape (..., scenarios).
    share : above 0, at most 1.

    Returns
    -------
    Seconds, shape (...).

    Notes
    -----
    Rockafellar & Uryasev, Conditional value-at-risk for general loss distributions (2002), for atoms of equal weight.
    """
    scenarios = stop_times.shape[-1]
    count = _tail_count(scenarios, share)
    touched = math.ceil(count)
    worst = np.partition(stop_times, scenarios - touched)[..., scenarios - touched :]
    beyond_boundary = worst[..., 1:].sum(axis=-1)
    return np.asarray((beyond_boundary + (count - touched + 1) * worst[..., 0]) / count)


def blend(stop_times: Floats, tail: float, tail_share: float) -> Floats:
    """(1 - λ) mean + λ tail mean of the worst `tail_share`, with λ = `tail`; seconds, shape (...)."""
    mean = stop_times.mean(axis=-1)
    if tail == 0.0:
        return np.asarray(mean)
    return np.asarray((1.0 - tail) * mean + tail * tail_mean(stop_times, tail_share))


def blend_weights(stop_times: Floats, tail: float, tail_share: float) -> Floats:
    """Weight of each scenario such that weights times stop times give `blend`; they sum to 1, shape (scenarios,).

    Among all weights of that form these give the largest sum, so with them any crew's blend is bounded from below.
    """
    scenarios = len(stop_times)
    weights = np.full(scenarios, (1.0 - tail) / scenarios)
    if tail == 0.0:
        return weights
    count = _tail_count(scenarios, tail_share)
    worst_first = np.argsort(-stop_times, kind="stable")
    in_tail = np.clip(count - np.arange(scenarios), 0.0, 1.0)
    weights[worst_first] += tail * in_tail / count
    return weights


def _tail_count(scenarios: int, share: float) -> float:
    if not 0.0 < share <= 1.0:
        raise InputError(f"tail_share must lie above 0 and at most at 1, not {share}")
    return share * scenarios
