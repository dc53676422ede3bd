"""Depth chart: per car and position everyone who could work it, first to last, holes, and where one loss hurts most."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import date, timedelta
from typing import Any

from lineup.eligibility import refusals
from lineup.errors import InputError
from lineup.explain import words
from lineup.explain.change import Change, Lineup
from lineup.explain.swaps import chance_quicker, new_chances
from lineup.explain.ways import best_lawful, of_seat
from lineup.plan import Plan
from lineup.recent_grades import graded_stops, last_graded
from lineup.season import Season, Seat
from lineup.stop_model.crew_chance import CrewChances
from lineup.study import Study
from lineup.suggest import did_you_mean

RECENT_DAYS = 90
CHANGES_TRIED = 40  # cheapest changes whose rules are looked at before a seat counts as a hole


@dataclass(frozen=True, slots=True)
class DepthRow:
    """One athlete in the order for a seat.

    Attributes
    ----------
    place : 1 is the starter, then those who may work the seat by stop time; 0: may not, `refused` says why.
    per_stop_s : seconds that the mean stop gets longer by against the starter, the crew otherwise as planned.
    chance_slower : that it really gets longer, from independent draws of what is known of each.
    level : "cleared" or "training".
    recent, last_graded : graded stops in the position in the `RECENT_DAYS` days before the race, and the last day.
    spoken_for : where else the athlete works at this race, that he travels there as a reserve, or which limit his
        other races leave no room under; "" if free.
    """

    athlete: str
    place: int
    per_stop_s: float
    chance_slower: float
    level: str
    recent: int
    last_graded: date | None
    spoken_for: str
    refused: str = ""


@dataclass(frozen=True, slots=True)
class DepthSeat:
    """One position of a car at one race.

    Attributes
    ----------
    loss_s : weighted seconds that the cheapest lawful change without the starter costs; None: there is none.
    without : that change in words.
    on_site : who steps in on site, by the plan's cover; "" where nobody does.
    """

    seat: Seat
    rows: tuple[DepthRow, ...]
    loss_s: float | None
    without: str
    on_site: str


@dataclass(frozen=True, slots=True)
class DepthChart:
    """The chart: seats by car and position, holes in words, and filled seats with the dearest loss first."""

    seats: tuple[DepthSeat, ...]
    holes: tuple[str, ...]
    hurts: tuple[str, ...]


def depth_chart(study: Study, plan: Plan, weekend: str | None = None) -> DepthChart:
    """Rank everyone with a clearance for each position of each car, at the car's first race of a weekend.

    Parameters
    ----------
    weekend : label; None: the first weekend of the plan in which the car races.

    Raises
    ------
    InputError
        When the plan has no such weekend.
    """
    season = study.season
    weekends = plan.weekends or study.weekends
    if weekend is not None and weekend not in weekends:
        raise InputError(f"weekend {weekend!r} is not in the plan{did_you_mean(weekend, weekends)}")
    races = season.races_of(weekends if weekend is None else (weekend,))
    first: dict[str, str] = {}
    for race in races:
        for car in season.cars_in[race.id]:
            first.setdefault(car, race.id)
    look = _Look(study, plan, Lineup(study.pricer, plan), new_chances(study))
    cars = [car for car in season.cars if car in first]
    seats = tuple(look.seat(seat) for car in cars for seat in season.seats(first[car], car))
    return DepthChart(seats, tuple(_holes(season, seats)), tuple(_hurts(season, seats)))


def depth_to_dict(chart: DepthChart) -> dict[str, Any]:
    """Return the JSON form of a depth chart."""
    seats = [
        {
            **asdict(one.seat),
            "rows": [{**asdict(r), "last_graded": r.last_graded and r.last_graded.isoformat()} for r in one.rows],
            "loss_s": one.loss_s,
            "without": one.without,
            "on_site": one.on_site,
        }
        for one in chart.seats
    ]
    return {"seats": seats, "holes": list(chart.holes), "hurts": list(chart.hurts)}


@dataclass(frozen=True, eq=False)
class _Look:
    study: Study
    plan: Plan
    lineup: Lineup
    chances: CrewChances

    def seat(self, seat: Seat) -> DepthSeat:
        starter = self.plan.athlete_in(seat)
        known = [a for (s, a) in self.study.problem.verdicts if s == seat]
        rows = [self.row(seat, athlete, starter) for athlete in known]
        rows.sort(key=lambda row: (row.refused != "", row.athlete != starter, row.per_stop_s, row.athlete))
        allowed = sum(not row.refused for row in rows)
        placed = [replace(row, place=number if number <= allowed else 0) for number, row in enumerate(rows, start=1)]
        change = self.without(seat, starter)
        text = "" if change is None else words.moves(self.study.season, change.moves)
        return DepthSeat(seat, tuple(placed), None if change is None else -change.gain_s, text, self.on_site(seat))

    def row(self, seat: Seat, athlete: str, starter: str | None) -> DepthRow:
        season, entry = self.study.season, seat.entry
        crew = self.lineup.crews.get(entry, {})
        after = {**crew, seat.position: athlete}
        slower = 1 - chance_quicker(self.lineup, self.chances, entry, crew, after)
        day = season.duty_days(seat.race)[0]
        return DepthRow(
            athlete,
            0,
            self.mean_stop_s(seat.race, after) - self.mean_stop_s(seat.race, crew),
            slower,
            season.clearance_level(athlete, seat.position, seat.race) or "not yet",
            graded_stops(season, athlete, seat.position, day - timedelta(days=RECENT_DAYS), _before(day)),
            last_graded(season, athlete, seat.position, _before(day)),
            "" if athlete == starter else self.spoken_for(seat.race, athlete),
            "; ".join(verdict.text for verdict in refusals(season, athlete, seat)),
        )

    def spoken_for(self, race: str, athlete: str) -> str:
        there = self.lineup.seat_of.get((race, athlete))
        if there is not None:
            return words.place(self.study.season, there, race=False)
        if any((r.race, r.athlete) == (race, athlete) for r in self.plan.reserves):
            return "reserve"
        starts, rules = self.lineup.races_of.get(athlete, []), self.study.pricer.rules
        kept = {(b.rule, b.race) for b in rules.assess(athlete, starts).breaches}
        more = [b.text for b in rules.assess(athlete, [*starts, race]).breaches if (b.rule, b.race) not in kept]
        return words.plain(self.study.season, more[0].partition(": ")[2] or more[0]) if more else ""

    def mean_stop_s(self, race: str, crew: Mapping[str, str]) -> float:
        """Return the mean stop of a crew over the services of a race, each as often as it is expected."""
        means = self.study.pricer.mean_s(race, crew)
        counts = {bank.service: count for bank, count in self.study.pricer.services(race)}
        return sum(count * means[service] for service, count in counts.items()) / (sum(counts.values()) or 1.0)

    def without(self, seat: Seat, starter: str | None) -> Change | None:
        """Return the cheapest lawful change in the race that leaves the starter without a seat there."""
        ways = [
            moves
            for moves in of_seat(self.study, self.lineup, seat)
            if starter is not None and any(m.athlete == starter and m.end is None for m in moves)
        ]
        priced = sorted((self.lineup.change(moves, with_rules=False) for moves in ways), key=lambda c: -c.gain_s)
        return best_lawful([self.lineup.with_breaches(change) for change in priced[:CHANGES_TRIED]])

    def on_site(self, seat: Seat) -> str:
        cover = next((c for c in self.plan.cover if c.seat == seat and c.moves), None)
        return "" if cover is None else words.moves(self.study.season, cover.moves)


def _before(day: date) -> date:
    return day - timedelta(days=1)


def _holes(season: Season, seats: tuple[DepthSeat, ...]) -> Iterator[str]:
    for one in seats:
        if season.positions[one.seat.position].filled != "always":
            continue
        able = [row for row in one.rows if row.place > 1]
        free = [row for row in able if not row.spoken_for or row.spoken_for == "reserve"]
        where = words.place(season, one.seat)
        if not able:
            yield f"Behind the starter nobody may work {where}."
        elif not free:
            names = words.listing([words.name(season, row.athlete) for row in able])
            yield f"Whoever else may work {where} is spoken for: {names}."
        elif one.loss_s is None:
            yield f"{where[0].upper()}{where[1:]}: nobody can take over without breaking a limit."


def _hurts(season: Season, seats: tuple[DepthSeat, ...], most: int = 5) -> Iterator[str]:
    filled = [one for one in seats if one.rows and one.rows[0].place == 1 and one.loss_s is not None]
    for one in sorted(filled, key=lambda one: -(one.loss_s or 0.0))[:most]:
        starter = words.name(season, one.rows[0].athlete)
        cost = words.seconds(one.loss_s or 0.0)
        yield f"Losing {starter} as {words.place(season, one.seat)} costs {cost} of weighted time: {one.without}."
