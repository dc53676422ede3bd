"""The block at a glance: athletes by weekends, who works, travels, rests or is out, and each one's load."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import Literal

from lineup.plan import Plan
from lineup.rules import ScheduleRules
from lineup.rules.timeline import Journeys, block_duty
from lineup.season import Athlete, Season, Seat

Kind = Literal["works", "travels", "rests", "out", "no_race"]


@dataclass(frozen=True, slots=True)
class RosterCell:
    """One athlete in one weekend; `seats` worked, `trips` the races travelled to as a reserve."""

    weekend: str
    kind: Kind
    seats: tuple[Seat, ...] = ()
    trips: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class RosterRow:
    """One athlete's block.

    Attributes
    ----------
    position : the position worked most in the block, else the first one cleared for; "" without any.
    starts, trips : races with a seat, and trips as a reserve.
    longest_run : most weekends in a row with a duty, in this block alone.
    nights_away, travel_h : nights and hours of travel that the block's duties bring.
    beyond : what passes over a limit, in words, priced limits included.
    """

    athlete: Athlete
    position: str
    cells: tuple[RosterCell, ...]
    starts: int
    trips: int
    longest_run: int
    nights_away: int
    travel_h: float
    beyond: tuple[str, ...]


def roster(season: Season, plan: Plan) -> tuple[RosterRow, ...]:
    """Return one row per athlete, those of one position together, in the order of positions.csv."""
    rules = ScheduleRules(season, plan.weekends)
    seats: dict[str, list[Seat]] = {athlete: [] for athlete in season.athletes}
    trips: dict[str, list[str]] = {athlete: [] for athlete in season.athletes}
    for assignment in plan.assignments:
        seats[assignment.athlete].append(assignment.seat)
    for reserve in plan.reserves:
        trips[reserve.athlete].append(reserve.race)
    rows = [_row(season, plan, rules, a, seats[a.id], trips[a.id]) for a in season.athletes.values()]
    order = {position: place for place, position in enumerate(season.positions)}
    return tuple(sorted(rows, key=lambda row: order.get(row.position, len(order))))


def _row(
    season: Season, plan: Plan, rules: ScheduleRules, athlete: Athlete, seats: list[Seat], trips: list[str]
) -> RosterRow:
    cells = tuple(_cell(season, athlete.id, weekend, seats, trips) for weekend in plan.weekends)
    races = list(dict.fromkeys(seat.race for seat in seats))
    found = rules.assess(athlete.id, races, trips)
    duties = sorted((block_duty(season, race) for race in {*races, *trips}), key=lambda duty: duty.report)
    return RosterRow(
        athlete=athlete,
        position=_position(season, athlete.id, seats),
        cells=cells,
        starts=len(seats),
        trips=len(trips),
        longest_run=_longest_run(season, races + trips),
        nights_away=len(Journeys(season, athlete.id).chain(duties).nights()),
        travel_h=found.travel_h,
        beyond=tuple(breach.text for breach in (*found.breaches, *found.priced)),
    )


def _cell(season: Season, athlete: str, weekend: str, seats: list[Seat], trips: list[str]) -> RosterCell:
    races = {race.id for race in season.races_of((weekend,))}
    worked = tuple(seat for seat in seats if seat.race in races)
    travelled = tuple(race for race in trips if race in races)
    if worked or travelled:
        return RosterCell(weekend, "works" if worked else "travels", worked, travelled)
    if not races:
        return RosterCell(weekend, "no_race")
    days = [season.duty_days(race) for race in races]
    gone = [a for a in season.absences if a.athlete == athlete and a.status == "out"]
    out = all(any(absence.touches(*span) for absence in gone) for span in days)
    return RosterCell(weekend, "out" if out else "rests")


def _position(season: Season, athlete: str, seats: list[Seat]) -> str:
    worked = [seat.position for seat in seats]
    if worked:
        return max(dict.fromkeys(worked), key=worked.count)
    cleared = [c.position for c in season.clearances if c.athlete == athlete]
    return next((position for position in season.positions if position in cleared), "")


def _longest_run(season: Season, races: list[str]) -> int:
    # Mondays number the weeks without a jump at new year
    weeks = sorted({block_duty(season, race).week for race in races})
    runs = groupby(enumerate(weeks), key=lambda item: item[1] - item[0])
    return max((len(list(run)) for _, run in runs), default=0)
