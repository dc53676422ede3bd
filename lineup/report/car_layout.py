"""Lays the races of a car out on its sheet: the largest type that keeps them on one page, else several pages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import accumulate
from typing import Final

from lineup.report.car_seats import SeatLine
from lineup.report.page import LEGIBLE, LINE, MM_PER_PT, Page, columns
from lineup.report.sheet_parts import CAUTIONS_AT_THE_CAR, feet_height, heading_height
from lineup.season import Race

SHARES: Final = (2.5, 3.3, 4.9, 1.5)  # position, athlete, cover, notes
MOST_LINES: Final = 4  # of a cell
NOTICE_HEIGHT: Final = 5.0
ABOVE_FEET: Final = 2.0


@dataclass(frozen=True, slots=True)
class Style:
    """How generous a sheet is.

    Attributes
    ----------
    size : type of names, points.
    air : white in a row, mm.
    tall : a heading per race with its times large, else one with its times in a line.
    tight : less white around and between everything, and heads of columns above the first table alone.
    """

    size: float
    air: float
    tall: bool
    tight: bool = False

    @property
    def small(self) -> float:
        """Type of covers and notes, points."""
        return max(LEGIBLE, 0.82 * self.size)

    @property
    def below(self) -> float:
        """White below a table, mm."""
        return 2.5 if self.tight else 4.0

    def heads(self, first: bool) -> float:
        """Height of the row with the heads of the columns, mm."""
        if self.tight and not first:
            return 0.6
        return 6.0 if self.tall else 4.2

    def race_head(self, forecast_lines: int) -> float:
        """Height of what stands above a race's table, mm."""
        return (14.5 if self.tall else 8.6) + forecast_lines * LEGIBLE * MM_PER_PT * LINE + 0.6

    def row(self, lines: int) -> float:
        """Height of a row whose longest cell takes so many lines, mm."""
        return max(self.size * 1.25, lines * self.small * 1.2) * MM_PER_PT + self.air


STYLES: Final = (
    Style(12.0, 4.2, True),
    Style(11.0, 3.2, True),
    Style(10.0, 2.4, True),
    Style(9.5, 1.6, True),
    Style(9.0, 1.2, False),
    Style(8.5, 0.7, False),
    Style(8.0, 0.4, False),
    Style(8.5, 0.6, False, tight=True),
    Style(8.0, 0.2, False, tight=True),
)


@dataclass(frozen=True, slots=True)
class Block:
    """A race with its forecast and the rows of its table; `begun`: its first rows stand on the page before."""

    race: Race
    forecast: str
    lines: tuple[SeatLine, ...]
    begun: bool = False


@dataclass(frozen=True, slots=True)
class Layout:
    """What stands on which page, in which style."""

    style: Style
    pages: tuple[tuple[Block, ...], ...]


def lay_out(page: Page, blocks: Sequence[Block], extras_mm: float) -> Layout:
    """Return the most generous style in which all blocks stand on one page, else the tightest on several.

    Parameters
    ----------
    extras_mm : height of what stands below the tables of each page.
    """
    for style in STYLES:
        page.tight = style.tight
        if sum(_height(page, style, block, block is blocks[0]) for block in blocks) <= room(page, extras_mm):
            return Layout(style, (tuple(blocks),))
    style = STYLES[-1]
    return Layout(style, _share_out(page, style, blocks, room(page, extras_mm) - NOTICE_HEIGHT))


def room(page: Page, extras_mm: float) -> float:
    """Return the height that a page has for races, mm."""
    feet = feet_height(page, CAUTIONS_AT_THE_CAR) + ABOVE_FEET
    return page.bottom - feet - extras_mm - (page.left + heading_height(page))


def row_lines(page: Page, style: Style, line: SeatLine) -> tuple[list[str], list[str]]:
    """Return cover and notes as the lines they take in their columns."""
    _, _, (_, cover), (_, notes) = columns(page, *SHARES)
    return (
        page.split(line.cover, cover - 1, style.small, MOST_LINES),
        page.split(line.notes, notes - 1, style.small, MOST_LINES),
    )


def row_height(page: Page, style: Style, line: SeatLine) -> float:
    """Return the height of a row, mm."""
    return style.row(max(map(len, row_lines(page, style, line))))


def forecast_lines(page: Page, block: Block) -> list[str]:
    """Return the forecast of a race as the lines it takes."""
    return page.split(block.forecast, page.width, LEGIBLE, 2)


def _head_height(page: Page, style: Style, block: Block, first: bool) -> float:
    return style.race_head(len(forecast_lines(page, block))) + style.heads(first)


def _height(page: Page, style: Style, block: Block, first: bool) -> float:
    rows = sum(row_height(page, style, line) for line in block.lines)
    return _head_height(page, style, block, first) + rows + style.below


def _share_out(page: Page, style: Style, blocks: Sequence[Block], most: float) -> tuple[tuple[Block, ...], ...]:
    """Put whole races on pages as they fit; one that no page can hold goes on where the page ends."""
    pages: list[list[Block]] = [[]]
    left = most
    for whole in blocks:
        block = whole
        if pages[-1] and _height(page, style, block, False) > left:
            pages.append([])
            left = most
        while len(block.lines) > 1 and _height(page, style, block, not pages[-1]) > left:
            count = _rows_that_fit(page, style, block, left)
            pages[-1].append(replace(block, lines=block.lines[:count]))
            block = replace(block, lines=block.lines[count:], begun=True)
            pages.append([])
            left = most
        left -= _height(page, style, block, not pages[-1])
        pages[-1].append(block)
    return tuple(tuple(shown) for shown in pages)


def _rows_that_fit(page: Page, style: Style, block: Block, left: float) -> int:
    """Return how many rows of a race that begins a page fit on it; a race is split only there."""
    left -= _head_height(page, style, block, True) + style.below
    heights = accumulate(row_height(page, style, line) for line in block.lines)
    return min(max(sum(height <= left for height in heights), 1), len(block.lines) - 1)
