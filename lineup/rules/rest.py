"""Rules about time: no two duties at once, rest between them, long days, a long rest each week or window of days."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator

from lineup.limits import Limit
from lineup.rules.findings import Case, Finding, shown, shown_at
from lineup.rules.timeline import SAME_H, Chain, Duty
from lineup.travel import journey


def one_seat(case: Case) -> Iterator[Finding]:
    """Nobody is in two places at once: duties do not overlap, and the journey between two sites fits."""
    latest: Duty | None = None
    for duty in case.duties:
        if latest is not None and (latest.block or duty.block):
            yield from _clash(case, latest, duty)
        if latest is None or duty.released >= latest.released:
            latest = duty


def _clash(case: Case, earlier: Duty, later: Duty) -> Iterator[Finding]:
    between_h = later.report - earlier.released
    way_h = journey(case.season, earlier.site, later.site).hours
    if between_h >= way_h - SAME_H:
        return
    first, second = case.name(earlier.race), case.name(later.race)
    if earlier.race == later.race:
        text = f"{case.who} both starts and travels as a reserve at {first}"
    elif between_h < 0:
        text = f"{case.who}: {first} and {second} overlap by {-between_h:.1f} h"
    else:
        text = f"{case.who}: {between_h:.1f} h from {first} to {second}, the journey takes {way_h:.1f} h"
    yield Finding("one_seat", shown_at((earlier,), (later,)), between_h, way_h, text)


def rest_hours(case: Case, limit: Limit) -> Iterator[Finding]:
    """Rest between released and the next report, the direct journey left out."""
    need = limit.least
    for earlier, later, gap in case.rest.between():
        if not (earlier.block or later.block):
            continue
        rest_h = max(0.0, later.report - earlier.released - gap.direct_h)
        if rest_h < need - SAME_H:
            first, second = case.name(earlier.duties[-1].race), case.name(later.duties[0].race)
            text = f"{case.who}: {rest_h:.1f} h of rest of {need:g} h needed between {first} and {second}"
            yield Finding("rest_hours", shown_at(earlier.duties, later.duties), rest_h, need, text)


def duty_hours(case: Case, limit: Limit) -> Iterator[Finding]:
    """Longest span of the duties of one day at one site, taken together."""
    most = limit.most
    for shift in case.rest.shifts:
        if shift.block and shift.hours > most + SAME_H:
            races = " and ".join(case.name(duty.race) for duty in shift.duties)
            text = f"{case.who}: {shift.hours:.1f} h on duty of {most:g} h allowed at {races}"
            yield Finding("duty_hours", shown_at(shift.duties), shift.hours, most, text)


def weekly_rest_hours(case: Case, limit: Limit) -> Iterator[Finding]:
    """Check for one rest that long inside each ISO week of the block, on the home clock; journeys are no rest."""
    mondays = [7 * week + 1 for week in sorted(case.weeks)]
    for first, race, rest_h in _short_windows(case, limit, mondays, 7, with_journeys=True):
        text = f"{case.who}: longest rest of the week from {shown(first)} is {rest_h:.1f} h of {limit.least:g} h needed"
        yield Finding(limit.name, race, rest_h, limit.least, text)


def rolling_rest_hours(case: Case, limit: Limit) -> Iterator[Finding]:
    """Check for one rest that long in every run of so many days, on the home clock, that touches a block duty."""
    days = limit.window_days
    touched = [shift.day for shift in case.rest.shifts if shift.block]
    firsts = range(touched[0] - days, touched[-1] + 3) if touched else range(0)
    for first, race, rest_h in _short_windows(case, limit, firsts, days, with_journeys=False):
        window = f"{shown(first)} to {shown(first + days - 1)}"
        text = f"{case.who}: longest rest from {window} is {rest_h:.1f} h of {limit.least:g} h needed"
        yield Finding(limit.name, race, rest_h, limit.least, text)


def _short_windows(
    case: Case, limit: Limit, firsts: Iterable[int], days: int, with_journeys: bool
) -> Iterator[tuple[int, str, float]]:
    """Windows of home days that a duty of the block touches and whose longest rest is short: day, race, hours."""
    spells, reaches = deque(case.rest.free()), list(_reaches(case.rest, with_journeys))
    need = limit.least - SAME_H
    for first in firsts:
        start, end = case.clock.midnight(first), case.clock.midnight(first + days)
        race = None
        for since, until, name in reaches:
            if since < end - SAME_H and until > start + SAME_H:
                race = name
        if race is None:
            continue
        while spells[0][1] <= start:  # windows only move on, and the last spell never ends
            spells.popleft()
        rest_h = 0.0
        for since, until in spells:
            if since >= end:
                break
            rest_h = max(rest_h, (until if until < end else end) - (since if since > start else start))
        if rest_h < need:
            yield first, race, rest_h


def _reaches(chain: Chain, with_journeys: bool) -> Iterator[tuple[float, float, str]]:
    """From when to when each shift of the block keeps its athlete busy, and its last race of the block."""
    for index, shift in enumerate(chain.shifts):
        if shift.block:
            way_in, way_out = (chain.gaps[index].in_h, chain.gaps[index + 1].out_h) if with_journeys else (0.0, 0.0)
            yield shift.report - way_in, shift.released + way_out, shown_at(shift.duties)
