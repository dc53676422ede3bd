"""Reads limits and weights."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, ValidationError

from lineup.limits import Limits, limits_from_toml
from lineup.read.cells import CostSeconds, PositiveShare, Share
from lineup.read.notes import Notes, nearest
from lineup.read.source import Source
from lineup.read.tables import explain
from lineup.season import Weights

_DEFAULTS = Weights()


class WeightsKeys(BaseModel):
    """Keys of weights.toml."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    crew_change_s: CostSeconds = _DEFAULTS.crew_change_s
    not_standing_s: CostSeconds = _DEFAULTS.not_standing_s
    travel_hour_s: CostSeconds = _DEFAULTS.travel_hour_s
    uneven_s: CostSeconds = _DEFAULTS.uneven_s
    development_start_s: CostSeconds = _DEFAULTS.development_start_s
    priced_travel_place_s: CostSeconds = _DEFAULTS.priced_travel_place_s
    absence_chance: Share = _DEFAULTS.absence_chance
    tail: Share = _DEFAULTS.tail
    tail_share: PositiveShare = _DEFAULTS.tail_share
    keep_chance: Share = _DEFAULTS.keep_chance


def read_weights(source: Source, notes: Notes) -> Weights:
    """Read the weights; without a file, the defaults."""
    if "weights" not in source.documents:
        return Weights()
    file, data = source.documents["weights"]
    try:
        return Weights(**WeightsKeys.model_validate(data).model_dump())
    except ValidationError as error:
        for detail in error.errors(include_url=False):
            key = str(detail["loc"][0])
            message, mend = explain(detail)
            if detail["type"] == "extra_forbidden":
                mend = nearest(key, [name for name in WeightsKeys.model_fields if name not in data], mend)
            notes.problem(file, None, key, data.get(key), message, mend)
    return Weights()


def read_limits(source: Source, notes: Notes) -> Limits:
    """Read the limits; without a file, none binds."""
    if "limits" not in source.documents:
        return Limits()
    file, data = source.documents["limits"]
    limits, problems = limits_from_toml(data)
    for key, value, message, mend in problems:
        notes.problem(file, None, key, value, message, mend if mend[-1:] in ".?!" else f"{mend}.")
    return limits
