"""How answers speak: names, seconds and chances in a coach's words. Every sentence pattern goes through here."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from lineup.plan import Move
from lineup.plan_changes import SeatChange
from lineup.season import Season, Seat

COST_NAMES: Mapping[str, str] = {
    "stops": "stop time, weighted by priority and number of stops",
    "penalties": "penalties expected",
    "crew_changes": "crew changes from race to race",
    "not_standing": "seats away from the standing crew",
    "unsure_changes": "gains too unsure to count",
    "travel": "hours of travel",
    "uneven": "uneven share of starts",
    "development": "credit for starts of developing athletes",
}
SURE, LIKELY, EVEN = 0.9, 0.7, 0.5
NOTHING_S = 0.005  # less than this is told as nothing
MOST_RACES_NAMED = 2
MOST_CHANGES_TOLD = 6


def name(season: Season, athlete: str) -> str:
    """Return the athlete's name as the crew says it."""
    return season.athletes[athlete].name


def position(season: Season, key: str) -> str:
    """Return a position's name inside a sentence: "rear changer"."""
    return season.positions[key].name.lower()


def place(season: Season, seat: Seat, race: bool = True) -> str:
    """Return "rear changer on Ember" and, unless told not to, " at the Pine Hollow 300"."""
    car = season.cars[seat.car].name or seat.car
    where = f"{position(season, seat.position)} on {car}"
    return f"{where} at {season.races[seat.race].name or seat.race}" if race else where


def seconds(amount: float) -> str:
    """Return an amount of time with the digits a stopwatch on film supports."""
    size = abs(amount)
    return f"{size:.2f} s" if size < 10 else f"{size:.1f} s"


def enough(amount: float) -> str:
    """Return seconds that must be gained, rounded up: as much as is told does suffice."""
    return f"{math.ceil(amount * 100 - 1e-9) / 100:.2f} s"


def cost(item: str) -> str:
    """Return what a cost item is called in a sentence."""
    return COST_NAMES.get(item) or item.replace("limit:", "beyond the limit: ").replace("_", " ")


def cost_changes(before: Mapping[str, float], after: Mapping[str, float], most: int = 3) -> str:
    """Return the cost items that grow most, stop time apart: "crew changes from race to race (1.80 s)"."""
    grown = {key: after.get(key, 0.0) - before.get(key, 0.0) for key in {**before, **after} if key != "stops"}
    largest = sorted((item for item in grown.items() if item[1] >= NOTHING_S), key=lambda item: -item[1])[:most]
    return listing([f"{cost(key)} ({seconds(amount)})" for key, amount in largest]) if largest else "smaller things"


def sureness(chance: float) -> str:
    """Return a chance in words with its number: "almost certainly (97 %)"."""
    percent = f"{min(max(chance, 0.01), 0.99):.0%}".replace("%", " %")
    if chance >= SURE:
        return f"almost certainly ({percent})"
    if chance >= LIKELY:
        return f"likely ({percent})"
    if chance >= EVEN:
        return f"only perhaps ({percent})"
    return f"{'more likely not' if chance > 1 - SURE else 'almost certainly not'} ({percent})"


def pace(per_stop_s: float, chance_slower: float) -> str:
    """Return how an average stop changes: "0.12 s a stop slower here, almost certainly (97 %)"."""
    if abs(per_stop_s) < NOTHING_S:
        return "as quick here"
    if per_stop_s > 0:
        return f"{seconds(per_stop_s)} a stop slower here, {sureness(chance_slower)}"
    return f"{seconds(per_stop_s)} a stop quicker here, {sureness(1 - chance_slower)}"


def costs(amount: float) -> str:
    """Return what a change does to the plan: "costs the plan 1.20 s", "saves the plan 0.30 s"."""
    if abs(amount) < NOTHING_S:
        return "costs the plan nothing"
    return f"{'costs' if amount > 0 else 'saves'} the plan {seconds(amount)}"


def against(amount: float) -> str:
    """Return how a plan compares: "costs 1.20 s more than the plan as it is"."""
    if abs(amount) < NOTHING_S:
        return "costs as much as the plan as it is"
    return f"costs {seconds(amount)} {'more' if amount > 0 else 'less'} than the plan as it is"


def count(number: int, thing: str) -> str:
    """Return a number of things: "1 seat", "3 seats"."""
    ending = "" if number == 1 else "es" if thing.endswith("s") else "s"
    return f"{number} {thing}{ending}"


def hands(number: int) -> str:
    """Return how many seats change hands: "1 seat changes hands", "3 seats change hands"."""
    return f"{count(number, 'seat')} {'changes' if number == 1 else 'change'} hands"


def plain(season: Season, text: str) -> str:
    """Return a text of another part without the ids behind the names."""
    for kind in (season.athletes, season.cars, season.races, season.positions):
        for key, thing in kind.items():
            text = text.replace(f"{thing.name} ({key})", thing.name)
    return text


def move(season: Season, step: Move) -> str:
    """Return one move: "Ana Lind moves from jack on Ember to jack on Slate"."""
    who = name(season, step.athlete)
    if step.start is None and step.end is not None:
        return f"{who} comes in as {place(season, step.end, race=False)}"
    if step.end is None and step.start is not None:
        return f"{who} sits out as {place(season, step.start, race=False)}"
    if step.start is None or step.end is None:
        return f"{who} stays where they are"
    return f"{who} moves from {place(season, step.start, race=False)} to {place(season, step.end, race=False)}"


def moves(season: Season, steps: Sequence[Move]) -> str:
    """Return moves as one clause, in order; races are named where there is more than one, runs of them counted."""
    races: dict[str, list[str]] = {}
    for step in steps:
        seat = step.start or step.end
        if seat is not None:
            races.setdefault(move(season, step), []).append(seat.race)
    if len({race for named in races.values() for race in named}) <= 1:
        return ", ".join(races)
    return ", ".join(f"{text} {_at(season, named)}" for text, named in races.items())


def _at(season: Season, races: list[str]) -> str:
    if len(races) > MOST_RACES_NAMED:
        return f"in {len(races)} races"
    return f"at {listing([season.races[race].name or race for race in races])}"


def changed(season: Season, changes: Sequence[SeatChange]) -> str:
    """Return seats that change hands: "Ana Lind for Ben Ode as jack on Ember in 4 races"."""
    races: dict[str, list[str]] = {}
    for change in changes:
        where = place(season, change.seat, race=False)
        if change.after is None:
            text = f"nobody as {where}"
        else:
            before = "" if change.before is None else f" for {name(season, change.before)}"
            text = f"{name(season, change.after)}{before} as {where}"
        races.setdefault(text, []).append(change.seat.race)
    ordered = sorted(races.items(), key=lambda item: -len(item[1]))
    told = [f"{text} {_at(season, named)}" for text, named in ordered[:MOST_CHANGES_TOLD]]
    left = sum(len(named) for _, named in ordered[MOST_CHANGES_TOLD:])
    return ", ".join(told) + (f", and {count(left, 'more seat')}" if left else "")


def listing(items: list[str]) -> str:
    """Return "a, b and c"."""
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}" if items else "nobody"
