"""Repairs with people: who is cleared, graded, tall enough or back, and one more athlete."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta

from lineup.eligibility import shown_day
from lineup.explain.grounds import Ground, of_absence
from lineup.explain.repair_tools import ClashInHand, Offer
from lineup.recent_grades import graded_stops
from lineup.season import Absence, Athlete, Clearance

MOST_TRIES = 8  # athletes tried for one clearance
MOST_CLEARED = 2  # clearances offered per position
MOST_NEWCOMERS = 2  # positions for which one more athlete is offered
NEWCOMER = "one-more"


def clearances(clash: ClashInHand) -> Iterator[Offer]:
    """Clear someone who lacks nothing else, the graded stops at most; those in training for it first."""
    for ground in clash.of("clearance"):
        (position,) = ground.ids
        seats = [seat for seat in clash.seats if seat.position == position]
        offered = 0
        for athlete in _not_cleared(clash, position)[:MOST_TRIES]:
            graded = Ground("recent_grades", (athlete, position))
            rows = (*clash.season.clearances, Clearance(athlete, position, "cleared"))
            changed = clash.with_season((athlete,), clearances=rows)
            against = [set(changed.blockers(seat, athlete)) for seat in seats]
            if not against or min(against, key=len) - {graded}:
                continue
            text = f"clear {clash.label('athletes', athlete)} for {clash.label('positions', position)}"
            if min(against, key=len):
                text += f", after {_missing_grades(clash, athlete, position)} more graded stops there"
            offers = list(clash.tried(text, (athlete, position), changed.lifting(graded)))
            yield from offers
            offered += len(offers)
            if offered == MOST_CLEARED:
                break


def _not_cleared(clash: ClashInHand, position: str) -> list[str]:
    """Athletes without a full clearance for a position: in training first, then by graded stops in it."""
    season = clash.season
    rows = [c for c in season.clearances if c.position == position]
    cleared = {c.athlete for c in rows if c.level == "cleared" and c.series is None and c.since is None}
    learning = {c.athlete for c in rows}
    others = [athlete for athlete in season.athletes if athlete not in cleared]
    standing = set(season.standing.values())

    def rank(athlete: str) -> tuple[bool, float, int, bool, bool]:
        have, need_m = season.athletes[athlete].height_m, season.positions[position].min_height_m
        short = have is not None and need_m is not None and have < need_m
        graded = _graded(clash, athlete, position)
        return athlete not in learning, clash.price_s(athlete), -graded, short, athlete in standing

    return sorted(others, key=rank)


def _graded(clash: ClashInHand, athlete: str, position: str) -> int:
    """Graded stops that count towards recent_grades at the first race of the clash; all of them without the limit."""
    limit, races = clash.season.limits.get("recent_grades"), [seat.race for seat in clash.seats]
    day = clash.season.duty_days(min(races or clash.block.races, key=clash.block.races.index))[0]
    days = limit.days if limit is not None and limit.days is not None else day.toordinal()
    return graded_stops(clash.season, athlete, position, day - timedelta(days=days - 1), day)


def _missing_grades(clash: ClashInHand, athlete: str, position: str) -> int:
    needed = clash.season.limits.by_name["recent_grades"].at_least or 0
    return int(needed) - _graded(clash, athlete, position)


def more_grades(clash: ClashInHand) -> Iterator[Offer]:
    """Grade the stops that somebody lacks; the stops still have to be worked in practice first."""
    for ground in clash.of("recent_grades"):
        athlete, position = ground.ids
        who, what = clash.label("athletes", athlete), clash.label("positions", position)
        text = f"grade {_missing_grades(clash, athlete, position)} more stops of {who} as {what} before then"
        yield from clash.tried(text, ground.ids, clash.without(ground))


def priced_heights(clash: ClashInHand) -> Iterator[Offer]:
    """Let somebody below the height of a position work it."""
    for ground in clash.of("height"):
        athlete, position = ground.ids
        text = f"price the height asked of {clash.label('positions', position)} for {clash.label('athletes', athlete)}"
        yield from clash.tried(f"{text} instead of forbidding it", ground.ids, clash.without(ground))


def shorter_absences(clash: ClashInHand) -> Iterator[Offer]:
    """End an absence before the first race of the clash that it touches: never the tool's word."""
    grounds = sorted(clash.of("availability"), key=lambda ground: (clash.price_s(ground.ids[0]), ground))
    for ground in grounds:
        athlete = ground.ids[0]
        for absence in (a for a in clash.season.absences if of_absence(a) == ground):
            first = _first_touched(clash, absence)
            if first is None:
                continue
            ended = replace(absence, last_day=first - timedelta(days=1))
            rows = [ended if row is absence else row for row in clash.season.absences]
            kept = tuple(row for row in rows if row is not ended or ended.first_day < first)
            text = f"have {clash.label('athletes', athlete)} back by {shown_day(first)}"
            caution = "; only those who may release an athlete decide that" if absence.kind == "medical" else ""
            yield from clash.tried(text + caution, ground.ids, clash.with_season((athlete,), absences=kept))


def _first_touched(clash: ClashInHand, absence: Absence) -> date | None:
    """First day of the first race of the clash at which an absence keeps the athlete out of a seat."""
    races = {seat.race: seat for seat in clash.seats} | {
        ground.ids[2]: None for ground in clash.of("must") if ground.ids[2] and ground.ids[0] == absence.athlete
    }
    days = [clash.season.duty_days(race) for race in (races or clash.block.races)]
    touched = [first for first, last in days if absence.touches(first, last)]
    return min(touched, default=None)


def newcomers(clash: ClashInHand) -> Iterator[Offer]:
    """Add one athlete who lacks nothing: what the organisation is short of, in one line."""
    homes = [athlete.home for athlete in clash.season.athletes.values()]
    home = max(dict.fromkeys(homes), key=homes.count, default=next(iter(clash.season.sites)))
    for position in [*dict.fromkeys(seat.position for seat in clash.seats)][:MOST_NEWCOMERS]:
        taller = clash.season.positions[position].min_height_m
        newcomer = Athlete(NEWCOMER, "One more", home, height_m=taller)
        changed = clash.with_season(
            (NEWCOMER,),
            athletes={**clash.season.athletes, NEWCOMER: newcomer},
            clearances=(*clash.season.clearances, Clearance(NEWCOMER, position, "cleared")),
        ).lifting(Ground("recent_grades", (NEWCOMER, position)))
        races = ", ".join(
            clash.label("races", race) for race in dict.fromkeys(s.race for s in clash.seats if s.position == position)
        )
        text = f"find one more athlete cleared for {clash.label('positions', position)} at {races}"
        yield from clash.tried(text, (position,), changed)
