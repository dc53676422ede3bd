"""The sheet of one car and weekend: who works which position, who covers whom, what to take care of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from lineup.plan import EntryForecast
from lineup.report.car_layout import (
    NOTICE_HEIGHT,
    SHARES,
    Block,
    Layout,
    Style,
    forecast_lines,
    lay_out,
    row_lines,
)
from lineup.report.car_seats import SeatLine, seat_lines
from lineup.report.ink import INK, OPEN, SOFT
from lineup.report.page import LEGIBLE, LINE, MM_PER_PT, Page, columns
from lineup.report.party import car_name, name_of, unavailable
from lineup.report.sheet_parts import (
    CAUTIONS_AT_THE_CAR,
    Heading,
    clock,
    draw_cautions,
    draw_foot,
    draw_heading,
    draw_signatures,
    draw_tint,
    feet_height,
    proof_text,
    signer_text,
    weekend_text,
)
from lineup.report.stamp import Paper
from lineup.season import Race, Season

Extras = tuple[tuple[tuple[str, str], ...], tuple[tuple[str, bool], ...]]


def draw_car(page: Page, season: Season, paper: Paper, weekend: str, car: str, printed_at: datetime) -> int:
    """Draw the sheet of a car: one page, more only where no legible type puts its races on one; return how many."""
    extras, layout = plan_car(page, season, paper, weekend, car)
    notice = too_long(layout)
    for number, shown in enumerate(layout.pages, start=1):
        page.add_page()
        title = car_name(season, car)
        kind = f"Starting crew  ·  car {car}  ·  {season.cars[car].series}"
        y = draw_heading(page, Heading(kind, title, weekend_text(season, weekend), proof_text(paper.plan)), paper.stamp)
        if notice:
            page.put(page.left, y - 1, page.width, f"Page {number} of {notice}", LEGIBLE, bold=True, ink=OPEN)
            y += NOTICE_HEIGHT
        for block in shown:
            y = _draw_race(page, season, block, layout.style, y)
            y = _draw_table(page, block.lines, layout.style, y, first=block is shown[0])
        _draw_extras(page, extras, y)
        y = page.bottom - feet_height(page, CAUTIONS_AT_THE_CAR)
        y = draw_cautions(page, y - 1, CAUTIONS_AT_THE_CAR)
        review = paper.stamp.reviews.get(car, "")
        names = (("Signer", signer_text(paper.stamp)), ("Crew chief", review[:1].upper() + review[1:]))
        draw_signatures(page, y + 3, paper.stamp, names)
        draw_foot(page, paper.stamp, printed_at, number, len(layout.pages))
    page.tight = False
    return len(layout.pages)


def plan_car(page: Page, season: Season, paper: Paper, weekend: str, car: str) -> tuple[Extras, Layout]:
    """Return what the sheet of a car holds and on which page; the page becomes as tight as the layout."""
    races = [race for race in season.races_of((weekend,)) if car in season.cars_in[race.id]]
    entries = paper.plan.entries
    blocks = [
        Block(race, forecast_text(season, entries, race.id, car), seat_lines(season, paper, race, car))
        for race in races
    ]
    extras = _extras(season, paper, races)
    return extras, lay_out(page, blocks, extras_height(page, extras))


def too_long(layout: Layout) -> str:
    """Say that a sheet needs several pages, and why; "" where one is enough."""
    count = len(layout.pages)
    if count == 1:
        return ""
    races = len({block.race.id for shown in layout.pages for block in shown})
    seats = sum(len(block.lines) for shown in layout.pages for block in shown)
    what = f"{races} races" if races > 1 else "one race"
    return f"{count} pages: {what} with {seats} seats do not fit on one page in type of {LEGIBLE:g} points"


def _draw_race(page: Page, season: Season, block: Block, style: Style, y: float) -> float:
    """Draw what stands above a race's table. Returns its lower edge."""
    race = block.race
    name = f"{race.name or race.id}{', continued' if block.begun else ''}"
    page.put(page.left, y, page.width * 0.6, name, 12 if style.tall else 10, bold=True)
    site = season.sites[race.site].name
    page.put(page.left + page.width * 0.6, y + 0.8, page.width * 0.4, site, 9, ink=SOFT, align="R")
    draw = _tall_times if style.tall else _flat_times
    y = draw(page, season, race, y)
    for line in forecast_lines(page, block):
        page.put(page.left, y, page.width, line, LEGIBLE, ink=SOFT)
        y += LEGIBLE * MM_PER_PT * LINE
    return y + 0.6


def _times(season: Season, race: Race) -> list[tuple[str, str]]:
    facts = (("Report", race.report), ("Race starts", race.start), ("Released about", race.released))
    return [(label, clock(season, race, moment)) for label, moment in facts]


def _tall_times(page: Page, season: Season, race: Race, y: float) -> float:
    for (x, width), (label, when) in zip(columns(page, 1, 1, 1), _times(season, race), strict=True):
        page.put(x, y + 5.9, width, label.upper(), LEGIBLE, bold=True, ink=SOFT)
        page.put(x, y + 9.5, width, when, 9.5, bold=True)
    return y + 14.5


def _flat_times(page: Page, season: Season, race: Race, y: float) -> float:
    for (x, width), (label, when) in zip(columns(page, 1, 1.1, 1.2), _times(season, race), strict=True):
        page.put(x, y + 4.6, width, f"{label} {when}", LEGIBLE, bold=True)
    return y + 8.6


def forecast_text(season: Season, entries: Sequence[EntryForecast], race: str, car: str) -> str:
    """Return the forecast stops of a car at a race in words, the stop it makes most often first."""
    counts: Mapping[str, float] = season.service_counts.get(race, {})
    stops = [e for e in entries if e.race == race and e.car == car]
    if not stops:
        return "Stops were not forecast."
    stops.sort(key=lambda e: -counts.get(e.service, 0.0))
    names = {service: choreography.name or service for service, choreography in season.choreographies.items()}
    told = (f"{names.get(e.service, e.service)} {e.mean_s:.2f} s, 9 in 10 under {e.p90_s:.2f} s" for e in stops)
    return f"Forecast stop:  {'  ·  '.join(told)}"


def _draw_table(page: Page, lines: Sequence[SeatLine], style: Style, y: float, *, first: bool) -> float:
    if first or not style.tight:
        heads = ("Position", "Athlete", "If lost", "Notes")
        for (x, width), head in zip(columns(page, *SHARES), heads, strict=True):
            page.put(x + 1, y + style.heads(first) - 4.1, width, head.upper(), LEGIBLE, bold=True, ink=SOFT)
    y += style.heads(first)
    under_heads = y
    for number, line in enumerate(lines):
        cover, notes = row_lines(page, style, line)
        row = style.row(max(len(cover), len(notes)))
        draw_tint(page, y, row, number)
        _draw_line(page, line, (cover, notes), style, y, row)
        y += row
    page.rule(under_heads, ink=INK)
    page.rule(y)
    return y + style.below


def _draw_line(
    page: Page, line: SeatLine, cells: tuple[list[str], list[str]], style: Style, y: float, row: float
) -> None:
    places = columns(page, *SHARES)
    top = y + (row - style.size * MM_PER_PT * 1.25) / 2
    page.put(places[0][0] + 1, top, places[0][1] - 1, line.position, style.size)
    ink = OPEN if line.changed else INK
    page.put(places[1][0] + 1, top, places[1][1] - 1, line.athlete, style.size, bold=True, ink=ink)
    step = style.small * MM_PER_PT * 1.2
    for (x, width), texts, changed in zip(places[2:], cells, (False, line.changed), strict=True):
        top = y + (row - step * len(texts)) / 2
        for text in texts:
            page.put(x + 1, top, width - 1, text, style.small, bold=changed, ink=OPEN if changed else INK)
            top += step


def _extras(season: Season, paper: Paper, races: Sequence[Race]) -> Extras:
    ids = [race.id for race in races]
    reserves = dict.fromkeys(name_of(season, r.athlete) for r in paper.plan.reserves if r.race in ids)
    out = [name_of(season, athlete) for athlete in unavailable(season, ids)]
    lines = (("Reserves on site", ", ".join(reserves) or "none"), ("Unavailable", ", ".join(out) or "nobody"))
    return lines, paper.stamp.reminders


def extras_height(page: Page, extras: Extras) -> float:
    """Return how much room reserves, absent people and reminders take."""
    lines, reminders = extras
    more = sum(not page.fits(text, page.width - 34, 8.5) for _, text in lines)
    return 5.0 * len(lines) + 3.9 * more + 4.6 * -(-len(reminders) // _abreast(reminders)) + 1


def _draw_extras(page: Page, extras: Extras, y: float) -> None:
    lines, reminders = extras
    for label, text in lines:
        page.put(page.left + 1, y, 32, label, 8, ink=SOFT)
        page.paragraph(page.left + 34, y, page.width - 34, text, 8.5, most=2)
        y += 5.0 if page.fits(text, page.width - 34, 8.5) else 8.9
    places = columns(page, *[1.0] * _abreast(reminders))
    for number, (text, ticked) in enumerate(reminders):
        x, width = places[number % len(places)]
        top = y + 4.6 * (number // len(places))
        page.box(x + 1, top + 0.7, 2.6, ticked=ticked)
        page.put(x + 5.5, top, width - 5.5, text, 8)


def _abreast(reminders: Sequence[tuple[str, bool]]) -> int:
    """Return how many reminders stand side by side: a few get a whole line each."""
    return 1 if len(reminders) <= 2 else 2
