"""May this athlete fill this seat: clearance, height, availability, pins and recent grades, in a coach's words.

The verdict applies what the coach, the roster and the limits say. It clears nobody to compete: that stays with
licensed practice and the sanctioning body.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from lineup.pins import matches_race, pin_place
from lineup.recent_grades import graded_stops
from lineup.season import Season, Seat

HEIGHT_TOLERANCE_M = 1e-6  # 72 in and 182.88 cm are the same height
_INCH_M = 0.0254


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether an athlete may fill a seat.

    Attributes
    ----------
    rule : the rule that forbids or prices it (clearance, height, availability, pin, recent_grades), else None.
    text : why, with names and figures; where it is allowed, what is worth knowing, or nothing.
    costs : seconds by cost item ("limit:height", "limit:recent_grades") where a priced limit is passed over.
    figure, limit : the number next to the limit, where the rule has one.
    """

    allowed: bool
    rule: str | None = None
    text: str = ""
    costs: Mapping[str, float] = field(default_factory=dict)
    figure: float | None = None
    limit: float | None = None

    @property
    def price_s(self) -> float:
        """Seconds that passing over priced limits costs."""
        return sum(self.costs.values())


def may_fill(season: Season, athlete: str, seat: Seat) -> Verdict:
    """Decide whether an athlete may fill a seat: the first rule that forbids it, else what it costs."""
    notes: list[str] = []
    costs: dict[str, float] = {}
    rule: str | None = None
    for verdict in _verdicts(season, athlete, seat):
        if not verdict.allowed:
            return verdict
        notes.append(verdict.text)
        costs |= verdict.costs
        rule = rule or verdict.rule
    return Verdict(True, rule, "; ".join(notes), costs)


def passed_over(season: Season, athlete: str, seat: Seat) -> tuple[Verdict, ...]:
    """Priced limits that an athlete in a seat passes over, whether or not another rule forbids it."""
    return tuple(verdict for verdict in _verdicts(season, athlete, seat) if verdict.costs)


def may_start(season: Season, weekends: Sequence[str]) -> frozenset[str]:
    """Athletes who may start in some seat of these weekends."""
    seats = [
        seat
        for race in season.races_of(tuple(weekends))
        for car in season.cars_in[race.id]
        for seat in season.seats(race.id, car)
    ]
    cleared = season.clearances_of
    return frozenset(
        athlete
        for athlete in season.athletes
        if any((athlete, seat.position) in cleared and may_fill(season, athlete, seat).allowed for seat in seats)
    )


def refusals(season: Season, athlete: str, seat: Seat) -> tuple[Verdict, ...]:
    """Every rule that forbids it, in the order clearance, height, availability, pin, recent_grades."""
    return tuple(verdict for verdict in _verdicts(season, athlete, seat) if not verdict.allowed)


def shown_day(day: date) -> str:
    """Write a day as messages show it."""
    return f"{day.day} {day:%b %Y}"


def _verdicts(season: Season, athlete: str, seat: Seat) -> Iterator[Verdict]:
    """Yield what each rule has to say; nothing where it is content."""
    for rule in (_clearance, _height, _availability, _pins, _recent_grades):
        verdict = rule(season, athlete, seat)
        if verdict is not None:
            yield verdict


def _clearance(season: Season, athlete: str, seat: Seat) -> Verdict | None:
    level = season.clearance_level(athlete, seat.position, seat.race)
    if level == "cleared":
        return None
    who, what = season.label("athletes", athlete), season.label("positions", seat.position)
    if level == "training":
        pins = season.pins_of.get(athlete, ())
        if any(pin.kind == "must" and pin.position is not None and pin.matches(seat) for pin in pins):
            return Verdict(True, None, f"{who} is in training for {what} and pinned to it")
        return Verdict(False, "clearance", f"{who} is in training for {what}: starts only where a must pin names it")
    rows = season.clearances_of.get((athlete, seat.position), ())
    race, day = season.races[seat.race], season.duty_days(seat.race)[0]
    later = [c.since for c in rows if c.since is not None and c.since > day and c.series in (None, race.series)]
    if later:
        return Verdict(False, "clearance", f"{who} is cleared for {what} only from {shown_day(min(later))}")
    if rows:
        series = ", ".join(sorted({c.series for c in rows if c.series is not None}))
        return Verdict(False, "clearance", f"{who} is cleared for {what} in series {series}, not in {race.series}")
    return Verdict(False, "clearance", f"{who} has no clearance for {what}")


def _height(season: Season, athlete: str, seat: Seat) -> Verdict | None:
    need, have = season.positions[seat.position].min_height_m, season.athletes[athlete].height_m
    who, what = season.label("athletes", athlete), season.label("positions", seat.position)
    if need is None:
        return None
    if have is None:
        return Verdict(True, None, f"{who}'s height is not known; {what} asks for {_length(need)}")
    if have >= need - HEIGHT_TOLERANCE_M:
        return None
    text = f"{who} is {_length(have)} tall; {what} asks for {_length(need)}"
    priced = season.limits.get("height")
    if priced is None or priced.price_s is None:
        return Verdict(False, "height", text, {}, have, need)
    return Verdict(True, "height", text, {"limit:height": priced.price_s}, have, need)


def _availability(season: Season, athlete: str, seat: Seat) -> Verdict | None:
    first, last = season.duty_days(seat.race)
    who = season.label("athletes", athlete)
    for absence in season.absences_of.get(athlete, ()):
        if not absence.touches(first, last):
            continue
        until = "" if absence.last_day is None else f" until {shown_day(absence.last_day)}"
        if absence.status == "out":
            return Verdict(False, "availability", f"{who} is out{until or ', with no day of return'}")
        if seat.position not in absence.positions:
            allowed = ", ".join(season.label("positions", p) for p in absence.positions) or "nothing"
            what = season.label("positions", seat.position)
            return Verdict(False, "availability", f"{who} may work only {allowed}{until}, not {what}")
    return None


def _pins(season: Season, athlete: str, seat: Seat) -> Verdict | None:
    who = season.label("athletes", athlete)
    for pin in season.pins_of.get(athlete, ()):
        matches = pin.matches(seat)
        if pin.kind == "never" and matches:
            return Verdict(False, "pin", f"{who} is pinned away from {pin_place(season, pin)}: {pin.reason}")
        if pin.kind == "must" and not matches and matches_race(season, pin, seat.race):
            return Verdict(False, "pin", f"{who} is pinned to {pin_place(season, pin)}: {pin.reason}")
    return None


def _recent_grades(season: Season, athlete: str, seat: Seat) -> Verdict | None:
    limit = season.limits.get("recent_grades")
    if limit is None or limit.at_least is None or limit.days is None:
        return None
    day = season.duty_days(seat.race)[0]
    count = graded_stops(season, athlete, seat.position, day - timedelta(days=limit.days - 1), day)
    if count >= limit.at_least:
        return None
    who, what = season.label("athletes", athlete), season.label("positions", seat.position)
    text = (
        f"{who} has {count} of {limit.at_least:g} graded stops needed as {what} "
        f"in the {limit.days} days to {shown_day(day)}"
    )
    if limit.price_s is None:
        return Verdict(False, "recent_grades", text, {}, count, limit.at_least)
    costs = {"limit:recent_grades": limit.price_s * (limit.at_least - count)}
    return Verdict(True, "recent_grades", text, costs, count, limit.at_least)


def _length(metres: float) -> str:
    return f"{metres * 100:.1f} cm ({metres / _INCH_M:.1f} in)"
