"""Every error this package raises on purpose.

LineupError                 one clear sentence for the user; the command line maps it to an exit code
├── InputError              something given is wrong: a name, a date, an option (exit code 2)
│   └── SeasonError         a season folder is broken: carries a `Report` with every problem (exit code 2)
├── PlanFileError           a plan file cannot be read or does not fit the season (exit code 2)
└── StoreError              the store refuses a write, or finds its history damaged (exit code 2)
    └── NotAllowed          the person's role, or the state of the weekend, does not permit the step
        └── Unacknowledged  something that has to be acknowledged before a signature is not
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong, or odd, in a season folder.

    `row` counts as a spreadsheet shows it: the header is row 1. `None` where a problem belongs to a whole file.
    `column` is a key where the file is TOML.
    """

    file: str
    row: int | None
    column: str | None
    value: str | None
    message: str
    mend: str

    def __str__(self) -> str:
        place = self.file
        if self.row is not None:
            place += f", row {self.row}"
        if self.column is not None:
            kind = "" if self.file.endswith(".toml") else "column "
            place += f", {kind}{shortened(self.column)}"
        shown = "" if self.value is None else f" (found {shortened(self.value)!r})"
        return _printable(f"{place}: {self.message}{shown}. {self.mend}")


@dataclass(frozen=True, slots=True)
class Report:
    """All problems and warnings of one season folder, in file and row order."""

    problems: tuple[Problem, ...] = ()
    warnings: tuple[Problem, ...] = ()

    def __str__(self) -> str:
        lines = [f"error: {problem}" for problem in self.problems]
        lines += [f"warning: {warning}" for warning in self.warnings]
        return "\n".join(lines)


class LineupError(Exception):
    """Base of all errors raised on purpose."""


class InputError(LineupError):
    """A name, date, number or option given by the user is wrong."""


class SeasonError(InputError):
    """A season folder or workbook is broken."""

    def __init__(self, report: Report) -> None:
        super().__init__(str(report))
        self.report = report


class PlanFileError(LineupError):
    """A plan file cannot be read or names things the season does not have."""


class StoreError(LineupError):
    """The store refuses a write, or its history is damaged."""


class NotAllowed(StoreError):
    """The role of the person, or the state of the weekend, does not permit this step."""


class Unacknowledged(NotAllowed):
    """Something on the checklist has to be acknowledged before this step."""


def shortened(text: str, most: int = 60) -> str:
    """Return a text as messages quote it: at most so many characters of it."""
    return text if len(text) <= most else text[: most - 1] + "…"


def _printable(text: str) -> str:
    # names of files and columns are shown as they stand: a terminal must not obey what hides in them
    return "".join(c if c.isprintable() else "\ufffd" for c in text)
