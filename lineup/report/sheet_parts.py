"""The parts every sheet shares: heading, cautions, signature lines, and the foot that names revision and chain head."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Final

from lineup.plan import Plan
from lineup.report.ink import DONE, INK, OPEN, SOFT, TINT
from lineup.report.page import MM_PER_PT, Page, columns
from lineup.report.stamp import UNAUTHENTICATED, Stamp
from lineup.season import Race, Season

FOOT_HEIGHT: Final = 9.0  # mm
SIGNATURE_HEIGHT: Final = 27.0
CAUTION_SIZE: Final = 7.0  # pt

# common practice, no source; the last line names what comes first
CAUTIONS_AT_THE_CAR: Final = (
    ("Lifting", "Warm up, lift as trained, hand over what is too heavy, stop at the first pain."),
    (
        "Fuel",
        "Fire suit, gloves and helmet on before a can is filled; extinguisher manned; nothing that sparks nearby.",
    ),
    ("Return from injury", "Only with a licensed practitioner's written clearance, step by step as they direct."),
    ("Driving tired", "Nobody drives home on too little sleep: rest first, share the wheel, or stay the night."),
)
CAUTIONS_ON_THE_ROAD: Final = (
    ("Driving tired", "Nobody drives on too little sleep: rest first, share the wheel, or stay the night."),
    (
        "Return from injury",
        "Who is coming back travels and works only as a licensed practitioner has cleared in writing.",
    ),
    ("Lifting", "Load the truck with two people or a lift; warm up first."),
    ("Fuel", "Carry fuel only in approved cans, vented and tied down, never in a passenger compartment."),
)
FIRST: Final = (
    "The sanctioning body's rules, local codes and licensed practice come before this sheet. "
    "It clears nobody to compete. Forecasts are forecasts."
)


@dataclass(frozen=True, slots=True)
class Heading:
    """What stands at the top of a sheet."""

    kind: str
    title: str
    weekend: str
    proof: str = ""


def weekend_text(season: Season, weekend: str) -> str:
    """Return a weekend's label and the local days of its races."""
    days = [day for race in season.races_of((weekend,)) for day in season.duty_days(race.id)]
    return f"Weekend {weekend}  ·  {day_span(min(days), max(days))}"


def proof_text(plan: Plan) -> str:
    """Return how good the lineup is known to be."""
    if plan.status == "proven":
        return "lineup proven best" + (f" within {plan.gap:.2%}" if plan.gap else "")
    return f"best lineup found, within {plan.gap:.2%} of the bound" if plan.gap is not None else "lineup without proof"


def day_span(first: date, last: date) -> str:
    """Return two days in words, what they share said once."""
    if first == last:
        return f"{first:%a} {first.day} {first:%b %Y}"
    if first.month == last.month:
        return f"{first:%a} {first.day} – {last:%a} {last.day} {last:%b %Y}"
    return f"{first:%a} {first.day} {first:%b} – {last:%a} {last.day} {last:%b %Y}"


def clock(season: Season, race: Race, moment: datetime) -> str:
    """Return a moment on the site's clock: day, time and the zone's short name."""
    local = season.local(moment, race.site)
    return f"{local:%a} {local.day} {local:%b %H:%M} {local:%Z}"


def draw_heading(page: Page, heading: Heading, stamp: Stamp) -> float:
    """Draw kind, title, weekend and state. Returns the lower edge."""
    y = page.left
    page.band(y, 1.2, DONE if stamp.signed else OPEN)
    y += 4.5
    wide = page.width * 0.62
    page.put(page.left, y, wide, heading.kind.upper(), 7.5, bold=True, ink=SOFT)
    page.put(page.left, y + 3.8, wide, heading.title, 22, bold=True)
    page.put(page.left, y + 14.2, wide, heading.weekend, 10)
    side = page.right - page.width * 0.36
    page.pill(y, stamp.words.upper() if stamp.signed else stamp.words.capitalize(), DONE if stamp.signed else OPEN)
    said = [f"Revision {stamp.revision}" if stamp.revision else "No revision", _who(stamp)]
    for place, line in enumerate([*said, heading.proof]):
        page.put(side, y + 8.8 + 3.7 * place, page.right - side, line, 7.5, ink=SOFT, align="R")
    y += 20.5
    page.rule(y, ink=INK)
    return y + 3.5


def _who(stamp: Stamp) -> str:
    if stamp.amended_by:
        return f"amended on site by {stamp.amended_by}"
    return f"proposed by {stamp.proposed_by}" if stamp.proposed_by else "made outside a store"


def cautions_height(cautions: Sequence[tuple[str, str]]) -> float:
    """Return how much room the cautions take."""
    return 5.0 + (len(cautions) + 1) * CAUTION_SIZE * MM_PER_PT * 1.45 + 2.5


def draw_cautions(page: Page, y: float, cautions: Sequence[tuple[str, str]]) -> float:
    """Draw the cautions. Returns the lower edge."""
    height = cautions_height(cautions)
    page.band(y, height)
    page.band(y, height, OPEN, width=1.2)
    x, step = page.left + 4, CAUTION_SIZE * MM_PER_PT * 1.45
    page.put(x, y + 1.6, page.width - 6, "TAKE CARE", 6.5, bold=True, ink=OPEN)
    y += 5.0
    for head, text in cautions:
        page.put(x, y, 30, head, CAUTION_SIZE, bold=True)
        page.put(x + 31, y, page.width - 37, text, CAUTION_SIZE)
        y += step
    page.put(x, y, page.width - 6, FIRST, CAUTION_SIZE, bold=True)
    return y + step + 2.5


def draw_signatures(page: Page, y: float, stamp: Stamp, lines: Sequence[tuple[str, str]]) -> float:
    """Draw a line to sign on for each (who, what the store says of them). Returns the lower edge."""
    places = columns(page, *[1.0] * len(lines))
    for (x, width), (who, said) in zip(places, lines, strict=True):
        page.put(x, y, width, who.upper(), 6.5, bold=True, ink=SOFT)
        page.put(x, y + 3.4, width, said, 8.5, bold=bool(said))
        page.rule(y + 14.5, x, width, ink=INK)
        page.put(x, y + 15.2, width, "Signature and date", 6.5, ink=SOFT)
    note = _signature_note(stamp)
    page.put(
        page.left,
        y + 19.6,
        page.width,
        note,
        7.5,
        bold=not stamp.authenticated,
        ink=SOFT if stamp.authenticated else OPEN,
    )
    return y + SIGNATURE_HEIGHT


def signer_text(stamp: Stamp) -> str:
    """Return what the store says of the signer."""
    if not stamp.signed or stamp.signed_at is None:
        return ""
    late = ", after the deadline" if stamp.late else ""
    return f"{stamp.signed_by}, {stamp.signed_at.astimezone(UTC):%Y-%m-%d %H:%M} UTC{late}"


def _signature_note(stamp: Stamp) -> str:
    if not stamp.revision:
        return "Draft: this lineup was never kept, so nothing stands behind it but a signature on paper."
    if stamp.authenticated:
        return "Whoever took the last step was logged in when taking it."
    return UNAUTHENTICATED


def draw_foot(page: Page, stamp: Stamp, printed_at: datetime, number: int, of: int) -> None:
    """Draw revision, chain head, time of printing and page number at the foot."""
    y = page.bottom - FOOT_HEIGHT + 2.5
    page.rule(y)
    head = (
        f"Chain head, record {stamp.head_number}:  {stamp.head_text}"
        if stamp.head
        else "No chain head: not from a store"
    )
    page.put(page.left, y + 1.2, page.width, head, 6.5, ink=SOFT)
    left = f"Revision {stamp.revision} of the {stamp.step}" if stamp.revision else "Draft"
    page.put(page.left, y + 4.4, page.width * 0.6, left, 6.5, ink=SOFT)
    right = f"Printed {printed_at.astimezone(UTC):%Y-%m-%d %H:%M} UTC  ·  page {number} of {of}"
    page.put(page.left, y + 4.4, page.width, right, 6.5, ink=SOFT, align="R")


def draw_tint(page: Page, y: float, height: float, row: int) -> None:
    """Shade every other row of a table."""
    if row % 2 == 0:
        page.band(y, height, TINT)
