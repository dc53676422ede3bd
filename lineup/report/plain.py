"""Makes any name safe for a document: one clean line, no formula, no path."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from typing import Final

LONGEST_CELL: Final = 32_000  # a spreadsheet cell holds 32,767 characters
FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r", "\n")


def one_line(text: str) -> str:
    """Return a text as one line of printable characters, composed (NFC) so that a font finds its glyphs.

    Control characters, marks that turn the reading direction, and lone surrogates become spaces.
    """
    composed = unicodedata.normalize("NFC", text)
    return " ".join("".join(c if _shows(c) else " " for c in composed).split())


def latin(text: str) -> bool:
    """Whether a text has something to show, and all its letters are Latin."""
    shown = one_line(text)
    return bool(shown) and all(unicodedata.name(c, "").startswith("LATIN") for c in shown if c.isalpha())


def cell(text: str) -> str:
    """Return a text that a spreadsheet reading CSV takes for text, not for a formula.

    A leading quote is put before = + - @, tab, return and newline, also after spaces (the measures against CSV
    injection that the OWASP community lists; from memory).
    """
    short = text if len(text) <= LONGEST_CELL else text[: LONGEST_CELL - 1] + "…"
    return f"'{short}" if text.lstrip(" ").startswith(FORMULA_STARTS) else short


def file_name(*parts: str) -> str:
    """Return a file name without ending: lower-case words of ASCII letters and digits, joined by dashes.

    Where that loses something, a few digits of the parts' hash keep two names apart.
    """
    wanted = "-".join(parts)
    letters = unicodedata.normalize("NFKD", wanted).encode("ascii", "ignore").decode().lower()
    name = re.sub(r"[^a-z0-9]+", "-", letters).strip("-")[:80]
    if name and name == wanted:
        return name
    mark = hashlib.sha256("\0".join(parts).encode("utf-8", "replace")).hexdigest()[:6]
    return f"{name}-{mark}" if name else mark


def _shows(character: str) -> bool:
    # C*: controls, format marks, surrogates, unassigned; Z*: separators, of which only the plain space shows
    return character == " " or unicodedata.category(character)[0] not in "CZ"
