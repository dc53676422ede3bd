"""Checks of time: duties that overlap, rest, long days, weekly and rolling rest, hours at the wheel."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta
from itertools import combinations, pairwise

from lineup.audit.diary import BLINK, HOUR, Diary, Stay
from lineup.audit.records import Check, Measure, held, summarise
from lineup.audit.scene import Scene
from lineup.audit.wheel import wheel_measures
from lineup.limits import Limit

Maker = Callable[[Scene, Limit, str], Iterator[Measure]]


def time_checks(scene: Scene) -> Iterator[Check]:
    """Every check of elapsed time."""
    overlaps = [measure for athlete in scene.busy_athletes() for measure in _overlaps(scene, athlete)]
    yield summarise("one_seat", overlaps, fine="nobody is in two places at once")
    makers: dict[str, Maker] = {
        "rest_hours": _rests,
        "duty_hours": _days,
        "weekly_rest_hours": _weekly,
        "rolling_rest_hours": _rolling,
        "driving_hours": wheel_measures,
    }
    for name, make in makers.items():
        limit = scene.limit(name)
        if limit is not None:
            measures = [measure for athlete in scene.busy_athletes() for measure in make(scene, limit, athlete)]
            yield summarise(name, measures, priced=not limit.hard, unit="h", source=limit.source)


def in_hours(span: timedelta) -> float:
    """Span in hours."""
    return span / HOUR


def _overlaps(scene: Scene, athlete: str) -> Iterator[Measure]:
    """Hold every two stints against each other, however far apart in the list."""
    diary, who = scene.diary(athlete, with_trips=True), scene.who(athlete)
    seats = scene.worked[athlete]
    for race in dict.fromkeys(seats):
        if seats.count(race) > 1:
            yield Measure(f"{who} fills {seats.count(race)} seats at {scene.race(race)}", False, athlete, race)
    for first, second in combinations(diary.stints, 2):
        if not (first.planned or second.planned):
            continue
        between = second.begin - first.end
        if between < diary.way(first.site, second.site) - BLINK:
            where = f"{scene.race(first.race)} and {scene.race(second.race)}"
            race = second.race if second.planned else first.race
            text = f"{who} cannot be at both {where}: {in_hours(between):.1f} h between them"
            yield Measure(text, False, athlete, race, None, None, in_hours(between))


def _rests(scene: Scene, limit: Limit, athlete: str) -> Iterator[Measure]:
    diary, need = scene.resting_diary(athlete), limit.least
    for earlier, later in pairwise(diary.stays):
        if earlier.planned or later.planned:
            span = later.begin - earlier.end - diary.way(earlier.site, later.site)
            rest = max(0.0, in_hours(span))
            names = f"{scene.race(earlier.stints[-1].race)} and {scene.race(later.stints[0].race)}"
            text = f"{rest:.1f} h of {need:g} h needed: {scene.who(athlete)}, between {names}"
            yield held(limit, athlete, _judged(earlier, later), text, rest, need, least=True)


def _judged(earlier: Stay, later: Stay) -> str:
    return later.last_planned if later.planned else earlier.last_planned


def _days(scene: Scene, limit: Limit, athlete: str) -> Iterator[Measure]:
    most = limit.most
    for stay in scene.resting_diary(athlete).stays:
        if stay.planned:
            span = in_hours(stay.end - stay.begin)
            text = f"{span:.1f} h of {most:g} h allowed: {scene.who(athlete)}, {scene.race(stay.last_planned)}"
            yield held(limit, athlete, stay.last_planned, text, span, most)


def _weekly(scene: Scene, limit: Limit, athlete: str) -> Iterator[Measure]:
    """Measure each ISO week of the block that a planned stay or its journeys touch."""
    diary, need = scene.resting_diary(athlete), limit.least
    spans = _spans(diary, with_ways=True)
    weeks = {scene.season.iso_weeks[race] for race in scene.races}
    for year, week in sorted(weeks):
        monday = date.fromisocalendar(year, week, 1)
        begin, end = diary.midnight(monday), diary.midnight(monday + timedelta(days=7))
        race = _touching(spans, begin, end)
        if race is not None:
            rest = in_hours(diary.longest_rest(begin, end))
            text = f"{rest:.1f} h of {need:g} h needed: {scene.who(athlete)}, week {week} of {year}"
            yield held(limit, athlete, race, text, rest, need, least=True)


def _rolling(scene: Scene, limit: Limit, athlete: str) -> Iterator[Measure]:
    """Measure every run of days that a planned stay touches."""
    diary, need, length = scene.resting_diary(athlete), limit.least, timedelta(days=limit.window_days)
    spans = _spans(diary, with_ways=False)
    if not spans:
        return
    day = diary.day(spans[0][0], diary.home) - length + timedelta(days=1)
    last = diary.day(max(until for _, until, _ in spans), diary.home)
    while day <= last:
        begin, end = diary.midnight(day), diary.midnight(day + length)
        race = _touching(spans, begin, end)
        if race is not None:
            rest = in_hours(diary.longest_rest(begin, end))
            text = f"{rest:.1f} h of {need:g} h needed: {scene.who(athlete)}, {limit.days} days from {day}"
            yield held(limit, athlete, race, text, rest, need, least=True)
        day += timedelta(days=1)


def _spans(diary: Diary, with_ways: bool) -> list[tuple[datetime, datetime, str]]:
    """From when to when each stay of the block (with its journeys) lasts, and its last race."""
    return [
        (stay.begin - stay.way_in * with_ways, stay.end + stay.way_out * with_ways, stay.last_planned)
        for stay in diary.stays
        if stay.planned
    ]


def _touching(spans: list[tuple[datetime, datetime, str]], begin: datetime, end: datetime) -> str | None:
    """Race of the last span that touches the time between two moments."""
    races = [race for since, until, race in spans if since < end - BLINK and until > begin + BLINK]
    return races[-1] if races else None
