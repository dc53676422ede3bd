"""The parts every sheet shares: heading, cautions, signature lines, and the foot that names revision and check code."""

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

FOOT_HEIGHT: Final = 10.5  # mm
CAUTION_SIZE: Final = 8.0  # pt
CAUTION_HEAD: Final = 31.0  # mm

# common practice, no source; the last line names what comes first
CAUTIONS_AT_THE_CAR: Final = (
    ("Lifting", "Warm up, lift as trained, hand over what is too heavy, stop at the first pain."),
    ("Fuel", "Fire suit, gloves and helmet on before a can is filled; extinguisher manned; no sparks nearby."),
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
    "The sanctioning body's rules, local codes and licensed practice come before this sheet.",
    "It clears nobody to compete. Forecasts are forecasts.",
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
    return (
        f"best lineup found, within {plan.gap:.2%} of the best possible"
        if plan.gap is not None
        else "lineup without proof"
    )


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
    page.put(page.left, y, wide, heading.kind.upper(), 8, bold=True, ink=SOFT)
    page.put(page.left, y + 3.8, wide, heading.title, 16 if page.tight else 22, bold=True)
    page.put(page.left, y + (11.6 if page.tight else 14.2), wide, heading.weekend, 10)
    side = page.right - page.width * 0.36
    page.pill(y, stamp.words.upper() if stamp.signed else stamp.words.capitalize(), DONE if stamp.signed else OPEN)
    said = [f"Revision {stamp.revision}" if stamp.revision else "No revision", _who(stamp)]
    if page.tight:
        said = [", ".join(said)]
    for place, line in enumerate([*said, heading.proof]):
        page.put(side, y + 8.7 + 3.7 * place, page.right - side, line, 8, ink=SOFT, align="R")
    end = page.left + heading_height(page)
    page.rule(end - 3.5, ink=INK)
    return end


def _who(stamp: Stamp) -> str:
    if stamp.amended_by:
        return f"amended at the track by {stamp.amended_by}"
    return f"proposed by {stamp.proposed_by}" if stamp.proposed_by else "not kept"


def heading_height(page: Page) -> float:
    """Return how much room the heading takes, the white below it included."""
    return 24.5 if page.tight else 28.5


def signature_height(page: Page) -> float:
    """Return how much room the signature lines take."""
    return 23.5 if page.tight else 27.0


def cautions_height(page: Page, cautions: Sequence[tuple[str, str]]) -> float:
    """Return how much room the cautions take."""
    return 5.0 + (len(cautions) + len(FIRST)) * _caution_line(page) + (1 if page.tight else 2)


def _caution_line(page: Page) -> float:
    return CAUTION_SIZE * MM_PER_PT * (1.2 if page.tight else 1.35)


def feet_height(page: Page, cautions: Sequence[tuple[str, str]]) -> float:
    """Return how much room cautions, signature lines and foot take together."""
    return FOOT_HEIGHT + signature_height(page) + cautions_height(page, cautions)


def draw_cautions(page: Page, y: float, cautions: Sequence[tuple[str, str]]) -> float:
    """Draw the cautions. Returns the lower edge."""
    top, height = y, cautions_height(page, cautions)
    page.band(y, height)
    page.band(y, height, OPEN, width=1.2)
    x, step = page.left + 4, _caution_line(page)
    page.put(x, y + 1.3, page.width - 6, "TAKE CARE", 8, bold=True, ink=OPEN)
    y += 5.0
    for head, text in cautions:
        page.put(x, y, CAUTION_HEAD, head, CAUTION_SIZE, bold=True)
        page.put(x + CAUTION_HEAD + 1, y, page.width - CAUTION_HEAD - 6, text, CAUTION_SIZE)
        y += step
    for line in FIRST:
        page.put(x, y, page.width - 6, line, CAUTION_SIZE, bold=True)
        y += step
    return top + height


def draw_signatures(page: Page, y: float, stamp: Stamp, lines: Sequence[tuple[str, str]]) -> float:
    """Draw a line to sign on for each (who, what the store says of them). Returns the lower edge."""
    line = signature_height(page) - 12.5
    places = columns(page, *[1.0] * len(lines))
    for (x, width), (who, said) in zip(places, lines, strict=True):
        page.put(x, y, width, who.upper(), 8, bold=True, ink=SOFT)
        page.put(x, y + 3.9, width, said, 8.5, bold=bool(said))
        page.rule(y + line, x, width, ink=INK)
        page.put(x, y + line + 0.7, width, "Signature and date", 8, ink=SOFT)
    sure = stamp.authenticated
    note = _signature_note(stamp)
    page.put(page.left, y + line + 5.1, page.width, note, 8, bold=not sure, ink=SOFT if sure else OPEN)
    return y + signature_height(page)


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
    """Draw revision, check code, time of printing and page number at the foot."""
    y = page.bottom - FOOT_HEIGHT + 2.5
    page.rule(y)
    code = f"Check code, record {stamp.head_number}:  {stamp.head_text}" if stamp.head else "No check code: not kept"
    page.put(page.left, y + 1.2, page.width, code, 8, ink=SOFT)
    left = f"Revision {stamp.revision} of the {stamp.step}" if stamp.revision else "Draft"
    page.put(page.left, y + 4.9, page.width * 0.5, left, 8, ink=SOFT)
    right = f"Printed {printed_at.astimezone(UTC):%Y-%m-%d %H:%M} UTC  ·  page {number} of {of}"
    page.put(page.left + page.width / 2, y + 4.9, page.width / 2, right, 8, ink=SOFT, align="R")


def draw_tint(page: Page, y: float, height: float, row: int) -> None:
    """Shade every other row of a table."""
    if row % 2 == 0:
        page.band(y, height, TINT)
