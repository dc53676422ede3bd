"""The state of one solve: best lineup, best bound, clock, progress."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

import numpy as np

from lineup.optimize.bench import Bench
from lineup.optimize.frame import Lineup
from lineup.settings import Settings

LEAST_GAP = 1e-5  # floored coefficients alone leave a gap of about this size between value and bound


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a solve has come: best value and bound (seconds of cost), gap, wall seconds, what it is doing."""

    value_s: float | None
    bound_s: float | None
    gap: float | None
    seconds: float
    phase: str


OnProgress = Callable[[Progress], None]
Stop = Callable[[], bool]


def gap_of(value: float | None, bound: float | None) -> float | None:
    """(value - bound) / |value|, never negative; None where either is missing."""
    if value is None or bound is None:
        return None
    return max(0.0, value - bound) / max(abs(value), 1e-9)


@dataclass(eq=False)
class Run:
    """The state of one solve. Only lineups that keep every rule become `best`; bounds only ever rise."""

    bench: Bench
    settings: Settings
    on_progress: OnProgress | None = None
    stop: Stop | None = None
    best: Lineup | None = None
    value: float | None = None
    bound: float | None = None
    impossible: bool = False
    phase: str = "start"
    began: float = field(default_factory=time.monotonic)

    @property
    def seconds(self) -> float:
        """Wall seconds since the solve began."""
        return time.monotonic() - self.began

    @property
    def left(self) -> float:
        """Wall seconds left; without end when effort is counted instead."""
        return float("inf") if self.settings.work is not None else self.settings.time_s - self.seconds

    @property
    def gap(self) -> float | None:
        """Gap between best value and bound."""
        return gap_of(self.value, self.bound)

    @property
    def proven(self) -> bool:
        """Whether the gap is within the tolerance."""
        return self.gap is not None and self.gap <= max(self.settings.tolerance, LEAST_GAP)

    @property
    def stopped(self) -> bool:
        """Whether the caller asked to stop."""
        return self.stop is not None and self.stop()

    @property
    def over(self) -> bool:
        """Whether there is nothing left to do, or no time to do it."""
        return self.impossible or self.proven or self.left <= 0 or self.stopped

    def enter(self, phase: str) -> None:
        """Begin another kind of work."""
        self.phase = phase
        self.report()

    def report(self) -> None:
        """Tell the caller how far it is."""
        if self.on_progress is not None:
            self.on_progress(Progress(self.value, self.bound, self.gap, self.seconds, self.phase))

    def offer(self, lineup: Lineup) -> bool:
        """Take a lineup if it keeps every rule and costs less than the best so far."""
        if not self.bench.keeps_rules(lineup):
            return False
        value = self.bench.value(lineup)
        if self.value is not None and value >= self.value - 1e-9:
            return False
        self.best, self.value = lineup.copy(), value
        self.report()
        return True

    def offer_all(self, lineups: Iterable[Lineup]) -> int:
        """Offer several lineups; count those taken."""
        return sum(self.offer(lineup) for lineup in lineups)

    def raise_bound(self, bound: float) -> None:
        """Take a bound if it is better than the one so far; the next report tells it."""
        if np.isfinite(bound) and (self.bound is None or bound > self.bound + 1e-9):
            self.bound = bound
