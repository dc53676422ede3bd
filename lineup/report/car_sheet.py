"""The sheet of one car and weekend: who works which position, who covers whom, what to take care of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from lineup.plan import Cover, EntryForecast, Move, Plan
from lineup.report.ink import INK, OPEN, SOFT
from lineup.report.page import MM_PER_PT, Page, columns
from lineup.report.party import car_name, name_of, position_name, unavailable
from lineup.report.sheet_parts import (
    CAUTIONS_AT_THE_CAR,
    FOOT_HEIGHT,
    SIGNATURE_HEIGHT,
    Heading,
    cautions_height,
    clock,
    draw_cautions,
    draw_foot,
    draw_heading,
    draw_signatures,
    draw_tint,
    proof_text,
    signer_text,
    weekend_text,
)
from lineup.report.stamp import Paper
from lineup.season import Pin, Race, Season, Seat

TALLEST_ROW: Final = 9.5  # mm
LOWEST_ROW: Final = 4.0  # below it races go on another page
RACE_HEAD: Final = 25.5
SHARES: Final = (2.8, 3.6, 3.6, 2.2)  # position, athlete, cover, notes


@dataclass(frozen=True, slots=True)
class SeatLine:
    """One row of the table."""

    position: str
    athlete: str
    key: str
    cover: str
    notes: str
    changed: bool


def draw_car(page: Page, season: Season, paper: Paper, weekend: str, car: str, printed_at: datetime) -> None:
    """Draw the sheet of a car: one page, more only where its races have more seats than a page can show."""
    races = [race for race in season.races_of((weekend,)) if car in season.cars_in[race.id]]
    blocks = [(race, seat_lines(season, paper, race, car)) for race in races]
    extras = _extras(season, paper, races)
    room = page.bottom - FOOT_HEIGHT - SIGNATURE_HEIGHT - cautions_height(CAUTIONS_AT_THE_CAR) - 5
    room -= page.left + 28.5 + extras_height(page, extras)
    pages = _share_out(blocks, room)
    for number, shown in enumerate(pages, start=1):
        page.add_page()
        title = car_name(season, car)
        kind = f"Starting crew  ·  car {car}  ·  {season.cars[car].series}"
        y = draw_heading(page, Heading(kind, title, weekend_text(season, weekend), proof_text(paper.plan)), paper.stamp)
        rows = sum(len(lines) + 1 for _, lines in shown)
        row = max(min((room - RACE_HEAD * len(shown)) / max(rows, 1), TALLEST_ROW), 1.0)
        for race, lines in shown:
            y = _draw_race(page, season, paper.plan, race, car, y)
            y = _draw_table(page, lines, y, row)
        _draw_extras(page, extras, y + 1)
        y = page.bottom - FOOT_HEIGHT - SIGNATURE_HEIGHT - cautions_height(CAUTIONS_AT_THE_CAR)
        y = draw_cautions(page, y - 1, CAUTIONS_AT_THE_CAR)
        review = paper.stamp.reviews.get(car, "")
        names = (("Signer", signer_text(paper.stamp)), ("Crew chief", review[:1].upper() + review[1:]))
        draw_signatures(page, y + 3, paper.stamp, names)
        draw_foot(page, paper.stamp, printed_at, number, len(pages))


def seat_lines(season: Season, paper: Paper, race: Race, car: str) -> tuple[SeatLine, ...]:
    """Return the rows of a car's table at one race."""
    covers = {cover.seat: cover for cover in paper.plan.cover}
    return tuple(_seat_line(season, paper, seat, covers.get(seat)) for seat in season.seats(race.id, car))


def _seat_line(season: Season, paper: Paper, seat: Seat, cover: Cover | None) -> SeatLine:
    athlete = paper.plan.athlete_in(seat)
    position = season.positions[seat.position]
    name = name_of(season, athlete) if athlete else ("OPEN" if position.filled == "always" else "not filled")
    notes = []
    changed = paper.earlier is not None and paper.earlier.athlete_in(seat) != athlete
    if changed:
        notes.append("new")
    if athlete and any(_pins(pin, seat, athlete) for pin in season.pins):
        notes.append("pinned")
    if athlete and season.clearance_level(athlete, seat.position, seat.race) == "training":
        notes.append("in training")
    key = athlete or ""
    return SeatLine(position.name, name, key, cover_text(season, cover), ", ".join(notes), changed or name == "OPEN")


def cover_text(season: Season, cover: Cover | None) -> str:
    """Return a chain of moves in words: who steps in, from where, and what stays open."""
    if cover is None:
        return ""
    steps = [f"{name_of(season, m.athlete)} {_origin(season, m, cover.seat)}".strip() for m in cover.moves if m.end]
    if cover.open is not None:
        steps.append(f"open: {position_name(season, cover.open.position)}, {car_name(season, cover.open.car)}")
    return "; ".join(steps)


def _origin(season: Season, move: Move, seat: Seat) -> str:
    if move.start is None:
        return "(reserve)"
    position = position_name(season, move.start.position)
    return f"({position})" if move.start.car == seat.car else f"({position}, {car_name(season, move.start.car)})"


def _pins(pin: Pin, seat: Seat, athlete: str) -> bool:
    if athlete not in (pin.athlete, pin.other):
        return False
    places = ((pin.race, seat.race), (pin.car, seat.car), (pin.position, seat.position))
    return pin.kind != "never" and all(wanted in (None, here) for wanted, here in places)


def _share_out(
    blocks: Sequence[tuple[Race, tuple[SeatLine, ...]]], room: float
) -> list[list[tuple[Race, tuple[SeatLine, ...]]]]:
    """Put as many races on a page as fit with rows of readable height."""
    pages: list[list[tuple[Race, tuple[SeatLine, ...]]]] = [[]]
    used = 0.0
    for race, lines in blocks:
        needs = RACE_HEAD + LOWEST_ROW * (len(lines) + 1)
        if pages[-1] and used + needs > room:
            pages.append([])
            used = 0.0
        pages[-1].append((race, lines))
        used += needs
    return pages


def _draw_race(page: Page, season: Season, plan: Plan, race: Race, car: str, y: float) -> float:
    page.put(page.left, y, page.width * 0.6, race.name or race.id, 12, bold=True)
    page.put(page.left, y + 0.8, page.width, season.sites[race.site].name, 9, ink=SOFT, align="R")
    facts = (("Report", race.report), ("Race starts", race.start), ("Released about", race.released))
    for (x, width), (label, moment) in zip(columns(page, 1, 1, 1), facts, strict=True):
        page.put(x, y + 6.5, width, label.upper(), 6, bold=True, ink=SOFT)
        page.put(x, y + 9.3, width, clock(season, race, moment), 9.5, bold=True)
    page.paragraph(
        page.left, y + 14.2, page.width, forecast_text(season, plan.entries, race.id, car), 7.5, ink=SOFT, most=2
    )
    return y + RACE_HEAD - 4.5


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


def _draw_table(page: Page, lines: Sequence[SeatLine], y: float, row: float) -> float:
    places = columns(page, *SHARES)
    heads = ("Position", "Athlete", "If lost", "Notes")
    small = min(6.5, row / MM_PER_PT * 0.5)
    for (x, width), head in zip(places, heads, strict=True):
        page.put(x + 1, y + row - small * MM_PER_PT * 1.5, width, head.upper(), small, bold=True, ink=SOFT)
    y += row
    under_heads = y
    size = min(row / MM_PER_PT * 0.56, 12.0)
    for number, line in enumerate(lines):
        draw_tint(page, y, row, number)
        _draw_line(page, line, places, y, row, size)
        y += row
    page.rule(under_heads, ink=INK)
    page.rule(y)
    return y + 4.5


def _draw_line(
    page: Page, line: SeatLine, places: Sequence[tuple[float, float]], y: float, row: float, size: float
) -> None:
    ink = OPEN if line.changed else INK
    small = size * 0.82
    texts = ((line.position, size, False, INK), (line.athlete, size, True, ink), (line.notes, small, line.changed, ink))
    for (x, width), (text, points, bold, colour) in zip((*places[:2], places[3]), texts, strict=True):
        top = y + (row - points * MM_PER_PT * 1.25) / 2
        page.put(x + 1, top, width - 1, text, points, bold=bold, ink=colour)
    x, width = places[2]
    tiny = size * 0.62
    fitting = next((p for p in (small, small * 0.9, tiny) if page.fits(line.cover, width - 1, p)), None)
    if fitting is not None:
        page.put(x + 1, y + (row - fitting * MM_PER_PT * 1.25) / 2, width - 1, line.cover, fitting)
    else:  # a chain of several moves takes two lines
        page.paragraph(x + 1, y + (row - 2 * tiny * MM_PER_PT * 1.3) / 2, width - 1, line.cover, tiny, most=2)


Extras = tuple[tuple[str, str], ...]


def _extras(season: Season, paper: Paper, races: Sequence[Race]) -> tuple[Extras, tuple[tuple[str, bool], ...]]:
    ids = [race.id for race in races]
    reserves = dict.fromkeys(name_of(season, r.athlete) for r in paper.plan.reserves if r.race in ids)
    out = [name_of(season, athlete) for athlete in unavailable(season, ids)]
    lines = (("Reserves on site", ", ".join(reserves) or "none"), ("Unavailable", ", ".join(out) or "nobody"))
    return lines, paper.stamp.reminders


def extras_height(page: Page, extras: tuple[Extras, tuple[tuple[str, bool], ...]]) -> float:
    """Return how much room reserves, absent people and reminders take."""
    lines, reminders = extras
    more = sum(not page.fits(text, page.width - 34, 8.5) for _, text in lines)
    return 5.0 * len(lines) + 3.9 * more + 4.6 * -(-len(reminders) // _abreast(reminders)) + 3


def _draw_extras(page: Page, extras: tuple[Extras, tuple[tuple[str, bool], ...]], y: float) -> None:
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
    return 1 if len(reminders) <= 4 else 2
