"""Checks of who sits where: seats filled, clearance, height, availability, pins, recent grades."""

from __future__ import annotations

from collections.abc import Iterator

from lineup.audit.records import Check, Measure, all_of, held, summarise
from lineup.audit.scene import Scene
from lineup.audit.sitting import available, clearance_level, cleared, duty_days, grades_lately, speaks_of, tall_enough
from lineup.limits import Limit
from lineup.season import Pin, Seat


def seat_checks(scene: Scene) -> Iterator[Check]:
    """Every check of single seats and of pins."""
    needed = sum(scene.season.positions[seat.position].filled == "always" for seat in scene.seats)
    yield summarise("filled", list(_filled(scene)), fine=all_of(needed, "seats that must be filled", "are"))
    fine = all_of(len(scene.plan.assignments), "starts", "are cleared")
    yield summarise("clearance", list(_clearances(scene)), fine=fine)
    priced = scene.limit("height")
    yield summarise("height", list(_heights(scene)), priced=priced is not None and not priced.hard, unit="starts")
    yield summarise("availability", list(_availability(scene)), fine="nobody is planned while out or restricted")
    yield summarise("pin", list(_pins(scene)), fine=all_of(len(scene.season.pins), "pins", "are kept"))
    limit = scene.limit("recent_grades")
    if limit is not None:
        measures = list(_recent_grades(scene, limit))
        yield summarise("recent_grades", measures, priced=not limit.hard, unit="stops", source=limit.source)


def _broken(seat: Seat, athlete: str, text: str) -> Measure:
    return Measure(text, False, athlete, seat.race, seat.car, seat.position)


def _filled(scene: Scene) -> Iterator[Measure]:
    taken: set[Seat] = set()
    for assignment in scene.plan.assignments:
        if assignment.seat in taken:
            text = f"{scene.place(assignment.seat)} is filled twice"
            yield _broken(assignment.seat, assignment.athlete, text)
        taken.add(assignment.seat)
    for seat in scene.seats:
        if scene.season.positions[seat.position].filled == "always" and seat not in taken:
            yield Measure(f"nobody is {scene.place(seat)}", False, None, seat.race, seat.car, seat.position)


def _clearances(scene: Scene) -> Iterator[Measure]:
    for a in scene.plan.assignments:
        if not cleared(scene.season, a.athlete, a.seat):
            level = clearance_level(scene.season, a.athlete, a.seat)
            why = "is in training and no must pin names the position" if level == "training" else "is not cleared"
            yield _broken(a.seat, a.athlete, f"{scene.who(a.athlete)} {why}: {scene.place(a.seat)}")


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
            yield _broken(a.seat, a.athlete, text)
    for reserve in scene.plan.reserves:
        if not available(scene.season, reserve.athlete, None, reserve.race):
            text = f"{scene.who(reserve.athlete)} is out and travels as a reserve to {scene.race(reserve.race)}"
            yield Measure(text, False, reserve.athlete, reserve.race)


def _recent_grades(scene: Scene, limit: Limit) -> Iterator[Measure]:
    need, days = limit.least, limit.window_days
    for a in scene.plan.assignments:
        on = duty_days(scene.season, a.race)[0]
        count = grades_lately(scene.season, a.athlete, a.position, on, days)
        text = f"{count} of {need:g} graded stops needed in {days} days: {scene.who(a.athlete)}, {scene.place(a.seat)}"
        yield held(limit, a.athlete, a.race, text, count, need, least=True, seat=a.seat)


def _pins(scene: Scene) -> Iterator[Measure]:
    for pin in scene.season.pins:
        for race in dict.fromkeys(seat.race for seat in scene.seats if speaks_of(pin, seat)):
            problem = _pin_at(scene, pin, race)
            if problem is not None:
                yield Measure(f"{problem}: {pin.reason}", False, pin.athlete, race, pin.car, pin.position)


def _pin_at(scene: Scene, pin: Pin, race: str) -> str | None:
    """Tell what a plan does against a pin at one race that it matches; None where it keeps it.

    Of a pair, and of two kept apart, every seat of that race counts, whatever car or position the pin names.
    """
    who, where = scene.who(pin.athlete), scene.race(race)
    mine = [a for a in scene.plan.assignments if (a.athlete, a.race) == (pin.athlete, race)]
    if pin.kind == "never":
        against = [scene.place(a.seat) for a in mine if speaks_of(pin, a.seat)]
        return f"{who} is pinned away from {against[0]}" if against else None
    if pin.kind == "must":
        if any(speaks_of(pin, a.seat) for a in mine):
            return None
        return f"{who} is pinned to a seat at {where} and works none that matches"
    other = scene.who(str(pin.other))
    cars = {a.car for a in mine}
    others = {a.car for a in scene.plan.assignments if (a.athlete, a.race) == (pin.other, race)}
    if pin.kind == "pair" and cars != others:
        return f"{who} and {other} are paired and not on the same car at {where}"
    if pin.kind == "apart" and cars & others:
        return f"{who} and {other} are pinned apart and on the same car at {where}"
    return None
