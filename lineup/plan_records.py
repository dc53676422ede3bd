"""The form of a plan file ("lineup-plan/1"), part by part, as pydantic checks it."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

from lineup.plan import FORMAT, Status
from lineup.season import Seat


class Record(BaseModel):
    """A part of a plan file; keys it does not know are let pass."""

    model_config = ConfigDict(frozen=True, extra="ignore", populate_by_name=True, allow_inf_nan=False)


class SeatRecord(Record):
    """A seat."""

    race: str
    car: str
    position: str

    def fact(self) -> Seat:
        """Return the seat."""
        return Seat(self.race, self.car, self.position)


class AssignmentRecord(SeatRecord):
    """An athlete in a seat."""

    athlete: str


class ReserveRecord(Record):
    """An athlete who travels without a seat."""

    race: str
    athlete: str


class MoveRecord(Record):
    """A move from seat to seat; null is the bench."""

    athlete: str
    start: SeatRecord | None = Field(default=None, alias="from")
    end: SeatRecord | None = Field(default=None, alias="to")


class CoverRecord(SeatRecord):
    """What happens if the starter of a seat is lost."""

    moves: tuple[MoveRecord, ...] = ()
    open: SeatRecord | None = None


class EntryRecord(Record):
    """A forecast stop."""

    race: str
    car: str
    service: str
    mean_s: float
    median_s: float
    p90_s: float
    tail_mean_s: float
    clean_share: float
    critical_share: dict[str, float] = Field(default_factory=dict)


class FactRecord(Record):
    """A fact of a clash."""

    kind: str
    text: str
    ids: tuple[str, ...] = ()


class RepairRecord(Record):
    """A repair of a clash."""

    text: str
    ids: tuple[str, ...] = ()
    cost_s: float | None = None


class ClashRecord(Record):
    """A clash."""

    facts: tuple[FactRecord, ...]
    repairs: tuple[RepairRecord, ...] = ()


class PlanRecord(Record):
    """A whole plan file."""

    format: str = FORMAT
    status: Status | None = None
    assignments: tuple[AssignmentRecord, ...] = ()
    reserves: tuple[ReserveRecord, ...] = ()
    cover: tuple[CoverRecord, ...] = ()
    entries: tuple[EntryRecord, ...] = ()
    costs: dict[str, float] = Field(default_factory=dict)
    cover_costs: dict[str, float] = Field(default_factory=dict)
    cover_status: str | None = None
    value_s: float | None = None
    bound_s: float | None = None
    gap: float | None = None
    tolerance: float | None = None
    fresh_value_s: float | None = None
    se_s: float | None = None
    seed: int | None = None
    scenarios: int | None = None
    tail: float | None = None
    weekends: tuple[str, ...] = ()
    fingerprints: dict[str, str] = Field(default_factory=dict)
    clash: tuple[ClashRecord, ...] = ()
    notes: tuple[str, ...] = ()
