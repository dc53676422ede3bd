"""Numbers that whoever serves the pages may set in the environment."""

from __future__ import annotations

import os

from lineup.errors import InputError


def number(variable: str, usual: float) -> float:
    """Return the number that a variable holds, or the usual one where it is not set.

    Raises
    ------
    InputError
        When it holds something else.
    """
    given = os.environ.get(variable, str(usual))
    try:
        return float(given)
    except ValueError:
        raise InputError(f"{variable} is {given!r}: set it to a number, or not at all") from None
