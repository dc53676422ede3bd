"""Collects every problem and warning while a season is read, and words the nearest known name."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from difflib import get_close_matches
from typing import Final

from lineup.errors import Problem, Report

MOST_ALIKE: Final = 50
MOST_NAMED: Final = 8
Mend = str | Callable[[], str]  # a mend that takes long to word is worded only where it is listed


class Notes:
    """Problems and warnings so far; the same complaint about one column is listed `MOST_ALIKE` times, then counted."""

    def __init__(self) -> None:
        self._problems: list[Problem] = []
        self._warnings: list[Problem] = []
        self._alike: dict[tuple[bool, str, str | None, str], tuple[int, str]] = {}

    def problem(self, file: str, row: int | None, column: str | None, value: object, message: str, mend: Mend) -> None:
        """Note something that is wrong: the season will be refused."""
        self._add(False, (file, row, column, value, message), mend)

    def warning(self, file: str, row: int | None, column: str | None, value: object, message: str, mend: Mend) -> None:
        """Note something that is odd but possible."""
        self._add(True, (file, row, column, value, message), mend)

    @property
    def clean(self) -> bool:
        """Whether nothing wrong was found yet."""
        return not self._problems

    def report(self) -> Report:
        """Everything found: files in the order they were first named, rows in theirs."""
        problems, warnings = list(self._problems), list(self._warnings)
        for (odd, file, column, message), (count, mend) in self._alike.items():
            if count > MOST_ALIKE:
                more = f"{count - MOST_ALIKE:,} more rows have the same problem: {message}"
                (warnings if odd else problems).append(Problem(file, None, column, None, more, mend))
        files = list(dict.fromkeys(p.file for p in (*self._problems, *self._warnings)))
        return Report(_in_order(problems, files), _in_order(warnings, files))

    def _add(self, odd: bool, what: tuple[str, int | None, str | None, object, str], mend: Mend) -> None:
        file, row, column, value, message = what
        kind = (odd, file, column, message)
        count, first_mend = self._alike.get(kind, (0, ""))
        if count < MOST_ALIKE or row is None:
            first_mend = mend if isinstance(mend, str) else mend()
            shown = None if value is None else str(value)
            found = Problem(file, row, column, shown, message, first_mend)
            (self._warnings if odd else self._problems).append(found)
        self._alike[kind] = (count + (row is not None), first_mend)


def meant(word: str, known: Iterable[str]) -> str:
    """Ask for the nearest known word; empty where none is near."""
    near = get_close_matches(word, list(known), 1, 0.6)
    return f"Did you mean {near[0]}?" if near else ""


def nearest(word: str, known: Iterable[str], none: str) -> str:
    """Ask for the nearest known word; without a near one, name a few of those known, or say `none`."""
    names = list(known)
    if asked := meant(word, names):
        return asked
    if not names:
        return none
    return f"Known: {', '.join(names[:MOST_NAMED])}{', …' if len(names) > MOST_NAMED else ''}."


def _in_order(problems: list[Problem], files: list[str]) -> tuple[Problem, ...]:
    place = {file: i for i, file in enumerate(files)}
    return tuple(sorted(problems, key=lambda p: (place[p.file], p.row is None and p.message[:1].isdigit(), p.row or 0)))
