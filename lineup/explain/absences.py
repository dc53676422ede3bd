"""New absences and returns, checked: who is out from when, and the coach's dates for coming back."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from lineup.eligibility import may_fill, shown_day
from lineup.errors import InputError
from lineup.explain import words
from lineup.pins import matches_race, pin_place
from lineup.plan import Plan
from lineup.season import Absence, Pin, Season, Seat
from lineup.suggest import did_you_mean


@dataclass(frozen=True, slots=True)
class Return:
    """The coach's dates for coming back: first practice, then cover, then start. The tool clears nobody.

    Until `cover` the athlete is out; from then on he may step in for somebody, and from `start` on start.
    """

    athlete: str
    first: date
    practice: date | None
    cover: date
    start: date

    @property
    def no_start(self) -> Absence:
        """The days without a start."""
        return Absence(self.athlete, self.first, self.start - timedelta(days=1), "out")

    @property
    def no_cover(self) -> Absence:
        """The days on which the athlete may not even cover."""
        return Absence(self.athlete, self.first, self.cover - timedelta(days=1), "out")

    def text(self, season: Season) -> str:
        """Return the ramp as one sentence."""
        practice = "" if self.practice is None else f"practices from {shown_day(self.practice)}, "
        return (
            f"{words.name(season, self.athlete)} {practice}may cover from {shown_day(self.cover)} and start from "
            f"{shown_day(self.start)}, by the coach's dates."
        )


def absence_of(
    season: Season, weekends: Sequence[str], athlete: str, first: date | None = None, last: date | None = None
) -> Absence:
    """Return a new absence, checked: the athlete exists, the days touch the block, and nobody is out twice.

    Raises
    ------
    InputError
        When one of these does not hold.
    """
    if athlete not in season.athletes:
        raise InputError(f"athlete {athlete!r} is not in athletes.csv{did_you_mean(athlete, season.athletes)}")
    days = [season.duty_days(race.id) for race in season.races_of(tuple(weekends))]
    begins, ends = min(day for day, _ in days), max(day for _, day in days)
    start = first or begins
    if last is not None and last < start:
        raise InputError(f"the absence ends on {shown_day(last)}, before it begins on {shown_day(start)}")
    if start > ends or (last is not None and last < begins):
        block = f"{shown_day(begins)} to {shown_day(ends)}"
        raise InputError(f"{shown_day(start)} lies outside the block, which runs from {block}")
    for known in season.absences:
        if known.athlete == athlete and known.status == "out" and known.touches(start, start):
            until = "with no day of return" if known.last_day is None else f"until {shown_day(known.last_day)}"
            raise InputError(f"{season.label('athletes', athlete)} is out already, {until}")
    return Absence(athlete, start, last, "out", (), "other", "")


def return_of(
    season: Season,
    weekends: Sequence[str],
    athlete: str,
    cover: date,
    start: date,
    practice: date | None = None,
    first: date | None = None,
) -> Return:
    """Return a return ramp, checked as `absence_of` does; practice, cover and start come in this order.

    Raises
    ------
    InputError
        When the days are not in order, or the absence itself is not sound.
    """
    begins = absence_of(season, weekends, athlete, first, None).first_day
    days = [day for day in (begins, practice, cover, start) if day is not None]
    if days != sorted(days) or cover <= begins:
        told = ", ".join(shown_day(day) for day in days)
        raise InputError(f"the days of a return must follow each other: out, practice, cover, start; found {told}")
    absence_of(season, weekends, athlete, begins, start - timedelta(days=1))
    return Return(athlete, begins, practice, cover, start)


def without_lapsed(
    season: Season, weekends: Sequence[str], absences: Sequence[Absence]
) -> tuple[Season, tuple[Pin, ...]]:
    """Return the season with the absences, and the must pins that nobody could keep under them.

    Such a pin is taken out for the races that the athlete misses and stays for the others.
    """
    kept: list[Pin] = []
    lapsed: list[Pin] = []
    for pin in season.pins:
        races = _missed(season, weekends, pin, absences) if pin.kind == "must" else ()
        if not races:
            kept.append(pin)
            continue
        lapsed.append(pin)
        matching = (race.id for race in season.races.values() if pin.race in (None, race.id))
        kept += [replace(pin, race=race) for race in matching if race not in races]
    return season.replace(pins=tuple(kept)).with_absence(*absences), tuple(lapsed)


def lapsed_text(season: Season, pin: Pin) -> str:
    """Say that a pin cannot be kept."""
    who = words.name(season, pin.athlete)
    where = words.plain(season, pin_place(season, pin))
    return f"The pin of {who} to {where} cannot be kept while {who} is out: take it back for those races."


def _missed(season: Season, weekends: Sequence[str], pin: Pin, absences: Sequence[Absence]) -> tuple[str, ...]:
    """Races of the block that a pin speaks of and its athlete misses."""
    found = []
    for race in season.races_of(tuple(weekends)):
        days = season.duty_days(race.id)
        out = any(a.athlete == pin.athlete and a.touches(*days) for a in absences)
        if out and matches_race(season, pin, race.id):
            found.append(race.id)
    return tuple(found)


def on_others(season: Season, plan: Plan, lost: Sequence[Seat], out: Sequence[Absence]) -> Iterator[str]:
    """Say what the loss does to people who are not lost: partners of a pair, and reserves among the absent."""
    gone = {a.athlete for a in out}
    for pin in season.pins:
        people = {plan.by_seat[seat] for seat in lost if matches_race(season, pin, seat.race)}
        if pin.kind == "pair" and people & {pin.athlete, pin.other}:
            one, other = sorted((pin.athlete, pin.other or ""), key=lambda athlete: athlete not in people)
            names = words.name(season, other), words.name(season, one)
            yield f"{names[0]} sits out where {names[1]} does: they are pinned as a pair ({pin.reason})."
    for reserve in plan.reserves:
        if reserve.athlete in gone and not any(
            may_fill(season.with_absence(*out), reserve.athlete, seat).allowed
            for car in season.cars_in[reserve.race]
            for seat in season.seats(reserve.race, car)
        ):
            race = season.races[reserve.race].name or reserve.race
            yield f"{words.name(season, reserve.athlete)} was to travel to {race} as a reserve: choose reserves again."
