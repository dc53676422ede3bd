"""How a piece of work that takes long says that it was not done to its end."""

from __future__ import annotations

from collections.abc import Callable

Over = Callable[[], bool]  # whether the time is up, or the caller asked to stop


class Stopped(Exception):
    """The solve is over before this piece of work was done."""
