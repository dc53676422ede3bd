"""Absences entered on a page or at the command line, written into the season folder."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

from lineup.errors import InputError, SeasonError
from lineup.read.cells import guarded
from lineup.read.drafts import drafts_of, drop_draft, put_in_place, save_draft, text_of
from lineup.read.grid import with_row
from lineup.season import Absence

AVAILABILITY: Final = "availability.csv"


def enter_absences(folder: Path, absences: Sequence[Absence], entered_by: str) -> None:
    """Write absences into availability.csv: days only, never a diagnosis.

    Raises
    ------
    InputError
        When the season is a workbook, has drafts that wait, or would be broken; nothing is written then.
    """
    if not folder.is_dir():
        raise InputError(f"{folder}: a workbook is read only here. Enter the absence in its sheet availability")
    if drafts_of(folder):
        raise InputError("edited files wait to be put in place. Put them in place, or let them go, then take this step")
    text = text_of(folder, AVAILABILITY)
    for absence in absences:
        row = {
            "athlete": absence.athlete,
            "first_day": absence.first_day.isoformat(),
            "last_day": absence.last_day.isoformat() if absence.last_day else "",
            "status": absence.status,
            "positions": ";".join(absence.positions),
            "kind": absence.kind,
            "entered_by": guarded(" ".join(entered_by.split())),
        }
        text = with_row(text, tuple(row), row)
    save_draft(folder, AVAILABILITY, text)
    try:
        put_in_place(folder)
    except SeasonError as error:
        drop_draft(folder, AVAILABILITY)
        raise InputError(str(error)) from None
