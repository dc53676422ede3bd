"""The facts that decide whether a block has any lineup, each one that can be taken away and told in words."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from lineup.eligibility import refusals, shown_day
from lineup.limits import KNOWN_LIMITS, counted
from lineup.pins import pair_rule, pin_place
from lineup.plan import Fact
from lineup.rules import ScheduleRules
from lineup.season import Absence, Pin, Season, Seat

# kinds in the order they are told; limits on an athlete's schedule carry the name of the limit
DEMANDS = ("need", "must", "starts_at_least")
_ORDER = (*DEMANDS, "clearance", "availability", "height", "recent_grades", "never", "pair", "apart", "one_seat")
_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


@dataclass(frozen=True, slots=True, order=True)
class Ground:
    """One fact that can be taken away.

    Kinds and their ids: need (race, car, position); clearance (position); availability (athlete, first day);
    height and recent_grades (athlete, position); must, never, pair and apart (athlete, other, race, car, position,
    "" where the pin leaves it open); travel_places (race); slowest (car); one_seat (two races, or the athlete who is
    still elsewhere); starts_at_least and every limit on a schedule (athlete).
    """

    kind: str
    ids: tuple[str, ...]

    @property
    def order(self) -> tuple[int, Ground]:
        """Key that sorts grounds as they are told."""
        return (_ORDER.index(self.kind) if self.kind in _ORDER else len(_ORDER), self)


def need(seat: Seat) -> Ground:
    """Ground of a seat that must be filled."""
    return Ground("need", (seat.race, seat.car, seat.position))


def of_pin(pin: Pin) -> Ground:
    """Ground of a pin."""
    return Ground(pin.kind, (pin.athlete, *(part or "" for part in (pin.other, pin.race, pin.car, pin.position))))


def of_absence(absence: Absence) -> Ground:
    """Ground of an absence."""
    return Ground("availability", (absence.athlete, absence.first_day.isoformat()))


def blockers(season: Season, athlete: str, seat: Seat) -> tuple[Ground, ...]:
    """Everything that keeps an athlete out of a seat, whoever else sits where; without any he may fill it."""
    kinds = {verdict.rule for verdict in refusals(season, athlete, seat)}
    found = [Ground("clearance", (seat.position,))] if "clearance" in kinds else []
    found += [Ground(str(kind), (athlete, seat.position)) for kind in kinds & {"height", "recent_grades"}]
    if "availability" in kinds:
        found += [of_absence(absence) for absence in absences_at(season, athlete, seat)]
    if "pin" in kinds:
        never = [p for p in season.pins_of.get(athlete, ()) if p.kind == "never" and p.matches(seat)]
        found += [of_pin(pin) for pin in never]
    return tuple(found)


def absences_at(season: Season, athlete: str, seat: Seat) -> Iterator[Absence]:
    """Absences that keep an athlete out of a seat."""
    days = season.duty_days(seat.race)
    for absence in season.absences_of.get(athlete, ()):
        if absence.touches(*days) and (absence.status == "out" or seat.position not in absence.positions):
            yield absence


def tell(season: Season, rules: ScheduleRules, grounds: Collection[Ground]) -> tuple[Fact, ...]:
    """Tell grounds in plain words: what must be done first, then what stands in the way.

    The seats of one race become one fact; without any one fact of a smallest clash the rest can hold.
    """
    races = _races_of(season, grounds)
    ordered = sorted(grounds, key=lambda ground: ground.order)
    facts = list(_tell_needs(season, [ground for ground in ordered if ground.kind == "need"]))
    facts += [_tell_one(season, rules, races, ground) for ground in ordered if ground.kind != "need"]
    return tuple(facts)


def _races_of(season: Season, grounds: Collection[Ground]) -> tuple[str, ...]:
    """Races that the grounds speak of, by time: those of their seats and pins, else all."""
    named = {part for ground in grounds for part in ground.ids if part in season.races}
    return tuple(race for race in season.races if race in named) or tuple(season.races)


def _tell_needs(season: Season, needs: Sequence[Ground]) -> Iterator[Fact]:
    """One fact per race; its ids are the race, then car and position of each seat."""
    for race in (race for race in season.races if any(ground.ids[0] == race for ground in needs)):
        seats = [ground.ids[1:] for ground in needs if ground.ids[0] == race]
        wanted = []
        for position in dict.fromkeys(position for _, position in seats):
            cars = [car for car, other in seats if other == position]
            count = _NUMBERS[len(cars)] if len(cars) < len(_NUMBERS) else str(len(cars))
            wanted.append(f"{count} at {_name(season, 'positions', position)} ({_names(season, 'cars', cars)})")
        text = f"{_name(season, 'races', race)} needs {', '.join(wanted)}"
        yield Fact("need", text, (race, *(part for seat in seats for part in seat)))


def _tell_one(season: Season, rules: ScheduleRules, races: Sequence[str], ground: Ground) -> Fact:
    teller = None if ground.kind == "one_seat" and len(ground.ids) == 1 else _TELLERS.get(ground.kind)
    text = teller(season, ground) if teller else _tell_limit(season, rules, races, ground)
    return Fact(ground.kind, text, tuple(part for part in ground.ids if part))


def _tell_clearance(season: Season, ground: Ground) -> str:
    (position,) = ground.ids
    what = _name(season, "positions", position)
    level = {(c.athlete, c.level) for c in season.clearances if c.position == position}
    able = [athlete for athlete in season.athletes if (athlete, "cleared") in level]
    learning = [a for a in season.athletes if (a, "training") in level and a not in able]
    text = f"only {_names(season, 'athletes', able)} may work {what}" if able else f"nobody is cleared for {what}"
    return text + (f" ({_names(season, 'athletes', learning)} in training)" if learning else "")


def _tell_absence(season: Season, ground: Ground) -> str:
    athlete, first_day = ground.ids
    texts = []
    for absence in season.absences:
        if (absence.athlete, absence.first_day.isoformat()) == (athlete, first_day):
            only = f"may work only {_names(season, 'positions', absence.positions)}"
            state = "is out" if absence.status == "out" else only
            end = f"until {shown_day(absence.last_day)}" if absence.last_day else "with no day of return"
            texts.append(f"{_name(season, 'athletes', athlete)} {state} {end}")
    return " and ".join(dict.fromkeys(texts))


def _tell_height(season: Season, ground: Ground) -> str:
    athlete, position = ground.ids
    need_m, have_m = season.positions[position].min_height_m or 0.0, season.athletes[athlete].height_m or 0.0
    who, what = _name(season, "athletes", athlete), _name(season, "positions", position)
    return f"{who} is {have_m * 100:.1f} cm tall; {what} asks for {need_m * 100:.1f} cm"


def _tell_recent(season: Season, ground: Ground) -> str:
    athlete, position = ground.ids
    limit = season.limits.by_name["recent_grades"]
    who, what = _name(season, "athletes", athlete), _name(season, "positions", position)
    needed = counted(limit.at_least or 0, "graded stops")
    return f"{who} has fewer than {needed} as {what} in the {limit.days} days before"


def _tell_pin(season: Season, ground: Ground) -> str:
    pin = next(pin for pin in season.pins if of_pin(pin) == ground)
    who = _name(season, "athletes", pin.athlete)
    if pin.kind in ("pair", "apart"):
        other = _name(season, "athletes", pin.other or "")
        return f"{who} and {other} {pair_rule(season, pin)} (pinned: {pin.reason})"
    return f"{who} {pin.kind} work {pin_place(season, pin)} (pinned: {pin.reason})"


def _tell_places(season: Season, ground: Ground) -> str:
    (race,) = ground.ids
    limit, own = season.limits.get("travel_places"), season.races[race].travel_places
    places = own if own is not None else (limit.at_most if limit else None)
    return f"{_name(season, 'races', race)} has {counted(places or 0, 'travel places')}"


def _tell_slowest(season: Season, ground: Ground) -> str:
    (car,) = ground.ids
    return f"the slowest service of {_name(season, 'cars', car)} may take {season.cars[car].slowest_s:g} s on average"


def _tell_overlap(season: Season, ground: Ground) -> str:
    return f"nobody can work both {_names(season, 'races', ground.ids)}: they overlap, or the journey does not fit"


def _tell_least(season: Season, ground: Ground) -> str:
    least = counted(season.limits.by_name["starts"].at_least or 0, "starts")
    return f"{_name(season, 'athletes', ground.ids[0])} must have at least {least} in the block"


_TELLERS = {
    "clearance": _tell_clearance,
    "availability": _tell_absence,
    "height": _tell_height,
    "recent_grades": _tell_recent,
    "must": _tell_pin,
    "never": _tell_pin,
    "pair": _tell_pin,
    "apart": _tell_pin,
    "travel_places": _tell_places,
    "slowest": _tell_slowest,
    "one_seat": _tell_overlap,
    "starts_at_least": _tell_least,
}


def _tell_limit(season: Season, rules: ScheduleRules, races: Sequence[str], ground: Ground) -> str:
    """Tell what the limit says when the athlete works one race of the clash, else all of them."""
    athlete = ground.ids[0]
    for worked in (*((race,) for race in races), tuple(races)):
        for breach in rules.assess(athlete, worked).breaches:
            if breach.rule == ground.kind:
                return breach.text
    limit, (what, unit, _) = season.limits.by_name[ground.kind], KNOWN_LIMITS[ground.kind]
    side, figure = ("at least", limit.at_least) if limit.at_most is None else ("at most", limit.at_most)
    return f"{_name(season, 'athletes', athlete)}: {what}: {side} {counted(figure or 0, unit)}"


def _name(season: Season, kind: str, key: str) -> str:
    return season.label(kind, key)


def _names(season: Season, kind: str, keys: Collection[str]) -> str:
    names = [_name(season, kind, key) for key in keys]
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
