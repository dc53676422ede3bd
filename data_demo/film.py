"""Plays the stops of the past races, practices and the tryout, and grades them as a coach does from film."""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from data_demo.choreography import LINED, NUTS, POSITIONS, SERVICES, UNLINED, Piece, existing, finish_times
from data_demo.events import CARS as CAR_ROWS
from data_demo.events import PAST_RACES, PRACTICE_DAYS, TRYOUT_DAY
from data_demo.people import CARS, PEOPLE, STANDING, may_practise
from data_demo.truth import LOSS, LOSS_SPREAD, SETTING, TIRE, TREND, TREND_DAYS, Truth

BLOCK_DAY = date(2026, 2, 28)
SPOILED = 0.055
BY_FINISH_MARKS = 0.12  # share of stops graded by finish marks throughout
BLANK = 0.02  # share of single grades that the coach left blank
GRADED = {"race": 0.8, "practice": 0.62, "tryout": 0.85}  # share of positions graded in a stop
SEAT_KEPT = 0.88  # chance that the standing athlete worked a past race
RACE_STOPS = ("four-tires",) * 3 + ("two-tires", "fuel-only")
PRACTICE_STOPS = ("four-tires",) * 4 + ("two-tires",)

# Spoiler -> seconds it adds to the splits it touches, at the most.
SPOILERS: Mapping[str, Mapping[str, float]] = {
    "off-marks": {"reach": 0.4, "plug": 0.7, "cross": 0.4, "stage": 0.5},
    "wheels-not-straight": {"pull": 0.6, "index": 0.5, "set": 0.4},
    "damage": {"pull": 2.0, "lift": 0.8, "nuts-off": 0.6},
    "box-blocked": {"launch": 3.0},
}


@dataclass(frozen=True)
class PlannedStop:
    """One stop about to be made: what every task of it shares."""

    day: date
    setting: str
    service: str
    tire: str
    crew: Mapping[str, str]
    race: str = ""
    car: str = ""


@dataclass(frozen=True)
class Played:
    """One played task: its own seconds and its misses."""

    seconds: float
    misses: tuple[str, ...]


def stops_and_grades(truth: Truth, seed: str) -> tuple[list[list[str]], list[list[str]]]:
    """Rows of stops.csv and of graded_stops.csv, in order of time."""
    stops: list[list[str]] = []
    grades: list[list[str]] = []
    planned = [*_past_races(seed), *_practices(seed), *_tryout(seed)]
    for number, stop in enumerate(sorted(planned, key=lambda s: (s.day, s.race)), start=1):
        draw = random.Random(f"{seed} stop {number}")
        spoilers = (draw.choice(tuple(SPOILERS)),) if draw.random() < SPOILED else ()
        played = play(truth, stop, spoilers, draw)
        finish = finish_times(stop.service, {task: p.seconds for task, p in played.items()})
        total = max(finish[p.id] for p in existing(stop.service, stop.crew) if p.release)
        label = f"s{number:04d}"
        stops.append([label, str(stop.day), stop.setting, stop.service, stop.tire, f"{total:.2f}", stop.race, stop.car,
                      ";".join(spoilers)])  # fmt: skip
        grades += _grade(stop, label, played, finish, draw)
    grades += _drills(truth, seed)
    return stops, sorted(grades, key=lambda row: row[0])


def play(truth: Truth, stop: PlannedStop, spoilers: Iterable[str], draw: random.Random) -> dict[str, Played]:
    """Every existing task's own seconds, each athlete's in the order in which he works."""
    played: dict[str, Played] = {}
    pace = dict.fromkeys(stop.crew, 1.0)
    for piece in existing(stop.service, stop.crew):
        athlete = stop.crew.get(piece.who, "")
        seconds = _clean(truth, stop, piece, athlete, pace.get(piece.who, 1.0), draw)
        slips = _slips(truth, piece, athlete, draw)
        lost = sum(LOSS[m] * math.exp(draw.gauss(0, LOSS_SPREAD)) for m in slips if m in LOSS)
        if lost:
            pace[piece.who] = truth.pace[athlete]
        most = sum(SPOILERS[s].get(piece.split, 0.0) for s in spoilers)
        played[piece.id] = Played(seconds + lost + most * draw.uniform(0.3, 1.0), slips)
    return played


def _clean(truth: Truth, stop: PlannedStop, piece: Piece, athlete: str, pace: float, draw: random.Random) -> float:
    key = (athlete, piece.who, piece.split)
    effect = SETTING[stop.setting] if piece.who else 0.0  # the car does not care what is being practised
    effect += TIRE.get(piece.split, 0.0) if stop.tire == UNLINED else 0.0
    chance = truth.spread[key] * draw.gauss(0, 1)
    if (piece.who, piece.split) in truth.early:
        return truth.median[key] + effect + chance
    effect += TREND.get(athlete, 0.0) * (BLOCK_DAY - stop.day).days / TREND_DAYS
    return truth.median[key] * math.exp(effect + chance) * pace


def _slips(truth: Truth, piece: Piece, athlete: str, draw: random.Random) -> tuple[str, ...]:
    found: list[str] = []
    for miss in piece.misses:
        chances = NUTS if miss == "restrike" else 1
        rate = truth.rate[athlete, piece.who, miss] / chances
        found += [miss for _ in range(chances) if draw.random() < rate]
    return tuple(found)


def _grade(
    stop: PlannedStop, label: str, played: Mapping[str, Played], finish: Mapping[str, float], draw: random.Random
) -> Iterator[list[str]]:
    """One row per graded task; a stop graded by finish marks has them all, so that each own time follows."""
    by_finish = draw.random() < BY_FINISH_MARKS
    graded = {who for who in ("", *stop.crew) if by_finish or draw.random() < GRADED[stop.setting]}
    for piece in existing(stop.service, stop.crew):
        if piece.who not in graded or (not by_finish and draw.random() < BLANK):
            continue
        marks = ["", f"{finish[piece.id]:.2f}"] if by_finish else [f"{played[piece.id].seconds:.2f}", ""]
        yield _row(stop, piece, marks, label, played[piece.id].misses)


def _row(stop: PlannedStop, piece: Piece, marks: list[str], label: str, misses: Iterable[str]) -> list[str]:
    return [str(stop.day), stop.setting, stop.service, stop.tire, stop.crew.get(piece.who, ""), piece.who, piece.id,
            *marks, label, stop.race, stop.car, ";".join(misses)]  # fmt: skip


def _past_races(seed: str) -> Iterator[PlannedStop]:
    series_of = {car: series for car, series, *_ in CAR_ROWS}
    for race, series, _, day, tire, *_ in PAST_RACES:
        for car in CARS:
            if series not in ("both", series_of[car]):
                continue
            draw = random.Random(f"{seed} past {race} {car}")
            crew = past_crew(seed, race, car)
            for service in (*RACE_STOPS[:4], draw.choice(RACE_STOPS)):
                yield PlannedStop(date.fromisoformat(day), "race", service, tire, crew, race, car)


def past_crew(seed: str, race: str, car: str) -> dict[str, str]:
    """Return the crew that worked a past race: mostly the standing one; nobody in two crews of one race."""
    draw = random.Random(f"{seed} crew {race}")
    taken = {athlete for crew in STANDING.values() for athlete in crew}
    crews: dict[str, dict[str, str]] = {c: {} for c in CARS}
    for each in CARS:
        for position, *_ in POSITIONS:
            stand_ins = [a for a in may_practise(position) if a not in taken and _cleared(a, position)]
            kept = draw.random() < SEAT_KEPT or not stand_ins
            crews[each][position] = STANDING[position][CARS.index(each)] if kept else draw.choice(stand_ins)
            taken.add(crews[each][position])
    return crews[car]


def _cleared(athlete: str, position: str) -> bool:
    person = next(p for p in PEOPLE if p.id == athlete)
    return any(c.position == position and c.level == "cleared" and not c.series and not c.since
               for c in person.clearances)  # fmt: skip


def _practices(seed: str) -> Iterator[PlannedStop]:
    """Mixed crews: everybody works the positions the coach has cleared or is training them for."""
    for number, day in enumerate(PRACTICE_DAYS):
        draw = random.Random(f"{seed} practice {day}")
        tire = UNLINED if number % 3 == 1 else LINED
        for _ in range(11):
            crew = _mixed_crew(draw, lambda person: person.group != "candidate")
            if draw.random() < 0.25:
                del crew["tire-stager"]
            yield PlannedStop(date.fromisoformat(day), "practice", draw.choice(PRACTICE_STOPS), tire, crew)


def _tryout(seed: str) -> Iterator[PlannedStop]:
    """Candidates first, in crews filled up with whoever was there."""
    draw = random.Random(f"{seed} tryout")
    for _ in range(24):
        crew = _mixed_crew(draw, lambda person: person.group in ("candidate", "developing", "regular"), "candidate")
        yield PlannedStop(date.fromisoformat(TRYOUT_DAY), "tryout", "four-tires", LINED, crew)


def _mixed_crew(draw: random.Random, allowed: Callable[..., bool], first: str = "") -> dict[str, str]:
    groups = {p.id: p.group for p in PEOPLE}
    there = {p.id for p in PEOPLE if allowed(p)}
    crew: dict[str, str] = {}
    for position in draw.sample([p for p, *_ in POSITIONS], len(POSITIONS)):
        able = [a for a in may_practise(position) if a in there and a not in crew.values()]
        preferred = [a for a in able if groups[a] == first] or able
        crew[position] = draw.choice(preferred)
    return {position: crew[position] for position, *_ in POSITIONS}


def _drills(truth: Truth, seed: str) -> Iterator[list[str]]:
    """Half-stops in single-position drills: no whole stop, so no stop id and no waiting for others."""
    for person in PEOPLE:
        if person.group not in ("candidate", "developing"):
            continue
        draw = random.Random(f"{seed} drill {person.id}")
        for cleared in person.clearances:
            for _ in range(4):
                day = date.fromisoformat(TRYOUT_DAY) + timedelta(days=draw.randrange(2))
                stop = PlannedStop(day, "tryout", "four-tires", LINED, {cleared.position: person.id})
                played = play(truth, stop, (), draw)
                for piece in SERVICES["four-tires"][1]:
                    if piece.who == cleared.position and piece.id in played:
                        mark = [f"{played[piece.id].seconds:.2f}", ""]
                        yield _row(stop, piece, mark, "", played[piece.id].misses)
