"""Writes the one-page sheets that a director signs: one per car of a weekend, one for the travel party."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from lineup.errors import InputError
from lineup.report.car_sheet import draw_car, plan_car, too_long
from lineup.report.page import Page
from lineup.report.party import car_name
from lineup.report.plain import file_name
from lineup.report.stamp import Paper, Papers
from lineup.report.travel_sheet import draw_party
from lineup.season import Season


def write_sheets(
    folder: Path | str,
    season: Season,
    papers: Papers,
    weekend: str,
    *,
    printed_at: datetime,
    paper: str = "A4",
) -> tuple[Path, ...]:
    """Write the sheets of a weekend as PDF files and return their paths, the travel party's first.

    Parameters
    ----------
    papers : starting crews and travel list, each with its plan and stamp.
    paper : "A4" or "Letter".
    printed_at : aware; printed at the foot.

    Raises
    ------
    InputError
        When the season has no such weekend, or the folder cannot be written to.
    """
    folder = ready(folder)
    paths = []
    if papers.travel is not None:
        path = folder / f"{file_name('travel', weekend)}.pdf"
        paths.append(write_travel_sheet(path, season, papers.travel, weekend, printed_at=printed_at, paper=paper))
    if papers.crews is not None:
        for car in cars_of(season, weekend):
            path, entry = folder / f"{file_name('crew', weekend, car)}.pdf", (weekend, car)
            paths.append(write_car_sheet(path, season, papers.crews, entry, printed_at=printed_at, paper=paper))
    return tuple(paths)


def write_car_sheet(
    path: Path, season: Season, crews: Paper, entry: tuple[str, str], *, printed_at: datetime, paper: str = "A4"
) -> Path:
    """Write the sheet of one (weekend, car); see `write_sheets`."""
    weekend, car = entry
    if car not in cars_of(season, weekend):
        raise InputError(f"car {car!r} has no entry in weekend {weekend}")
    with Page(f"Starting crew of {car_name(season, car)}, weekend {weekend}", paper, printed_at) as page:
        draw_car(page, season, crews, weekend, car, printed_at)
        return page.save(path)


def write_travel_sheet(
    path: Path, season: Season, travel: Paper, weekend: str, *, printed_at: datetime, paper: str = "A4"
) -> Path:
    """Write the sheet of a weekend's travel party; see `write_sheets`."""
    cars_of(season, weekend)
    with Page(f"Travel list, weekend {weekend}", paper, printed_at) as page:
        draw_party(page, season, travel, weekend, printed_at)
        return page.save(path)


def too_long_sheets(season: Season, crews: Paper, weekend: str, *, paper: str = "A4") -> tuple[str, ...]:
    """Return one sentence for every car whose sheet of a weekend needs more than one page."""
    told = []
    for car in cars_of(season, weekend):
        with Page("", paper, datetime.min.replace(tzinfo=UTC)) as page:
            notice = too_long(plan_car(page, season, crews, weekend, car)[1])
        if notice:
            told.append(f"the sheet of {car_name(season, car)} has {notice}")
    return tuple(told)


def cars_of(season: Season, weekend: str) -> tuple[str, ...]:
    """Return the cars with an entry in a weekend; InputError when the season has no such weekend."""
    races = season.races_of((weekend,))
    if not races:
        raise InputError(f"the season has no weekend {weekend!r}; it has {', '.join(season.weekends)}")
    return tuple(dict.fromkeys(car for race in races for car in season.cars_in[race.id]))


def ready(folder: Path | str) -> Path:
    """Return a folder to write to, made where it is not there; InputError where that is not possible."""
    folder = Path(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{folder}: cannot be made ({error.strerror or error})") from None
    return folder
