"""A printed page: text that always fits its place, in a font that has every Latin letter."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Final, Literal, Self

from fpdf import FPDF
from fpdf.fonts import TTFFont

from lineup.errors import InputError
from lineup.report.ink import INK, PAPER, RULE, SOFT, TINT, Colour
from lineup.report.plain import one_line
from lineup.safe_files import write_whole

FONTS: Final = Path(__file__).parent / "fonts"
FAMILY: Final = "DejaVu"
PAPERS: Final = ("A4", "Letter")
MARGIN: Final = 14.0  # mm
TIGHT_MARGIN: Final = 11.0
LEGIBLE: Final = 8.0  # points; no type on a sheet is smaller (common practice, no source)
MM_PER_PT: Final = 25.4 / 72
SMALLEST_SHARE: Final = 0.8  # a text shrinks to this share of its size, or to LEGIBLE, before its end is cut off
LINE: Final = 1.3  # height of a line of a paragraph, in sizes of its type
UNKNOWN: Final = "\ufffd"  # stands for a letter the font does not have

Align = Literal["L", "C", "R"]


class Page(FPDF):
    """Pages of one document; lengths in mm, text sizes in points. A context: leaving it closes the fonts."""

    def __init__(self, title: str, paper: str, printed_at: datetime) -> None:
        if paper not in PAPERS:
            raise InputError(f"the paper is one of {' or '.join(PAPERS)}, not {paper!r}")
        if printed_at.tzinfo is None:
            raise InputError(f"the time {printed_at.isoformat()} does not say its offset from UTC")
        super().__init__(format=paper, unit="mm")
        self.set_auto_page_break(False)
        self.set_margin(0)
        self.tight = False  # less white around and between: for what would need a second page otherwise
        self.c_margin = 0  # cells start exactly where they are put
        self.add_font(FAMILY, "", FONTS / "DejaVuSans.ttf")
        self.add_font(FAMILY, "B", FONTS / "DejaVuSans-Bold.ttf")
        self.set_font(FAMILY, size=9)
        self._known = frozenset.intersection(*(frozenset(font.cmap) for font in map(self._font, ("", "B"))))
        self.set_title(one_line(title))
        self.set_lang("en")
        self.set_creator("lineup")
        self.set_creation_date(printed_at.astimezone(UTC))

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        for style in ("", "B"):
            self._font(style).ttfont.close()  # the library leaves the files open

    @property
    def margin(self) -> float:
        """White around the content."""
        return TIGHT_MARGIN if self.tight else MARGIN

    @property
    def left(self) -> float:
        """Left edge of the content."""
        return self.margin

    @property
    def right(self) -> float:
        """Right edge of the content."""
        return float(self.w) - self.margin

    @property
    def bottom(self) -> float:
        """Lower edge of the content."""
        return float(self.h) - self.margin

    @property
    def width(self) -> float:
        """Width of the content."""
        return self.right - self.left

    def put(
        self,
        x: float,
        y: float,
        width: float,
        text: str,
        size: float,
        *,
        bold: bool = False,
        ink: Colour = INK,
        align: Align = "L",
    ) -> float:
        """Write one line whose upper edge is at y; it shrinks, then loses its end, to fit. Returns its lower edge."""
        text = self.known(text)
        self.set_font(FAMILY, "B" if bold else "", size)
        wide = self.get_string_width(text)
        if wide > width:
            self.set_font(FAMILY, "B" if bold else "", max(size * SMALLEST_SHARE, LEGIBLE, 0.99 * size * width / wide))
            text = self._cut(text, width)
        height = size * MM_PER_PT * 1.25
        self.set_text_color(*ink)
        self.set_xy(x, y)
        self.cell(width, height, text, align=align)
        return y + height

    def paragraph(
        self, x: float, y: float, width: float, text: str, size: float, *, ink: Colour = INK, most: int = 99
    ) -> float:
        """Write a text over several lines, at most so many. Returns its lower edge."""
        for line in self.split(text, width, size, most):
            self.put(x, y, width, line, size, ink=ink)
            y += size * MM_PER_PT * LINE
        return y

    def split(self, text: str, width: float, size: float, most: int = 99) -> list[str]:
        """Return a text as the lines it takes, at most so many: the last one then holds all that is left."""
        lines: list[str] = []
        for word in self.known(text).split():
            longer = f"{lines[-1]} {word}" if lines else word
            if lines and (len(lines) == most or self.fits(longer, width, size)):
                lines[-1] = longer
            else:
                lines.append(word)
        return lines

    def band(
        self, y: float, height: float, ink: Colour = TINT, x: float | None = None, width: float | None = None
    ) -> None:
        """Fill a strip across the content, or a part of it."""
        self.set_fill_color(*ink)
        self.rect(self.left if x is None else x, y, self.width if width is None else width, height, style="F")

    def rule(self, y: float, x: float | None = None, width: float | None = None, ink: Colour = RULE) -> None:
        """Draw a hairline across the content, or a part of it."""
        start = self.left if x is None else x
        self.set_draw_color(*ink)
        self.set_line_width(0.25)
        self.line(start, y, start + (self.width if width is None else width), y)

    def box(self, x: float, y: float, size: float, *, ticked: bool = False) -> None:
        """Draw a box to tick, ticked where it was."""
        self.set_draw_color(*SOFT)
        self.set_line_width(0.25)
        self.rect(x, y, size, size)
        if ticked:
            self.set_draw_color(*INK)
            self.set_line_width(0.45)
            self.polyline(
                [(x + 0.2 * size, y + 0.55 * size), (x + 0.42 * size, y + 0.8 * size), (x + size, y - 0.1 * size)]
            )

    def pill(self, y: float, text: str, ink: Colour) -> float:
        """Write a short state into a filled box at the right edge. Returns its lower edge."""
        self.set_font(FAMILY, "B", 10)
        width = min(float(self.get_string_width(self.known(text))) + 8, self.width / 2)
        self.set_fill_color(*ink)
        self.rect(self.right - width, y, width, 8, style="F", round_corners=True, corner_radius=1.2)
        self.put(self.right - width + 2, y + 1.9, width - 4, text, 10, bold=True, ink=PAPER, align="C")
        return y + 8

    def wide(self, text: str, size: float, *, bold: bool = False) -> float:
        """Return how wide a text is, mm."""
        self.set_font(FAMILY, "B" if bold else "", size)
        return float(self.get_string_width(self.known(text)))

    def fits(self, text: str, width: float, size: float) -> bool:
        """Whether a text fits into one line without shrinking."""
        return self.wide(text, size) <= width

    def known(self, text: str) -> str:
        """Return a text as one line in which letters that the font does not have are replaced by a mark."""
        return "".join(c if ord(c) in self._known else UNKNOWN for c in one_line(text))

    def save(self, path: Path) -> Path:
        """Write the document whole; InputError where that is not possible."""
        try:
            write_whole(path, bytes(self.output()))
        except OSError as error:
            raise InputError(f"{path}: cannot be written ({error.strerror or error})") from None
        return path

    def _font(self, style: str) -> TTFFont:
        font = self.fonts[f"{FAMILY.lower()}{style}"]
        assert isinstance(font, TTFFont)  # they were added from files above
        return font

    def _cut(self, text: str, width: float) -> str:
        if self.get_string_width(text) <= width:
            return text
        low, high = 0, len(text)
        while low < high:  # the longest start that fits with an ellipsis behind it
            middle = (low + high + 1) // 2
            if self.get_string_width(text[:middle].rstrip() + "…") <= width:
                low = middle
            else:
                high = middle - 1
        return text[:low].rstrip() + "…"


def columns(page: Page, *shares: float) -> Sequence[tuple[float, float]]:
    """Split the content's width by shares: (left edge, width) of each column, 2 mm apart."""
    gap, total = 2.0, sum(shares)
    usable = page.width - gap * (len(shares) - 1)
    places: list[tuple[float, float]] = []
    x = page.left
    for share in shares:
        width = usable * share / total
        places.append((x, width))
        x += width + gap
    return places
