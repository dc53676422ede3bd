"""The sheet of the travel party of one weekend: who goes, to which race, to do what."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from lineup.report.ink import INK, OPEN, SOFT
from lineup.report.page import LEGIBLE, MM_PER_PT, Page
from lineup.report.party import car_name, name_of, position_name, travellers, unavailable
from lineup.report.sheet_parts import (
    CAUTIONS_ON_THE_ROAD,
    Heading,
    clock,
    draw_cautions,
    draw_foot,
    draw_heading,
    draw_signatures,
    feet_height,
    heading_height,
    proof_text,
    signer_text,
    weekend_text,
)
from lineup.report.stamp import Paper
from lineup.season import Race, Season

TALLEST_ROW: Final = 10.0  # mm
GOOD_ROW: Final = 7.5  # a list that would need lower rows goes into one more column
LOWEST_ROW: Final = 6.5  # two lines of the smallest legible type; below it people go on another page
MOST_COLUMNS: Final = 3


@dataclass(frozen=True, slots=True)
class Traveller:
    """One row of the list."""

    athlete: str
    name: str
    home: str
    tasks: str
    drives: bool
    joins: bool


def draw_party(page: Page, season: Season, paper: Paper, weekend: str, printed_at: datetime) -> None:
    """Draw the travel party: one page, more only where it is larger than a page can show."""
    races = season.races_of((weekend,))
    party = travel_party(season, paper, races)
    page.tight = len(party) > MOST_COLUMNS * int(_room(page, races) / LOWEST_ROW)
    room = _room(page, races)
    most = MOST_COLUMNS * int(room / LOWEST_ROW)
    chunks = [party[i : i + most] for i in range(0, len(party), most)] or [()]
    foot = _foot(page)
    for number, chunk in enumerate(chunks, start=1):
        page.add_page()
        title = f"{len(party)} people travel" if len(party) != 1 else "1 person travels"
        y = draw_heading(
            page, Heading("Travel list", title, weekend_text(season, weekend), proof_text(paper.plan)), paper.stamp
        )
        if len(chunks) > 1:
            words = f"Page {number} of {len(chunks)}: so many people do not fit on one page in legible type"
            page.put(page.left, y - 3.4, page.width, words, LEGIBLE, bold=True, ink=OPEN)
        y = _draw_races(page, season, paper, races, y)
        _draw_list(page, chunk, y, room)
        _draw_absent(page, season, races, foot - 10)
        y = draw_cautions(page, foot - 1, CAUTIONS_ON_THE_ROAD)
        names = (("Signer", signer_text(paper.stamp)), ("Travel lead", ""))
        draw_signatures(page, y + 3, paper.stamp, names)
        draw_foot(page, paper.stamp, printed_at, number, len(chunks))
    page.tight = False


def _room(page: Page, races: Sequence[Race]) -> float:
    """Return the height that a page has for the list, mm."""
    return _foot(page) - 12 - (page.left + heading_height(page) + 5.4 * len(races) + 4.5)


def _foot(page: Page) -> float:
    return page.bottom - feet_height(page, CAUTIONS_ON_THE_ROAD)


def travel_party(season: Season, paper: Paper, races: Sequence[Race]) -> tuple[Traveller, ...]:
    """Return everybody who travels to these races, by home and name."""
    plan, ids = paper.plan, [race.id for race in races]
    tasks: dict[str, dict[str, list[tuple[str, str]]]] = {}  # athlete -> position -> (car, race)
    for a in plan.assignments:
        here = tasks.setdefault(a.athlete, {}).setdefault(position_name(season, a.position), [])
        here.append((car_name(season, a.car), a.race))
    for r in plan.reserves:
        tasks.setdefault(r.athlete, {}).setdefault("reserve", []).append(("", r.race))
    before = None
    if paper.earlier is not None:
        before = {athlete for _, athlete in travellers(paper.earlier, ids)}
    there = sorted({athlete for _, athlete in travellers(plan, ids)})
    party = [_traveller(season, athlete, _told(season, tasks[athlete], ids), before) for athlete in there]
    return tuple(sorted(party, key=lambda t: (t.name.casefold(), t.athlete)))


def _told(season: Season, tasks: Mapping[str, Sequence[tuple[str, str]]], races: Sequence[str]) -> str:
    """Return what somebody does; races are named only where it is not the same at all of them."""
    told = []
    for position, places in tasks.items():
        here = [(car, race) for car, race in places if race in races]
        if len(here) == len(races) and len({car for car, _ in here}) == 1:
            where = [here[0][0]]
        else:
            where = [f"{car} ({season.races[race].name or race})".strip() for car, race in here]
        joint = ": " if any(car for car, _ in here) else " "
        told += [f"{position}{joint}{' and '.join(where)}".strip()] if here else []
    return "; ".join(told)


def _traveller(season: Season, athlete: str, tasks: str, before: set[str] | None) -> Traveller:
    facts = season.athletes.get(athlete)
    home = season.sites[facts.home].name if facts else ""
    joins = before is not None and athlete not in before
    return Traveller(athlete, name_of(season, athlete), home, tasks, bool(facts and facts.drives), joins)


def _draw_races(page: Page, season: Season, paper: Paper, races: Sequence[Race], y: float) -> float:
    for race in races:
        people = travellers(paper.plan, (race.id,))
        places = f"{len(people)} of {race.travel_places} places" if race.travel_places else f"{len(people)} places"
        site = f"{race.name or race.id}  ·  {season.sites[race.site].name}"
        page.put(page.left, y, page.width * 0.44, site, 9, bold=True)
        start = season.local(race.start, race.site)
        same_day = season.local(race.report, race.site).date() == start.date()
        starts = f"{start:%H:%M}" if same_day else clock(season, race, race.start)
        times = f"report {clock(season, race, race.report)}  ·  start {starts}  ·  {places}"
        page.put(page.left + page.width * 0.45, y + 0.2, page.width * 0.55, times, 8, align="R")
        y += 5.4
    page.rule(y + 1)
    return y + 3.5


def _draw_list(page: Page, party: Sequence[Traveller], y: float, room: float) -> None:
    count = next((n for n in range(1, MOST_COLUMNS) if len(party) * GOOD_ROW <= n * room), MOST_COLUMNS)
    rows = max(-(-len(party) // count), 1)
    row = min(room / rows, TALLEST_ROW)
    gap = 5.0
    width = (page.width - gap * (count - 1)) / count
    for place, person in enumerate(party):
        x, top = page.left + (place // rows) * (width + gap), y + (place % rows) * row
        _draw_person(page, person, x, top, width, row)


def _draw_person(page: Page, person: Traveller, x: float, y: float, width: float, row: float) -> None:
    """Draw a box to tick, the name, and below it what this person does and where from."""
    size = max(min(row / MM_PER_PT * 0.42, 10.0), LEGIBLE)
    small = max(size * 0.82, LEGIBLE)
    side = min(size * MM_PER_PT * 0.9, 3.0)
    top = y + (row - (size + small) * MM_PER_PT * 1.15) / 2 - 0.2
    page.box(x, top + 0.4, side)
    inner = width - side - 2
    name = f"{person.name}  (new)" if person.joins else person.name
    home = f"drives from {person.home}" if person.drives else f"from {person.home}"
    named = min(page.wide(name, size, bold=True), inner * 0.62)
    page.put(x + side + 2, top, named + 0.1, name, size, bold=True, ink=OPEN if person.joins else INK)
    rest = inner - named - 2
    page.put(x + side + 2 + inner - rest, top + 0.6, rest, home, small, ink=SOFT, align="R")
    page.put(x + side + 2, top + size * MM_PER_PT * 1.15, inner, person.tasks, small)
    page.rule(y + row, x, width)


def _draw_absent(page: Page, season: Season, races: Sequence[Race], y: float) -> None:
    names = [name_of(season, athlete) for athlete in unavailable(season, [race.id for race in races])]
    page.put(page.left, y, 26, "Unavailable", 8, ink=SOFT)
    page.paragraph(page.left + 28, y, page.width - 28, ", ".join(names) or "nobody", 8, most=2)
