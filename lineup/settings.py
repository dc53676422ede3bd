"""How hard to compute: one frozen record that every long call takes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Self

from lineup.errors import InputError


@dataclass(frozen=True, slots=True)
class Settings:
    """Effort and randomness of one computation.

    Attributes
    ----------
    time_s : wall-clock budget of a solve, in seconds.
    work : deterministic effort instead of `time_s`; one worker, so the same plan comes out on any machine.
    seed : seed of everything random.
    workers : threads or processes a solve may use.
    scenarios : sampled stops per service and tire; a power of two keeps the Sobol points balanced.
    tolerance : a plan whose gap is at or below this share of its value counts as proven.
    tail : weight λ of the tail mean, overriding weights.toml; `None` keeps the season's own.
    """

    time_s: float = 60.0
    work: int | None = None
    seed: int = 1
    workers: int = 2
    scenarios: int = 1024
    tolerance: float = 0.001
    tail: float | None = None

    def __post_init__(self) -> None:
        checks = (
            (self.time_s > 0, f"--time must be above 0 seconds, not {self.time_s}"),
            (self.work is None or self.work > 0, f"--work must be above 0, not {self.work}"),
            (0 <= self.seed < 2**31, f"--seed must lie between 0 and 2147483647, not {self.seed}"),
            (1 <= self.workers <= 64, f"--workers must lie between 1 and 64, not {self.workers}"),
            (2 <= self.scenarios <= 65536, f"--scenarios must lie between 2 and 65536, not {self.scenarios}"),
            (0 <= self.tolerance < 1, f"--tolerance must be at least 0 and below 1, not {self.tolerance}"),
            (self.tail is None or 0 <= self.tail <= 1, f"--tail must lie between 0 and 1, not {self.tail}"),
        )
        for good, message in checks:
            if not good:
                raise InputError(message)

    def replace(self, **changes: Any) -> Self:
        """Return a copy with some fields changed."""
        return replace(self, **changes)
