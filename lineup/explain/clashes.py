"""Why a block has no lineup: smallest sets of facts that cannot all hold, and what would make a lineup possible.

The facts are the grounds of `grounds.py`. A smallest set comes from the assumptions that the solver needed to refute
them, shrunk by taking away one fact after another (deletion: Chinneck & Dravnieks, ORSA J. Computing 3, 1991; citation
from memory), first in one race, then in one weekend, then in the block, so that explanations stay local. What the
solver calls impossible is looked at again with its presolve off before it is told.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field
from time import monotonic

from lineup.explain.block import Active, Block, Seating
from lineup.explain.clash_model import Look, look
from lineup.explain.crew_bounds import CrewBounds
from lineup.explain.grounds import DEMANDS, Ground, tell
from lineup.explain.part_prices import seat_prices, stops_s
from lineup.explain.repair_tools import Offer, Prices, Where
from lineup.explain.repairs import offers
from lineup.plan import Assignment, Clash, Fact, Repair
from lineup.rules import RULES
from lineup.study import Study

MOST_CLASHES = 12
MOST_REPAIRS = 6  # told per clash
MOST_SHARES = 3  # of the time left that one clash's repairs may take a part of
PATIENCE_S = 24.0  # for one search, repairs included; what is found by then is told
ALONE = " (this alone makes a lineup possible)"
NOT_SHOWN = Fact("note", "time ran out before this was shown to be the smallest set of facts")


def find_clashes(study: Study) -> tuple[Clash, ...]:
    """Find the smallest sets of facts that leave no lineup, with repairs.

    Returns
    -------
    One clash per change that is needed, local ones first; empty when a lineup exists after all. Of each clash's facts
    any one can be taken away and the others can all hold. A repair was solved: with it, and with the other clashes
    out of the way, the whole block has a lineup; `cost_s` is what the stops of the clash's races cost then beyond
    those under the cheapest of its repairs (about: near-best lineups), None where stops cannot be forecast.
    """
    search = _Search(study, _block(study), monotonic() + PATIENCE_S)
    search.run()
    return search.explain()


def any_lineup(study: Study) -> tuple[Assignment, ...] | None:
    """Return some lineup that keeps every hard limit, or None when there is none or none was found in time."""
    block = _block(study)
    lineup = look(block, block.races, _everything, study.settings.seed).lineup
    if lineup is None:
        return None
    return tuple(sorted(Assignment(s.race, s.car, s.position, athlete) for s, athlete in lineup.items()))


@dataclass(frozen=True)
class _Found:
    """A smallest clash, the races it was found in, and the demand given up to look beyond it."""

    grounds: frozenset[Ground]
    races: tuple[str, ...]
    given_up: Ground
    smallest: bool


@dataclass(frozen=True)
class Tried:
    """A change that settles a clash: whether it settles all of them, and what the stops of the races cost then."""

    offer: Offer
    alone: bool
    stops_s: float | None


@dataclass(eq=False)
class _Search:
    study: Study
    block: Block
    deadline: float
    found: list[_Found] = field(default_factory=list)
    base: Seating | None = None  # a lineup of the whole block without the demands given up

    @property
    def given_up(self) -> frozenset[Ground]:
        return frozenset(found.given_up for found in self.found)

    def run(self) -> None:
        """Look in ever larger parts of the block; give up one demand of each clash and look again."""
        for races in self._parts():
            while len(self.found) < MOST_CLASHES and monotonic() < self.deadline:
                clash = self._clash_in(races)
                if clash is None:
                    break
                self.found.append(clash)

    def _parts(self) -> Iterator[tuple[str, ...]]:
        races, season = self.block.races, self.block.season
        parts: list[tuple[str, ...]] = [(race,) for race in races]
        parts += [tuple(r for r in races if season.races[r].weekend == w) for w in self.block.weekends]
        yield from dict.fromkeys([*parts, races])

    def _clash_in(self, races: tuple[str, ...]) -> _Found | None:
        given_up = self.given_up
        first = self.look(races, lambda ground: ground not in given_up)
        if first.lineup is not None:
            self.base = first.lineup if races == self.block.races else None
            return None
        for presolve in (True, False):
            refuted = self.look(races, lambda ground: ground not in given_up, presolve, assume=True)
            if refuted.lineup is not None or not refuted.sure:
                return None  # the second look finds a lineup: the first one was wrong
            part = _races_of(refuted.core, races)
            grounds, smallest = self._shrink(part, refuted.core, presolve)
            second = self.look(part, grounds.__contains__, presolve=False)
            if second.lineup is None and second.sure:
                return _Found(grounds, part, self._to_give_up(grounds), smallest)
        return None

    def _shrink(
        self, races: tuple[str, ...], core: frozenset[Ground], presolve: bool
    ) -> tuple[frozenset[Ground], bool]:
        """Take away one ground after another for as long as the rest cannot hold; limits first, demands last."""
        kept, smallest = set(core), True
        for ground in sorted(core, key=lambda ground: ground.order, reverse=True):
            kept.discard(ground)
            rest = self.look(races, frozenset(kept).__contains__, presolve)
            if rest.lineup is not None or not rest.sure:
                kept.add(ground)
                smallest = smallest and rest.sure
        return frozenset(kept), smallest

    def _to_give_up(self, grounds: Collection[Ground]) -> Ground:
        """Demand given up: a pin before a seat, the seat of the least important car before others, late ones first."""
        cars, order = self.block.season.cars, self.block.races

        def weight(ground: Ground) -> tuple[bool, float, int, Ground]:
            if ground.kind != "need":
                return False, 0.0, 0, ground
            return True, cars[ground.ids[1]].priority, -order.index(ground.ids[0]), ground

        return min((ground for ground in grounds if ground.kind in DEMANDS), key=weight)

    def look(self, races: Sequence[str], active: Active, presolve: bool = True, assume: bool = False) -> Look:
        return look(self.block, races, active, self.study.settings.seed, presolve, assume)

    def explain(self) -> tuple[Clash, ...]:
        """Put the clashes into words and add the repairs that hold.

        One that shares facts with a clash before it is left out when a repair of that one settles the whole block:
        it is the same shortage, seen at the next seat. Of that one only repairs that settle the whole are told.
        """
        told: list[tuple[_Found, list[Tried]]] = []
        hidden: set[Ground] = set()
        for number, found in enumerate(self.found):
            if found.grounds & hidden:
                continue
            share = (self.deadline - monotonic()) / min(len(self.found) - number, MOST_SHARES)
            repairs = list(self._repairs(found, monotonic() + share))
            alone = [tried for tried in repairs if tried.alone]
            if any(not tried.offer.last_resort for tried in alone):
                hidden |= found.grounds
            hides = any(found.grounds & hidden & other.grounds for other in self.found if other is not found)
            told.append((found, alone if hides else repairs))
        return tuple(self._clash(found, repairs, len(told) > 1) for found, repairs in told)

    def _clash(self, found: _Found, repairs: Sequence[Tried], one_of_many: bool) -> Clash:
        facts = tell(self.block.season, self.block.rules, found.grounds)
        return Clash(facts if found.smallest else (*facts, NOT_SHOWN), _ranked(repairs, one_of_many))

    def _repairs(self, found: _Found, until: float) -> Iterator[Tried]:
        """Yield changes that settle a clash, whether each settles all of them, and the stops of these races then."""
        alike = [other for other in self.found if _limits_of(other) & _limits_of(found)]
        prices = seat_prices(self.study.pricer, self.block, self.block.races)

        def possible(block: Block, where: Where, prices: Prices | None = None) -> Seating | None:
            if where == "block":
                return self._whole(block, found.races, [found], until)
            if where == "here":
                return self._lineup(block, found.races, [found], until, prices)
            return self._lineup(block, self.block.races, [found, *alike], until, prices)

        for count, offer in enumerate(offers(self.block, found.grounds, possible, prices)):
            alone = len(self.found) > 1 and self._settles_all(offer.block, until)
            yield Tried(offer, alone, self._stops_s(offer, found, until, prices))
            if count + 1 == MOST_REPAIRS or monotonic() > until:
                return

    def _stops_s(self, offer: Offer, found: _Found, until: float, prices: Prices) -> float | None:
        """Cost of the stops of a clash's races under a change; nothing compares with a car left out."""
        best = None if offer.last_resort else self._lineup(offer.block, found.races, [found], until, prices)
        return None if best is None else stops_s(self.study.pricer, offer.block, best, found.races)

    def _lineup(
        self,
        block: Block,
        races: Sequence[str],
        settled: Sequence[_Found],
        until: float,
        prices: Prices | None = None,
        kept: Seating | None = None,
    ) -> Seating | None:
        """Lineup of a changed block in which all clashes but these have given up a demand."""
        given_up = self.given_up - {found.given_up for found in settled}
        seed = self.study.settings.seed
        return look(
            block, races, lambda ground: ground not in given_up, seed, prices=prices, until=until, kept=kept
        ).lineup

    def _whole(self, block: Block, races: Sequence[str], settled: Sequence[_Found], until: float) -> Seating | None:
        """Lineup of the whole block; first looked for by changing the lineup at hand in these races only."""
        if self.base is not None:
            kept = {seat: athlete for seat, athlete in self.base.items() if seat.race not in races}
            near = self._lineup(block, self.block.races, settled, until, kept=kept)
            if near is not None:
                return near
        return self._lineup(block, self.block.races, settled, until)

    def _settles_all(self, block: Block, until: float) -> bool:
        """Whether the whole block has a lineup; the parts where clashes lie are looked at first."""
        parts = dict.fromkeys(found.races for found in self.found)
        if any(self._lineup(block, races, self.found, until) is None for races in parts):
            return False
        return self._whole(block, _joined(self.block, self.found), self.found, until) is not None


def _limits_of(found: _Found) -> set[Ground]:
    """Limits of a clash that are lifted for everyone, for a car or for a race at once."""
    schedules = {Ground(ground.kind, ()) for ground in found.grounds if ground.kind in RULES}
    return schedules | {ground for ground in found.grounds if ground.kind in ("slowest", "travel_places")}


def _joined(block: Block, found: Sequence[_Found]) -> tuple[str, ...]:
    """Races of several clashes, in order of report."""
    return tuple(race for race in block.races if any(race in clash.races for clash in found))


def _ranked(found: Sequence[Tried], one_of_many: bool) -> tuple[Repair, ...]:
    """Put repairs of less effort first, of equal effort those whose stops cost less."""
    least = min((tried.stops_s for tried in found if tried.stops_s is not None), default=0.0)
    ranked = sorted(found, key=lambda t: (t.offer.effort, math.inf if t.stops_s is None else t.stops_s))
    return tuple(
        Repair(
            tried.offer.text + (ALONE if tried.alone and one_of_many else ""),
            tried.offer.ids,
            None if tried.stops_s is None else tried.stops_s - least,
        )
        for tried in ranked
    )


def _block(study: Study) -> Block:
    return Block(study.season, study.weekends, CrewBounds(study.season, lambda: study.model))


def _everything(_: Ground) -> bool:
    return True


def _races_of(grounds: Collection[Ground], races: tuple[str, ...]) -> tuple[str, ...]:
    """Races in which the grounds ask for anyone; all of them when one speaks of no race."""
    named = set()
    for ground in grounds:
        if ground.kind in DEMANDS:
            race = {"need": 0, "must": 2, "starts_at_least": None}[ground.kind]
            if race is None or not ground.ids[race]:
                return races
            named.add(ground.ids[race])
    return tuple(race for race in races if race in named)
