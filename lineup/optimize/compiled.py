"""Compile a function of numbers and arrays; its threads run side by side, and the result is kept on disk."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba


def compiled(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compile a function. Sums may be taken in any order, so that several numbers are handled at a time."""
    quick = {"reassoc", "contract"}
    try:
        return numba.njit(nogil=True, cache=True, fastmath=quick, error_model="numpy")(function)
    except RuntimeError:  # no place to write to
        return numba.njit(nogil=True, fastmath=quick, error_model="numpy")(function)
