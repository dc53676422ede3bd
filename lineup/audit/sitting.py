"""Whether an athlete may sit in a seat, worked out for the audit alone, day by day and row by row."""

from __future__ import annotations

from datetime import date, timedelta
from weakref import WeakKeyDictionary

from lineup.season import Pin, Season, Seat

_HAIR_M = 1e-6
_GRADED: WeakKeyDictionary[Season, dict[tuple[str, str], list[date]]] = WeakKeyDictionary()
_MAY_SIT: WeakKeyDictionary[Season, dict[tuple[str, Seat], bool]] = WeakKeyDictionary()


def clearance_level(season: Season, athlete: str, seat: Seat) -> str | None:
    """Best level of clearance on the day: cleared, training or none."""
    on, series = duty_days(season, seat.race)[0], season.races[seat.race].series
    best = None
    for row in season.clearances:
        if (row.athlete, row.position) != (athlete, seat.position):
            continue
        if (row.since or on) > on or (row.series or series) != series:
            continue
        best = row.level if best != "cleared" else best
    return best


def cleared(season: Season, athlete: str, seat: Seat) -> bool:
    """Whether clearance lets an athlete start in a seat; training only under a must pin that names the position."""
    level = clearance_level(season, athlete, seat)
    if level != "training":
        return level == "cleared"
    return any(
        pin.kind == "must" and pin.athlete == athlete and pin.position == seat.position and speaks_of(pin, seat)
        for pin in season.pins
    )


def tall_enough(season: Season, athlete: str, position: str) -> bool:
    """Whether an athlete is as tall as a position asks; an unknown height passes."""
    have, need = season.athletes[athlete].height_m, season.positions[position].min_height_m
    return have is None or need is None or need - have <= _HAIR_M


def available(season: Season, athlete: str, seat: Seat | None, race: str) -> bool:
    """Whether no spell of absence on any day of the duty forbids the seat (None: to travel at all)."""
    first, last = duty_days(season, race)
    for number in range((last - first).days + 1):
        day = first + timedelta(days=number)
        for spell in season.absences:
            if spell.athlete == athlete and spell.first_day <= day <= (spell.last_day or day):
                if spell.status == "out":
                    return False
                if seat is not None and seat.position not in spell.positions:
                    return False
    return True


def duty_days(season: Season, race: str) -> tuple[date, date]:
    """First and last day of a duty on the site's clock."""
    facts = season.races[race]
    zone = season.zone(facts.site)
    return facts.report.astimezone(zone).date(), facts.released.astimezone(zone).date()


def speaks_of(pin: Pin, seat: Seat) -> bool:
    """Whether a pin names this seat."""
    named = ((pin.race, seat.race), (pin.car, seat.car), (pin.position, seat.position))
    return all(said is None or said == own for said, own in named)


def grades_lately(season: Season, athlete: str, position: str, on: date, days: int) -> int:
    """Graded stops of an athlete in a position in so many days up to a day, that one included."""
    if season not in _GRADED:
        _GRADED[season] = _graded_days(season)
    return sum(on - timedelta(days=days) < day <= on for day in _GRADED[season].get((athlete, position), ()))


def _graded_days(season: Season) -> dict[tuple[str, str], list[date]]:
    """Day of each graded stop of each (athlete, position): stops by name, else as many as the most-graded task has."""
    keys = ["athlete", "position", "date"]
    table = season.grades
    named = table[table["stop"] != ""].drop_duplicates([*keys, "stop"]).groupby(keys).size()
    tasks = table[table["stop"] == ""].groupby([*keys, "task"]).size()
    unnamed = tasks.groupby(level=keys).max()
    found: dict[tuple[str, str], list[date]] = {}
    for sizes in (named, unnamed):
        for (athlete, position, moment), count in zip(sizes.index.to_list(), sizes.to_list(), strict=True):
            found.setdefault((athlete, position), []).extend([moment.date()] * int(count))
    return found


def may_sit(season: Season, athlete: str, seat: Seat) -> bool:
    """Whether clearance, height, availability, pins and recent grades let an athlete fill a seat."""
    known = _MAY_SIT.setdefault(season, {})
    if (athlete, seat) not in known:
        known[athlete, seat] = _may_sit(season, athlete, seat)
    return known[athlete, seat]


def _may_sit(season: Season, athlete: str, seat: Seat) -> bool:
    height, grades = season.limits.get("height"), season.limits.get("recent_grades")
    if not cleared(season, athlete, seat) or not available(season, athlete, seat, seat.race):
        return False
    if (height is None or height.hard) and not tall_enough(season, athlete, seat.position):
        return False
    if grades is not None and grades.hard:
        on = duty_days(season, seat.race)[0]
        if grades_lately(season, athlete, seat.position, on, grades.window_days) < grades.least:
            return False
    mine = [pin for pin in season.pins if pin.athlete == athlete]
    if any(pin.kind == "never" and speaks_of(pin, seat) for pin in mine):
        return False
    there = [s for car in season.cars_in[seat.race] for s in season.seats(seat.race, car)]
    return not any(
        pin.kind == "must" and any(speaks_of(pin, s) for s in there) and not speaks_of(pin, seat) for pin in mine
    )
