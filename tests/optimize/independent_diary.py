"""What each set of races asks of one athlete, written from the words of the limits alone: allowed or not, and its cost.

It shares no line with the optimiser, the evaluator or the audit. Hours at the wheel are left out.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import chain, combinations, groupby, pairwise

from lineup.limits import Limit
from lineup.season import Season
from lineup.travel import computed_journey, distance_km

HOUR, DAY = timedelta(hours=1), timedelta(days=1)
EARLY, LATE = datetime(2000, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC)


@dataclass(frozen=True)
class Duty:
    race: str
    site: str
    report: datetime
    released: datetime
    day: date
    now: bool  # in the block, not before it

    @property
    def week(self) -> date:
        """Monday of its ISO week."""
        return self.day - self.day.weekday() * DAY


@dataclass(frozen=True)
class Stay:
    """Duties of one local day at one site."""

    duties: tuple[Duty, ...]

    @property
    def site(self) -> str:
        return self.duties[0].site

    @property
    def begin(self) -> datetime:
        return self.duties[0].report

    @property
    def end(self) -> datetime:
        return max(duty.released for duty in self.duties)

    @property
    def now(self) -> bool:
        return any(duty.now for duty in self.duties)


def way_h(season: Season, start: str, end: str) -> float:
    """Hours from site to site: journeys.csv, the way back where only that is stated, else from coordinates."""
    if start == end:
        return 0.0
    for one, two in ((start, end), (end, start)):
        for fact in season.journeys:
            if (fact.start, fact.end) == (one, two):
                return fact.hours
    return computed_journey(distance_km(season.sites[start], season.sites[end]), season.limits.journeys).hours


def schedules(
    season: Season, athlete: str, races: tuple[str, ...], may_start: bool
) -> Iterator[tuple[set[str], float]]:
    """Every set of these races that an athlete may work, with what it costs in seconds."""
    past = [
        Duty(w.race, w.site, w.report, w.released, season.local(w.report, w.site).date(), False)
        for w in season.worked
        if w.athlete == athlete and w.race not in season.races
    ]
    for chosen in chain.from_iterable(combinations(races, size) for size in range(len(races) + 1)):
        facts = [season.races[race] for race in chosen]
        here = [Duty(f.id, f.site, f.report, f.released, season.local(f.report, f.site).date(), True) for f in facts]
        cost = Diary(season, athlete, sorted([*past, *here], key=lambda duty: duty.report), may_start).cost()
        if cost is not None:
            yield set(chosen), cost


class Diary:
    """One athlete's duties in order of report, those before the block included."""

    def __init__(self, season: Season, athlete: str, duties: list[Duty], may_start: bool) -> None:
        self.season, self.duties, self.may_start = season, duties, may_start
        self.home = season.athletes[athlete].home
        self.stays = [Stay(tuple(group)) for _, group in groupby(duties, key=lambda duty: (duty.day, duty.site))]
        self.legs: list[tuple[datetime, datetime]] = []  # on the road or in the air
        self.nights: list[date] = []  # away from home, each named by the day before it
        self.brought = [0.0] * len(self.stays)  # hours of travel that each stay brings
        self._travel()

    def cost(self) -> float | None:
        """Travel and priced limits in seconds; None where a hard limit is broken."""
        if not self._fits():
            return None
        total = self.season.weights.travel_hour_s * sum(
            hours for hours, stay in zip(self.brought, self.stays, strict=True) if stay.now
        )
        for name, limit in self.season.limits.by_name.items():
            beyond = sum(self.beyond(name, limit))
            if beyond > 1e-6 and limit.price_s is None:
                return None
            total += beyond * (limit.price_s or 0.0)
        return total

    def beyond(self, name: str, limit: Limit) -> Iterator[float]:
        """Units beyond a limit, or short of it, one by one."""
        rule = getattr(self, "_" + name, None)
        for units in rule(limit) if rule else ():
            if units > 1e-6:
                yield units

    def _fits(self) -> bool:
        """Never two places at once: the later duty begins once the earlier one and the way between are over."""
        return all(
            two.report - one.released >= way_h(self.season, one.site, two.site) * HOUR - HOUR / 1e6
            for one, two in combinations(self.duties, 2)
            if one.now or two.now
        )

    # ------------------------------------------------------------------------------------------------------ travel

    def _travel(self) -> None:
        for stay in self.stays:
            if stay.site != self.home:
                self._away(stay.begin, stay.site, stay.end, stay.site)
        for i, (one, two) in enumerate(pairwise([None, *self.stays, None])):
            if one is None or two is None or self._goes_home(one, two):
                for stay, index, out in ((one, i - 1, True), (two, i, False)):
                    if stay is not None:
                        self._home_leg(stay, index, out)
            else:
                hours = way_h(self.season, one.site, two.site)
                self.brought[i] += hours
                self.legs.append((two.begin - hours * HOUR, two.begin))
                self._away(one.end, one.site, two.begin, two.site)

    def _home_leg(self, stay: Stay, index: int, out: bool) -> None:
        hours = way_h(self.season, *((stay.site, self.home) if out else (self.home, stay.site)))
        self.brought[index] += hours
        if out:
            self.legs.append((stay.end, stay.end + hours * HOUR))
            self._away(stay.end, stay.site, stay.end + hours * HOUR, self.home)
        else:
            self.legs.append((stay.begin - hours * HOUR, stay.begin))
            self._away(stay.begin - hours * HOUR, self.home, stay.begin, stay.site)

    def _goes_home(self, one: Stay, two: Stay) -> bool:
        if self.home in (one.site, two.site):
            return True
        rules = self.season.limits.journeys
        out, back = way_h(self.season, one.site, self.home), way_h(self.season, self.home, two.site)
        if (two.begin - one.end) / HOUR - out - back < rules.home_rest_h - 1e-6:
            return False
        nights = self._midnights(one.end, one.site, one.end + out * HOUR, self.home)
        nights += self._midnights(two.begin - back * HOUR, self.home, two.begin, two.site)
        stay = self._midnights(one.end, one.site, two.begin, two.site)
        direct = way_h(self.season, one.site, two.site)
        return out + back + rules.night_away_h * len(nights) <= direct + rules.night_away_h * len(stay) + 1e-6

    def _midnights(self, leave: datetime, start: str, arrive: datetime, end: str) -> list[date]:
        first = self.season.local(leave, start).date()
        return [first + i * DAY for i in range((self.season.local(arrive, end).date() - first).days)]

    def _away(self, leave: datetime, start: str, arrive: datetime, end: str) -> None:
        self.nights += self._midnights(leave, start, arrive, end)

    # ------------------------------------------------------------------------------------------------------ limits

    def _rest_hours(self, limit: Limit) -> Iterator[float]:
        for one, two in pairwise(self.stays):
            if one.now or two.now:
                rest = (two.begin - one.end) / HOUR - way_h(self.season, one.site, two.site)
                yield (limit.at_least or 0.0) - max(rest, 0.0)

    def _duty_hours(self, limit: Limit) -> Iterator[float]:
        yield from ((s.end - s.begin) / HOUR - (limit.at_most or 0.0) for s in self.stays if s.now)

    def _starts(self, limit: Limit) -> Iterator[float]:
        count = sum(duty.now for duty in self.duties)
        if limit.at_most is not None:
            yield count - limit.at_most
        if limit.at_least is not None and self.may_start:
            yield limit.at_least - count

    def _races_per_weekend(self, limit: Limit) -> Iterator[float]:
        for week in {duty.week for duty in self.duties if duty.now}:
            yield sum(duty.week == week for duty in self.duties) - (limit.at_most or 0.0)

    def _weekends_in_a_row(self, limit: Limit) -> Iterator[float]:
        weeks = {duty.week for duty in self.duties}
        for week in {duty.week for duty in self.duties if duty.now}:
            run = 1
            while week - 7 * run * DAY in weeks:
                run += 1
            yield float(run > (limit.at_most or 0.0))

    def _windows(self, limit: Limit, happened: list[tuple[date, float]]) -> Iterator[float]:
        for duty in self.duties:
            if duty.now:
                inside = (n for day, n in happened if duty.day - (limit.days or 1) * DAY < day <= duty.day)
                yield sum(inside) - (limit.at_most or 0.0)

    def _races_in_days(self, limit: Limit) -> Iterator[float]:
        yield from self._windows(limit, [(duty.day, 1.0) for duty in self.duties])

    def _nights_away_in_days(self, limit: Limit) -> Iterator[float]:
        yield from self._windows(limit, [(night, 1.0) for night in set(self.nights)])

    def _travel_hours_in_days(self, limit: Limit) -> Iterator[float]:
        yield from self._windows(limit, [(s.duties[0].day, h) for s, h in zip(self.stays, self.brought, strict=True)])

    def _weekly_rest_hours(self, limit: Limit) -> Iterator[float]:
        for monday in sorted({duty.week for duty in self._block()}):
            yield from self._short(limit, monday, 7, self._busy(True))

    def _rolling_rest_hours(self, limit: Limit) -> Iterator[float]:
        days = limit.days or 1
        own = [duty.day for duty in self.duties if duty.now]
        for n in range((own[-1] - own[0]).days + days + 5 if own else 0):
            yield from self._short(limit, own[0] + (n - days - 1) * DAY, days, self._busy(False))

    def _block(self) -> list[Duty]:
        """Every race of the block as a duty, worked or not: the weeks that a weekly rest is asked of."""
        races = self.season.races.values()
        return [
            Duty(r.id, r.site, r.report, r.released, self.season.local(r.report, r.site).date(), True) for r in races
        ]

    def _busy(self, with_ways: bool) -> list[tuple[datetime, datetime]]:
        spans = [(stay.begin, stay.end) for stay in self.stays if stay.now]
        ends = {t for span in spans for t in span}
        return spans + ([leg for leg in self.legs if ends & set(leg)] if with_ways else [])

    def _short(
        self, limit: Limit, first: date, days: int, touching: list[tuple[datetime, datetime]]
    ) -> Iterator[float]:
        """Hours short of one long rest in a run of home days, where a duty of the block touches it."""
        zone = self.season.zone(self.home)
        start, end = (datetime.combine(d, time(), zone).astimezone(UTC) for d in (first, first + days * DAY))
        if any(a < end and b > start for a, b in touching):
            taken = sorted([(EARLY, start), *((s.begin, s.end) for s in self.stays), *self.legs, (end, LATE)])
            best, free_from = timedelta(), start
            for begin, finish in taken:
                best = max(best, min(begin, end) - max(free_from, start))
                free_from = max(free_from, finish)
            yield (limit.at_least or 0.0) - best / HOUR


def by_athlete(
    season: Season, races: Mapping[str, tuple[str, ...]], starters: set[str]
) -> dict[str, list[tuple[set[str], float]]]:
    """Schedules of each athlete, given the races each could work."""
    return {a: list(schedules(season, a, races.get(a, ()), a in starters)) for a in season.athletes}
