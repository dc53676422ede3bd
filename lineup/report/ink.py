"""The colours of printed sheets, and how well one is read on another."""

from __future__ import annotations

from typing import Final

Colour = tuple[int, int, int]

PAPER: Final[Colour] = (255, 255, 255)
INK: Final[Colour] = (27, 31, 36)
SOFT: Final[Colour] = (87, 96, 106)  # labels and small print
TINT: Final[Colour] = (240, 243, 244)  # background of bands and every other row
RULE: Final[Colour] = (190, 197, 203)  # hairlines, never text
DONE: Final[Colour] = (20, 83, 74)  # signed
OPEN: Final[Colour] = (138, 50, 8)  # not signed, amended, changed


def luminance(colour: Colour) -> float:
    """Return the relative luminance of an sRGB colour, 0 to 1 (WCAG 2, "relative luminance")."""
    shares = [channel / 255 for channel in colour]
    linear = [share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4 for share in shares]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(text: Colour, ground: Colour) -> float:
    """Return the contrast ratio of two colours, 1 to 21 (WCAG 2, "contrast ratio")."""
    light, dark = sorted((luminance(text), luminance(ground)), reverse=True)
    return (light + 0.05) / (dark + 0.05)
