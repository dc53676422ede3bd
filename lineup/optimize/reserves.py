"""Who travels as a reserve, and who covers whom: the second stage, after the lineup and apart from its proof.

A small constraint model chooses the reserves of the whole block together: what a lost starter costs, seat by seat,
against places and journeys. Costs are for one loss at a time, each with the season's `absence_chance`.
"""

from __future__ import annotations

from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

from lineup.optimize.cover_ways import OnSite
from lineup.optimize.reserve_model import ReserveModel
from lineup.optimize.run import Stop
from lineup.optimize.travel_choice import TravelChoice, Trips
from lineup.plan import Cover, Plan, Reserve
from lineup.study import Study

MOST_WAYS = 50_000  # of cover in one model; beyond it the races are taken one after the other
LEAST_S = 10.0  # for one race
PROVEN_S = 1e-4  # less than this is left to gain: rounding to ticks, over all that is added up


@dataclass(frozen=True, slots=True)
class Travel:
    """Who travels as a reserve and who covers whom.

    Attributes
    ----------
    cover : one way per filled seat, the cheapest with these reserves; without moves where nobody is on site.
    costs : seconds: "absence" (chance times what a loss costs, over all seats), "reserve_places", "travel" and
        "limit:NAME" of priced limits that the reserves pass over.
    status : "proven", "best_so_far", "impossible" (hard limits on cover and places cannot all be kept; the reserves
        come as near as can be) or "not_found".
    """

    reserves: tuple[Reserve, ...] = ()
    cover: tuple[Cover, ...] = ()
    costs: Mapping[str, float] = field(default_factory=dict)
    status: str = "not_found"
    notes: tuple[str, ...] = ()


def choose_reserves(study: Study, plan: Plan, stop: Stop | None = None) -> Travel:
    """Choose the reserves of a plan's block, and the cheapest cover of each filled seat.

    Reserves keep every hard limit on travel places, nights and travel; could each step in lawfully; and give each
    filled seat that must be filled as many ways of cover as the limit `cover` asks. Once `stop` says so, the best
    choice so far is taken; the first one is always made.
    """
    choice = TravelChoice(study, OnSite(study.pricer, plan))
    chosen, status, notes = _choose(choice, stop)
    if chosen is None:
        return Travel(status="not_found", notes=("no reserves were found in the time given",))
    notes += tuple(choice.tell_short(choice.short(chosen)))
    cover = tuple(choice.best(seat, chosen).cover for race in choice.site.races for seat in choice.site.filled(race))
    reserves = tuple(Reserve(race, athlete) for race, athlete in sorted(chosen))
    return Travel(reserves, cover, choice.costs(chosen), status, notes)


def _choose(choice: TravelChoice, stop: Stop | None) -> tuple[Trips | None, str, tuple[str, ...]]:
    """Best trips found, their status, and a note on how far from the best they may be."""
    if sum(map(len, choice.ways.values())) > MOST_WAYS:
        return _race_by_race(choice)
    model = ReserveModel(choice, choice.site.races, choice.study.settings.time_s, stop=stop)
    chosen, proven = model.solve()
    if chosen is None:
        return None, "not_found", ()
    if choice.cover_is_hard and choice.short(chosen):
        return chosen, "impossible" if proven and not model.possible() else "best_so_far", ()
    return (chosen, "proven", ()) if proven else (chosen, *_proof(choice, chosen, model.bound_s))


def _race_by_race(choice: TravelChoice) -> tuple[Trips, str, tuple[str, ...]]:
    """Choose the reserves of one race after the other, the earlier trips made.

    No choice for the block costs less than the cheapest of every race on its own, with all that a trip could save
    after an earlier one.
    """
    races, settings = choice.site.races, choice.study.settings
    seconds = max(LEAST_S, settings.time_s / len(races))
    alone = [ReserveModel(choice, (race,), seconds, on_its_own=True) for race in races]
    with ThreadPoolExecutor(settings.workers) as pool:
        found = list(pool.map(ReserveModel.solve, alone))
    chosen: Trips = frozenset()
    for race, (trips, _) in zip(races, found, strict=True):
        if trips is None or not choice.apart(trips, chosen):
            trips, _ = ReserveModel(choice, (race,), seconds, chosen).solve()
        chosen |= trips or frozenset()
    bounds = [model.bound_s for model in alone if model.bound_s is not None]
    bound_s = sum(bounds) if len(bounds) == len(races) else None
    if choice.cover_is_hard and choice.short(chosen):
        return chosen, "best_so_far", ()
    return chosen, *_proof(choice, chosen, bound_s)


def _proof(choice: TravelChoice, chosen: Trips, bound_s: float | None) -> tuple[str, tuple[str, ...]]:
    if bound_s is None:
        return "best_so_far", ()
    dearer_s = choice.cost_s(chosen) - bound_s
    if dearer_s <= PROVEN_S:
        return "proven", ()
    return "best_so_far", (f"reserves and cover: no other choice costs {dearer_s + 0.005:.2f} s less",)
