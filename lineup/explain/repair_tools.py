"""A clash in hand while repairs are tried: the block under a change, and whether a lineup exists then."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal, Protocol

from lineup.explain.block import Block, Seating
from lineup.explain.grounds import Ground
from lineup.limits import Limit
from lineup.season import Car, Season, Seat

LAST_RESORT = 9

Where = Literal["here", "block", "alike"]  # races of the clash; all; all, every clash about the same limits settled
Prices = Mapping[tuple[Seat, str], float]


class Possible(Protocol):
    """Looks for a lineup of some races of a changed block, one of a small sum of prices where they are given."""

    def __call__(self, block: Block, where: Where, prices: Prices | None = None) -> Seating | None:
        """Look."""


@dataclass(frozen=True)
class Offer:
    """A change, the block under it, and what it concerns. It was tried: a lineup exists under it."""

    text: str
    ids: tuple[str, ...]
    block: Block = field(compare=False)
    effort: int = 0

    @property
    def last_resort(self) -> bool:
        """Whether it gives up what was asked for."""
        return self.effort == LAST_RESORT


@dataclass(frozen=True)
class ClashInHand:
    """A clash, how to look for a lineup under a change, and about what each athlete costs in each seat."""

    block: Block
    grounds: tuple[Ground, ...]
    possible: Possible
    prices: Prices

    @property
    def season(self) -> Season:
        """The season as it stands."""
        return self.block.season

    def of(self, *kinds: str) -> Iterator[Ground]:
        """Grounds of these kinds."""
        return (ground for ground in self.grounds if ground.kind in kinds)

    @property
    def seats(self) -> tuple[Seat, ...]:
        """Seats that must be filled in the clash."""
        return tuple(Seat(*ground.ids) for ground in self.of("need"))

    def with_season(self, touched: Collection[str] | None = (), **facts: object) -> Block:
        """Return the block under changed facts; `touched` athletes may be kept out of other seats (None: anyone)."""
        return self.block.under(self.season.replace(**facts), touched)

    def with_limit(self, limit: Limit) -> Block:
        """Return the block under another figure of one limit."""
        limits = self.season.limits
        return self.with_season(limits=replace(limits, by_name={**limits.by_name, limit.name: limit}))

    def without_limit(self, name: str) -> Block:
        """Return the block without one limit."""
        limits = self.season.limits
        return self.with_season(limits=replace(limits, by_name={n: x for n, x in limits.by_name.items() if n != name}))

    def with_car(self, car: Car) -> Block:
        """Return the block with other facts of one car."""
        return self.with_season(cars={**self.season.cars, car.id: car})

    def without(self, *lifted: Ground) -> Block:
        """Return the block in which these grounds do not bind; what was learned still holds."""
        return self.block.lifting(*lifted)

    def figures(self, lineup: Seating, limit: str) -> list[float]:
        """How far each athlete of a lineup goes beyond a limit of the season as it stands."""
        worked: dict[str, list[str]] = {}
        for seat, athlete in lineup.items():
            worked.setdefault(athlete, []).append(seat.race)
        breaches = (b for a, races in worked.items() for b in self.block.rules.assess(a, races).breaches)
        return [breach.figure for breach in breaches if breach.rule == limit]

    def price_s(self, athlete: str) -> float:
        """About what an athlete costs in the cheapest seat of the clash."""
        return min((self.prices.get((seat, athlete), math.inf) for seat in self.seats), default=0.0)

    def least(
        self,
        loose: Block,
        reached: Callable[[Seating], float | None],
        at: Callable[[float], Block],
        limit: float,
        close: float,
        looks: int,
        prices: Prices | None = None,
    ) -> float | None:
        """Figure nearest to a limit, within `close` or a number of looks, at which the limit leaves a lineup.

        Parameters
        ----------
        loose : the block without the limit.
        reached : how far a lineup goes beyond it; None: not at all.
        at : the block with the limit at a figure.
        """
        lineup = self.possible(loose, "alike", prices)
        best = None if lineup is None else reached(lineup)
        if best is None:
            return None
        too_tight = limit
        for _ in range(looks):
            if abs(best - too_tight) <= close:
                break
            middle = (best + too_tight) / 2
            lineup = self.possible(at(middle), "alike", prices)
            if lineup is None:
                too_tight = middle
            else:
                best = reached(lineup) or middle
        return best

    def tried(self, text: str, ids: tuple[str, ...], changed: Block) -> Iterator[Offer]:
        """Offer the change if a lineup exists under it."""
        if self.possible(changed, "here") is not None and self.possible(changed, "block") is not None:
            yield Offer(text, ids, changed)

    def label(self, kind: str, key: str) -> str:
        """Name and id of a thing."""
        return self.season.label(kind, key)
