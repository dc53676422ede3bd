"""A plan: who works which seat, who travels, who covers whom, and how good that is proven to be."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Literal, Self

from lineup.season import Seat

FORMAT = "lineup-plan/1"
Status = Literal["proven", "best_so_far", "impossible", "not_found"]


@dataclass(frozen=True, slots=True, order=True)
class Assignment:
    """An athlete in a seat."""

    race: str
    car: str
    position: str
    athlete: str

    @property
    def seat(self) -> Seat:
        """The seat that is filled."""
        return Seat(self.race, self.car, self.position)


@dataclass(frozen=True, slots=True, order=True)
class Reserve:
    """An athlete who travels to a race without a seat in it."""

    race: str
    athlete: str


@dataclass(frozen=True, slots=True)
class Move:
    """An athlete leaves `start` (None: from the bench) for `end` (None: to the bench)."""

    athlete: str
    start: Seat | None
    end: Seat | None


@dataclass(frozen=True, slots=True)
class Cover:
    """What happens if the starter of a seat is lost: the chain of moves, and the seat left open by it, if any."""

    seat: Seat
    moves: tuple[Move, ...]
    open: Seat | None = None


@dataclass(frozen=True, slots=True)
class EntryForecast:
    """Forecast stop of one crew in one service; seconds, shares between 0 and 1."""

    race: str
    car: str
    service: str
    mean_s: float
    median_s: float
    p90_s: float
    tail_mean_s: float
    clean_share: float
    critical_share: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Fact:
    """One fact that takes part in a clash, in plain words."""

    kind: str
    text: str
    ids: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Repair:
    """One change that makes a plan possible again, verified by solving."""

    text: str
    ids: tuple[str, ...] = ()
    cost_s: float | None = None


@dataclass(frozen=True, slots=True)
class Clash:
    """A smallest set of facts that cannot all hold, with repairs, cheapest first."""

    facts: tuple[Fact, ...]
    repairs: tuple[Repair, ...] = ()


@dataclass(frozen=True)
class Plan:
    """A lineup with its proof. Values in seconds of weighted cost; `gap` is (value - bound) / |value|.

    `tail` is the weight λ of the tail mean where it is not the season's own.
    """

    status: Status
    assignments: tuple[Assignment, ...] = ()
    reserves: tuple[Reserve, ...] = ()
    cover: tuple[Cover, ...] = ()
    entries: tuple[EntryForecast, ...] = ()
    costs: Mapping[str, float] = field(default_factory=dict)
    cover_costs: Mapping[str, float] = field(default_factory=dict)
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
    fingerprints: Mapping[str, str] = field(default_factory=dict)
    clash: tuple[Clash, ...] = ()
    notes: tuple[str, ...] = ()

    def replace(self, **changes: Any) -> Self:
        """Return a copy with some fields changed."""
        return replace(self, **changes)

    def athlete_in(self, seat: Seat) -> str | None:
        """Who works this seat, or None."""
        return self.by_seat.get(seat)

    @cached_property
    def by_seat(self) -> Mapping[Seat, str]:
        """Athlete of each filled seat."""
        return {a.seat: a.athlete for a in self.assignments}

    def crew(self, race: str, car: str) -> Mapping[str, str]:
        """Athlete of each filled position of one entry."""
        return self.crews.get((race, car), {})

    @cached_property
    def crews(self) -> Mapping[tuple[str, str], Mapping[str, str]]:
        """Athlete of each filled position, by race and car."""
        found: dict[tuple[str, str], dict[str, str]] = {}
        for a in self.assignments:
            found.setdefault((a.race, a.car), {})[a.position] = a.athlete
        return found
