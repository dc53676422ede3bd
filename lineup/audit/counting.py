"""Checks that count: races, weekends, nights, travel, starts, and people per race."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date, timedelta

from lineup.audit.diary import HOUR, Stint
from lineup.audit.records import Check, Measure, held, summarise
from lineup.audit.scene import Scene
from lineup.limits import KNOWN_LIMITS, Limit, counted

Maker = Callable[[Scene, Limit, str], Iterator[Measure]]


def count_checks(scene: Scene) -> Iterator[Check]:
    """Every check that counts."""
    makers: dict[str, Maker] = {
        "races_per_weekend": _per_weekend,
        "weekends_in_a_row": _in_a_row,
        "races_in_days": _races,
        "nights_away_in_days": _nights,
        "travel_hours_in_days": _travel,
    }
    for name, make in makers.items():
        limit = scene.limit(name)
        if limit is not None:
            measures = [measure for athlete in scene.busy_athletes() for measure in make(scene, limit, athlete)]
            yield _summary(limit, measures)
    limit = scene.limit("starts")
    if limit is not None:
        yield _summary(
            limit, [measure for athlete in scene.season.athletes for measure in _starts(scene, limit, athlete)]
        )
    measures = list(_places(scene))
    limit = scene.limit("travel_places")
    if measures or limit is not None:
        source = "races.csv and limits.toml" if limit is not None else "races.csv"
        priced = limit is not None and not limit.hard
        yield summarise("travel_places", measures, priced=priced, unit="places", source=source)


def _summary(limit: Limit, measures: list[Measure]) -> Check:
    return summarise(limit.name, measures, priced=not limit.hard, unit=KNOWN_LIMITS[limit.name][1], source=limit.source)


def _most(scene: Scene, limit: Limit, athlete: str, race: str, figure: float, words: str) -> Measure:
    """Hold a figure of an athlete at a race against the most that is allowed."""
    most = limit.most
    text = f"{counted(figure, KNOWN_LIMITS[limit.name][1])} of {most:g} allowed: {scene.who(athlete)}, {words}"
    return held(limit, athlete, race, text, figure, most)


def _per_weekend(scene: Scene, limit: Limit, athlete: str) -> Iterator[Measure]:
    diary = scene.diary(athlete, with_trips=False)
    weeks = Counter(_week(diary.stint_day(stint)) for stint in diary.stints)
    last = {_week(diary.stint_day(stint)): stint.race for stint in diary.stints if stint.planned}
    for week, race in last.items():
        yield _most(scene, limit, athlete, race, weeks[week], f"weekend of {scene.race(race)}")


def _in_a_row(scene: Scene, limit: Limit, athlete: str) -> Iterator[Measure]:
    """Walk back from each weekend of the block for as long as there is a duty in the week before."""
    diary = scene.resting_diary(athlete)
    mondays = {_monday(diary.stint_day(stint)) for stint in diary.stints}
    last = {_monday(diary.stint_day(stint)): stint.race for stint in diary.stints if stint.planned}
    for monday, race in last.items():
        run, back = 0, monday
        while back in mondays:
            run, back = run + 1, back - timedelta(days=7)
        measure = _most(scene, limit, athlete, race, run, f"with {scene.race(race)}")
        yield replace(measure, cost_s=None if measure.kept else limit.price_s)  # this weekend is one beyond


def _races(scene: Scene, limit: Limit, athlete: str) -> Iterator[Measure]:
    diary = scene.diary(athlete, with_trips=False)
    days = [diary.stint_day(stint) for stint in diary.stints]
    for stint in diary.stints:
        if stint.planned:
            window = _window(diary.stint_day(stint), limit)
            count = sum(day in window for day in days)
            yield _in_window(scene, limit, athlete, stint, count)


def _nights(scene: Scene, limit: Limit, athlete: str) -> Iterator[Measure]:
    diary = scene.diary(athlete, with_trips=True)
    nights = diary.nights()
    for stint in diary.stints:
        if stint.planned:
            window = _window(diary.stint_day(stint), limit)
            count = sum(night in window for night in nights)
            yield _in_window(scene, limit, athlete, stint, count)


def _travel(scene: Scene, limit: Limit, athlete: str) -> Iterator[Measure]:
    diary = scene.diary(athlete, with_trips=True)
    for stint in diary.stints:
        if stint.planned:
            window = _window(diary.stint_day(stint), limit)
            spans = (s.way_in + s.way_out for s in diary.stays if diary.stint_day(s.stints[0]) in window)
            yield _in_window(scene, limit, athlete, stint, sum(spans, timedelta()) / HOUR)


def _in_window(scene: Scene, limit: Limit, athlete: str, stint: Stint, figure: float) -> Measure:
    words = f"{limit.days} days to {scene.race(stint.race)}"
    return _most(scene, limit, athlete, stint.race, figure, words)


def _window(last: date, limit: Limit) -> frozenset[date]:
    return frozenset(last - timedelta(days=n) for n in range(limit.window_days))


def _week(day: date) -> tuple[int, int]:
    return day.isocalendar()[0], day.isocalendar()[1]


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())


def _starts(scene: Scene, limit: Limit, athlete: str) -> Iterator[Measure]:
    races = tuple(dict.fromkeys(scene.worked[athlete]))
    count, race = len(races), races[-1] if races else None
    if limit.at_most is not None and races:
        yield _most(scene, limit, athlete, races[-1], count, "in the block")
    if limit.at_least is not None and athlete in scene.able:
        text = f"{counted(count, 'starts')} of {limit.at_least:g} needed: {scene.who(athlete)}"
        yield held(limit, athlete, race, text, count, limit.at_least, least=True)


def _places(scene: Scene) -> Iterator[Measure]:
    limit = scene.limit("travel_places")
    for race, facts in scene.races.items():
        default = None if limit is None else limit.at_most
        places = facts.travel_places if facts.travel_places is not None else default
        if places is None:
            continue
        starters = {a.athlete for a in scene.plan.assignments if a.race == race}
        people = starters | {r.athlete for r in scene.plan.reserves if r.race == race}
        beyond = len(people) - places
        cost_s = None if beyond <= 0 or limit is None or limit.price_s is None else limit.price_s * beyond
        people_told = "1 person" if len(people) == 1 else f"{len(people)} people"
        text = f"{people_told} of {places:g} travel places: {scene.race(race)}"
        yield Measure(text, beyond <= 0, None, race, None, None, len(people), places, beyond, cost_s)
