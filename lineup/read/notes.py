"""Collects every problem and warning while a season is read, and words the nearest known name."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from difflib import get_close_matches
from typing import Final

from lineup.errors import Problem, Report

MOST_ALIKE: Final = 50
MOST_NAMED: Final = 8


class Notes:
    """Problems and warnings so far; the same complaint about one column is listed `MOST_ALIKE` times, then counted."""

    def __init__(self) -> None:
        self._problems: list[Problem] = []
        self._warnings: list[Problem] = []
        self._alike: Counter[tuple[bool, str, str | None, str, str]] = Counter()

    def problem(self, file: str, row: int | None, column: str | None, value: object, message: str, mend: str) -> None:
        """Note something that is wrong: the season will be refused."""
        self._add(False, Problem(file, row, column, _shown(value), message, mend))

    def warning(self, file: str, row: int | None, column: str | None, value: object, message: str, mend: str) -> None:
        """Note something that is odd but possible."""
        self._add(True, Problem(file, row, column, _shown(value), message, mend))

    @property
    def clean(self) -> bool:
        """Whether nothing wrong was found yet."""
        return not self._problems

    def report(self) -> Report:
        """Everything found: files in the order they were first named, rows in theirs."""
        problems, warnings = list(self._problems), list(self._warnings)
        for (odd, file, column, message, mend), count in self._alike.items():
            if count > MOST_ALIKE:
                more = f"{count - MOST_ALIKE:,} more rows have the same problem: {message}"
                (warnings if odd else problems).append(Problem(file, None, column, None, more, mend))
        files = list(dict.fromkeys(p.file for p in (*self._problems, *self._warnings)))
        return Report(_in_order(problems, files), _in_order(warnings, files))

    def _add(self, odd: bool, problem: Problem) -> None:
        kind = (odd, problem.file, problem.column, problem.message, problem.mend if problem.row is None else "")
        self._alike[kind] += 1
        if self._alike[kind] <= MOST_ALIKE:
            (self._warnings if odd else self._problems).append(problem)


def nearest(word: str, known: Iterable[str], none: str) -> str:
    """Name the nearest known word; without a near one, a few of those known, or `none` when there are none."""
    names = list(known)
    near = get_close_matches(word, names, 1, 0.6)
    if near:
        return f"Did you mean {near[0]}?"
    if not names:
        return none
    return f"Known: {', '.join(names[:MOST_NAMED])}{', …' if len(names) > MOST_NAMED else ''}."


def _shown(value: object) -> str | None:
    return None if value is None else str(value)


def _in_order(problems: list[Problem], files: list[str]) -> tuple[Problem, ...]:
    place = {file: i for i, file in enumerate(files)}
    return tuple(sorted(problems, key=lambda p: (place[p.file], p.row is None and p.message[:1].isdigit(), p.row or 0)))
