"""Checks of who sits where: seats filled, clearance, height, availability, pins, recent grades."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from weakref import WeakKeyDictionary

from lineup.audit.records import Check, Measure, summarise
from lineup.audit.scene import Scene
from lineup.season import Pin, Season, Seat

_HAIR_M = 1e-6
_GRADED: WeakKeyDictionary[Season, dict[tuple[str, str], list[date]]] = WeakKeyDictionary()
_MAY_SIT: WeakKeyDictionary[Season, dict[tuple[str, Seat], bool]] = WeakKeyDictionary()


def seat_checks(scene: Scene) -> Iterator[Check]:
    """Every check of single seats and of pins."""
    yield summarise("filled", list(_filled(scene)), fine=f"all {len(scene.seats)} seats that must be filled are")
    told = f"all {len(scene.plan.assignments)} starts"
    yield summarise("clearance", list(_clearances(scene)), fine=f"{told} are cleared")
    priced = scene.limit("height")
    yield summarise("height", list(_heights(scene)), priced=priced is not None and not priced.hard, unit="starts")
    yield summarise("availability", list(_availability(scene)), fine="nobody is planned while out or restricted")
    yield summarise("pin", list(_pins(scene)), fine=f"all {len(scene.season.pins)} pins are kept")
    limit = scene.limit("recent_grades")
    if limit is not None:
        measures = list(_recent_grades(scene))
        yield summarise("recent_grades", measures, priced=not limit.hard, unit="stops", source=limit.source)


# -------------------------------------------------------------------------------------- may this athlete sit here


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
    table = season.grades[season.grades["athlete"] != ""]
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
        if grades_lately(season, athlete, seat.position, on, grades.days or 1) < (grades.at_least or 0):
            return False
    mine = [pin for pin in season.pins if pin.athlete == athlete]
    if any(pin.kind == "never" and speaks_of(pin, seat) for pin in mine):
        return False
    there = [s for car in season.cars_in[seat.race] for s in season.seats(seat.race, car)]
    return not any(
        pin.kind == "must" and any(speaks_of(pin, s) for s in there) and not speaks_of(pin, seat) for pin in mine
    )


# --------------------------------------------------------------------------------------------------------- checks


def _at(seat: Seat, athlete: str, text: str, kept: bool) -> Measure:
    return Measure(text, kept, athlete, seat.race, seat.car, seat.position)


def _filled(scene: Scene) -> Iterator[Measure]:
    taken: dict[Seat, str] = {}
    for assignment in scene.plan.assignments:
        if assignment.seat in taken:
            text = f"{scene.place(assignment.seat)} is filled twice"
            yield _at(assignment.seat, assignment.athlete, text, False)
        taken[assignment.seat] = assignment.athlete
    for seat in scene.seats:
        if scene.season.positions[seat.position].filled == "always" and seat not in taken:
            yield Measure(f"nobody is {scene.place(seat)}", False, None, seat.race, seat.car, seat.position)


def _clearances(scene: Scene) -> Iterator[Measure]:
    for a in scene.plan.assignments:
        if not cleared(scene.season, a.athlete, a.seat):
            level = clearance_level(scene.season, a.athlete, a.seat)
            why = "is in training and no must pin names the position" if level == "training" else "is not cleared"
            yield _at(a.seat, a.athlete, f"{scene.who(a.athlete)} {why}: {scene.place(a.seat)}", False)


def _heights(scene: Scene) -> Iterator[Measure]:
    limit = scene.limit("height")
    for a in scene.plan.assignments:
        have, need = scene.season.athletes[a.athlete].height_m, scene.season.positions[a.position].min_height_m
        if have is None or need is None:
            continue
        kept = tall_enough(scene.season, a.athlete, a.position)
        text = f"{have * 100:.1f} cm of {need * 100:.1f} cm needed: {scene.who(a.athlete)}, {scene.place(a.seat)}"
        cost_s = None if kept or limit is None else limit.price_s
        yield Measure(text, kept, a.athlete, a.race, a.car, a.position, have, need, need - have, cost_s)


def _availability(scene: Scene) -> Iterator[Measure]:
    for a in scene.plan.assignments:
        if not available(scene.season, a.athlete, a.seat, a.race):
            text = f"{scene.who(a.athlete)} is out, or may not work this position then: {scene.place(a.seat)}"
            yield _at(a.seat, a.athlete, text, False)
    for reserve in scene.plan.reserves:
        if not available(scene.season, reserve.athlete, None, reserve.race):
            text = f"{scene.who(reserve.athlete)} is out and travels as a reserve to {scene.race(reserve.race)}"
            yield Measure(text, False, reserve.athlete, reserve.race)


def _recent_grades(scene: Scene) -> Iterator[Measure]:
    limit = scene.limit("recent_grades")
    assert limit is not None
    need, days = limit.at_least or 0.0, limit.days or 1
    for a in scene.plan.assignments:
        on = duty_days(scene.season, a.race)[0]
        count = grades_lately(scene.season, a.athlete, a.position, on, days)
        kept = count >= need
        text = f"{count} of {need:g} graded stops needed in {days} days: {scene.who(a.athlete)}, {scene.place(a.seat)}"
        cost_s = None if kept or limit.price_s is None else limit.price_s * (need - count)
        yield Measure(text, kept, a.athlete, a.race, a.car, a.position, count, need, need - count, cost_s)


def _pins(scene: Scene) -> Iterator[Measure]:
    for pin in scene.season.pins:
        for race in scene.races:
            if pin.race in (None, race):
                problem = _pin_at(scene, pin, race)
                if problem is not None:
                    yield Measure(f"{problem}: {pin.reason}", False, pin.athlete, race, pin.car, pin.position)


def _pin_at(scene: Scene, pin: Pin, race: str) -> str | None:
    """Tell what a plan does against a pin at one race; None where it keeps it."""
    who, where = scene.who(pin.athlete), scene.race(race)
    mine = [a for a in scene.plan.assignments if (a.athlete, a.race) == (pin.athlete, race)]
    if pin.kind == "never":
        against = [scene.place(a.seat) for a in mine if speaks_of(pin, a.seat)]
        return f"{who} is pinned away from {against[0]}" if against else None
    if pin.kind == "must":
        asked = [seat for seat in scene.seats if seat.race == race and speaks_of(pin, seat)]
        if not asked or any(speaks_of(pin, a.seat) for a in mine):
            return None
        return f"{who} is pinned to a seat at {where} and works none that matches"
    other = scene.who(pin.other or "")
    cars = {a.car for a in mine}
    others = {a.car for a in scene.plan.assignments if (a.athlete, a.race) == (pin.other, race)}
    if pin.kind == "pair" and cars != others:
        return f"{who} and {other} are paired and not on the same car at {where}"
    if pin.kind == "apart" and cars & others:
        return f"{who} and {other} are pinned apart and on the same car at {where}"
    return None
