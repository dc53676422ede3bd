"""Suggests the nearest known name for one that was mistyped."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return "; did you mean 'x'?" for the nearest known word, or an empty string."""
    near = get_close_matches(word, list(known), n=1)
    return f"; did you mean {near[0]!r}?" if near else ""
