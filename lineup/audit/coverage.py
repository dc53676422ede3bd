"""Checks of who steps in: ways to cover each seat on site, and the chains of moves that the plan names."""

from __future__ import annotations

from collections.abc import Iterator

from lineup.audit.records import Check, Measure, all_of, held, summarise
from lineup.audit.scene import Scene
from lineup.audit.sitting import duty_days, may_sit
from lineup.limits import Limit
from lineup.plan import Cover
from lineup.season import Seat


def cover_checks(scene: Scene) -> Iterator[Check]:
    """Check the number of ways to cover each seat, and every chain of moves."""
    limit = scene.limit("cover")
    if limit is not None:
        measures = list(_ways(scene, limit))
        yield summarise("cover", measures, priced=not limit.hard, unit="ways", source=limit.source)
    if scene.plan.cover:
        broken = [measure for cover in scene.plan.cover for measure in _chain(scene, cover)]
        yield summarise("cover_moves", broken, fine=all_of(len(scene.plan.cover), "chains of moves", "can be made"))


def people_on_site(scene: Scene, race: str) -> list[str]:
    """Athletes who are at a race's site that day and free of another race while this one is on.

    There as starters or reserves of the race, or of another race of the same day at the same site.
    """
    here = scene.races[race]
    day = duty_days(scene.season, race)[0]
    near = {other for other, facts in scene.races.items() if facts.site == here.site}
    near = {other for other in near if duty_days(scene.season, other)[0] == day}
    return [
        athlete
        for athlete in scene.busy_athletes()
        for races in ({*scene.worked[athlete], *scene.trips[athlete]},)
        if races & near and not any(_overlap(scene, race, other) for other in races - {race})
    ]


def _overlap(scene: Scene, race: str, other: str) -> bool:
    one, two = scene.races[race], scene.races[other]
    return one.report < two.released and two.report < one.released


def _steps_in(scene: Scene, seat: Seat, athlete: str) -> bool:
    """Whether somebody on site can step into a seat.

    He may fill it and sits on the bench, in support on a car that is not more important, or on a lesser car.
    """
    cars, own = scene.season.cars, scene.seats_of.get((athlete, seat.race), ())
    most = cars[seat.car].priority
    support = any(scene.season.positions[s.position].place == "support" and cars[s.car].priority <= most for s in own)
    lesser = any(cars[s.car].priority < most for s in own)
    return seat not in own and (not own or support or lesser) and may_sit(scene.season, athlete, seat)


def _ways(scene: Scene, limit: Limit) -> Iterator[Measure]:
    """Count the ways to cover each filled seat that must be filled."""
    people = {race: people_on_site(scene, race) for race in scene.races}
    filled = {a.seat for a in scene.plan.assignments}
    for seat in scene.seats:
        if seat not in filled or scene.season.positions[seat.position].filled != "always":
            continue
        count = sum(_steps_in(scene, seat, athlete) for athlete in people[seat.race])
        text = f"{count} of {limit.least:g} ways needed to cover {scene.place(seat)}"
        yield held(limit, None, seat.race, text, count, limit.least, least=True, seat=seat)


def _chain(scene: Scene, cover: Cover) -> Iterator[Measure]:
    """Tell what is wrong with one chain of moves."""
    for text in _faults(scene, cover):
        seat = cover.seat
        yield Measure(f"cover of {scene.place(seat)}: {text}", False, None, seat.race, seat.car, seat.position)


def _faults(scene: Scene, cover: Cover) -> Iterator[str]:
    race = cover.seat.race
    moved = [move.athlete for move in cover.moves]
    entered = [move.end for move in cover.moves if move.end is not None]
    left = {move.start for move in cover.moves if move.start is not None}
    if cover.seat not in entered and cover.open != cover.seat:
        yield "nobody steps into it"
    if len(set(moved)) < len(moved) or len(set(entered)) < len(entered):
        yield "somebody moves twice, or two step into one seat"
    lost, people = scene.plan.athlete_in(cover.seat), people_on_site(scene, race)
    for move in cover.moves:
        who = scene.who(move.athlete)
        if move.athlete == lost:
            yield f"{who} is the one who is lost"
        holds = scene.seats_of.get((move.athlete, race), ())
        if move.start is None and holds:
            yield f"{who} is not on the bench"
        if move.start is not None and move.start not in holds:
            yield f"{who} does not start in {scene.place(move.start)}"
        if move.athlete not in people:
            yield f"{who} is not on site and free then"
        if move.end is not None:
            if move.end.race != race:
                yield f"{who} moves to another race"
            if not may_sit(scene.season, move.athlete, move.end):
                yield f"{who} may not be {scene.place(move.end)}"
    for seat in left - set(entered):
        if seat != cover.open and scene.season.positions[seat.position].filled == "always":
            yield f"{scene.place(seat)} is left open and not named"
