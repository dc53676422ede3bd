"""Repairs of what was decided: pins, travel places, limits, what a car allows, cars that are entered."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

from lineup.explain.block import Seating
from lineup.explain.grounds import Ground, of_pin, tell
from lineup.explain.repair_tools import ClashInHand, Offer
from lineup.limits import KNOWN_LIMITS, Limit
from lineup.rules import RULES
from lineup.season import Car

MOST_TRIES = 8  # steps tried for one limit
HOURS_CLOSE, HOURS_LOOKS = 0.25, 6  # how near to the least lift the search goes, in how many looks at most
SECONDS_CLOSE, SECONDS_LOOKS = 0.05, 1  # the first look is for a quick crew, so it is near


def taken_back_pins(clash: ClashInHand) -> Iterator[Offer]:
    """Take back one pin of the clash."""
    for ground in clash.of("must", "never", "pair", "apart"):
        kept = tuple(pin for pin in clash.season.pins if of_pin(pin) != ground)
        (fact,) = tell(clash.season, clash.block.rules, [ground])
        yield from clash.tried(
            f"take back the pin: {fact.text}", fact.ids, clash.with_season((ground.ids[0],), pins=kept)
        )


def more_places(clash: ClashInHand) -> Iterator[Offer]:
    """Find as few more travel places as will do, for this clash and others about the same places."""
    for ground in clash.of("travel_places"):
        (race,) = ground.ids
        places = clash.block.places(race) or 0
        for more in range(1, MOST_TRIES + 1):
            wider = replace(clash.season.races[race], travel_places=places + more)
            changed = clash.with_season(races={**clash.season.races, race: wider})
            if clash.possible(changed, "alike") is not None:
                text = f"find {more} more travel place{'s' * (more > 1)} to {clash.label('races', race)}"
                yield from clash.tried(f"{text} ({places + more} instead of {places})", (race,), changed)
                break


def lifted_limits(clash: ClashInHand) -> Iterator[Offer]:
    """Lift a limit for everyone by as little as makes a lineup possible; published limits after one's own."""
    limits = clash.season.limits.by_name
    names = {ground.kind for ground in clash.grounds} & set(RULES) | {"starts" for _ in clash.of("starts_at_least")}
    for name in sorted(names, key=lambda name: (limits[name].preset is not None, name)):
        if name == "driving_hours":
            yield from _passengers(clash)
        elif KNOWN_LIMITS[name][1] == "h":
            yield from _lift_hours(clash, limits[name])
        else:
            yield from _lift_count(clash, limits[name], "at_least" if any(clash.of("starts_at_least")) else "at_most")


def _lift_count(clash: ClashInHand, limit: Limit, side: str) -> Iterator[Offer]:
    figure: float = getattr(limit, side)
    for step in range(1, MOST_TRIES + 1):
        new = figure + step if side == "at_most" else figure - step
        looser = _at(limit, side, new)
        if new < 0 or (offers := list(clash.tried("", (limit.name,), clash.with_limit(looser)))):
            break
    else:
        return
    yield from (replace(offer, text=_lifted(limit, figure, new)) for offer in offers)


def _lift_hours(clash: ClashInHand, limit: Limit) -> Iterator[Offer]:
    """Lift a limit in hours by about as little as leaves a lineup."""
    side = "at_most" if limit.at_most is not None else "at_least"
    worst, figure = (max, limit.at_most) if limit.at_most is not None else (min, limit.at_least)
    if figure is None:
        return

    def reached(lineup: Seating) -> float | None:
        return worst(clash.figures(lineup, limit.name), default=None)

    best = clash.least(
        clash.without_limit(limit.name),
        reached,
        lambda at: clash.with_limit(_at(limit, side, at)),
        figure,
        HOURS_CLOSE,
        HOURS_LOOKS,
    )
    if best is not None:
        new = math.ceil(best * 10) / 10 if side == "at_most" else math.floor(best * 10) / 10
        changed = clash.with_limit(_at(limit, side, new))
        yield from clash.tried(_lifted(limit, figure, new), (limit.name,), changed)


def _at(limit: Limit, side: str, figure: float) -> Limit:
    return replace(limit, at_most=figure) if side == "at_most" else replace(limit, at_least=figure)


def _lifted(limit: Limit, old: float, new: float) -> str:
    what, unit, _ = KNOWN_LIMITS[limit.name]
    caution = f"; {limit.source} is not yours to lift without the authority behind it" if limit.preset else ""
    return f"lift {limit.name} ({what}) from {old:g} to {new:g} {unit}{caution}"


def _passengers(clash: ClashInHand) -> Iterator[Offer]:
    for ground in clash.of("driving_hours"):
        (athlete,) = ground.ids
        rider = replace(clash.season.athletes[athlete], drives=False)
        text = f"let someone else drive {clash.label('athletes', athlete)}"
        yield from clash.tried(text, ground.ids, clash.with_season(athletes={**clash.season.athletes, athlete: rider}))


def slower_stops(clash: ClashInHand) -> Iterator[Offer]:
    """Allow a car slower stops, by about as little as makes a lineup possible."""
    for ground in clash.of("slowest"):
        yield from _slower(clash, ground, clash.season.cars[ground.ids[0]])


def _slower(clash: ClashInHand, ground: Ground, car: Car) -> Iterator[Offer]:
    best = clash.least(
        clash.without(ground),
        lambda lineup: clash.block.slowest(lineup, car.id) or None,
        lambda mean_s: clash.with_car(replace(car, slowest_s=mean_s)),
        car.slowest_s or 0.0,
        SECONDS_CLOSE,
        SECONDS_LOOKS,
        {key: seconds for key, seconds in clash.prices.items() if key[0].car == car.id},
    )
    if best is not None:
        new = math.ceil(best * 100) / 100
        text = f"allow {clash.label('cars', car.id)} a slowest service of {new:g} s instead of {car.slowest_s:g} s"
        yield from clash.tried(text, (car.id,), clash.with_car(replace(car, slowest_s=new)))


def cars_left_out(clash: ClashInHand) -> Iterator[Offer]:
    """Leave a car at home: the least important one first, and only the first that helps."""
    entries = sorted({seat.entry for seat in clash.seats}, key=lambda e: (clash.season.cars[e.car].priority, e))
    for entry in entries:
        others = tuple(other for other in clash.season.entries if other != entry)
        text = f"leave {clash.label('cars', entry.car)} out of {clash.label('races', entry.race)}"
        offers = list(clash.tried(text, (entry.race, entry.car), clash.with_season(entries=others)))
        yield from offers
        if offers:
            break
