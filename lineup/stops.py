"""From skill estimates to sampled stops: one bank per service and kind of tire."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from lineup.bank import ServiceBank
from lineup.blend import blend, blend_weights, tail_mean

__all__ = ["ServiceBank", "StopModel", "blend", "blend_weights", "tail_mean"]


@dataclass(frozen=True, eq=False)
class StopModel:
    """Banks by (service, tire), with the seed and the number of scenarios they were sampled with."""

    banks: Mapping[tuple[str, str], ServiceBank]
    seed: int
    scenarios: int
