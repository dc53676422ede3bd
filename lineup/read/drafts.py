"""Drafts of a season folder's files: kept beside it until they are checked together with the rest and put in place.

Drafts of `seasons/2026` lie in `seasons/2026.drafts`, one file each, so that no edit is lost before it is put in place.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from lineup.errors import InputError, Report, SeasonError
from lineup.read.folder import is_season_file
from lineup.read.rows import TABLES
from lineup.read.season_file import read_season
from lineup.read.source import DOCUMENTS
from lineup.safe_files import finish_step, one_writer, replace_together, write_whole

ENDINGS: Final = (".csv", ".toml")


def files_of(folder: Path) -> tuple[str, ...]:
    """Return the names of the files a season folder has or could have, tables first."""
    services = sorted(f"choreography/{path.name}" for path in (folder / "choreography").glob("*.toml"))
    return (*(f"{name}.csv" for name in TABLES), *(f"{name}.toml" for name in DOCUMENTS), *services)


def draft_folder(folder: Path) -> Path:
    """Return where drafts of a season folder lie."""
    return folder.with_name(f"{folder.name}.drafts")


def drafts_of(folder: Path) -> Mapping[str, str]:
    """Return every draft by the name of its file.

    Raises
    ------
    InputError
        When one cannot be read, or is not UTF-8 text.
    """
    place = draft_folder(folder)
    paths = sorted(path for path in place.rglob("*") if path.suffix in ENDINGS) if place.is_dir() else []
    return {name: _text(place / name, name) for name in (path.relative_to(place).as_posix() for path in paths)}


def text_of(folder: Path, name: str) -> str:
    """Return the text of a file: its draft, else what is in place, else nothing.

    Raises
    ------
    InputError
        When it is not one of the season's files, cannot be read, or is not UTF-8 text.
    """
    _check_name(folder, name)
    for path in (draft_folder(folder) / name, folder / name):
        if path.is_file():
            return _text(path, name)
    return ""


def _text(path: Path, name: str) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"{name}: is not UTF-8 text. Save it as UTF-8") from None
    except OSError as error:
        raise InputError(f"{name}: cannot be read ({error.strerror})") from None


def save_draft(folder: Path, name: str, text: str) -> None:
    """Keep a draft; one that says what is in place already is let go.

    Raises
    ------
    InputError
        When it is not one of the season's files, or cannot be written.
    """
    _check_name(folder, name)
    path = draft_folder(folder) / name
    here = folder / name
    try:
        if here.is_file() and here.read_text(encoding="utf-8-sig", errors="replace") == text:
            drop_draft(folder, name)
            return
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, text.encode())
    except OSError as error:
        raise InputError(f"{path}: the draft cannot be kept ({error.strerror})") from None


def drop_draft(folder: Path, name: str) -> None:
    """Let a draft go."""
    (draft_folder(folder) / name).unlink(missing_ok=True)


def check_drafts(folder: Path) -> Report:
    """Return every problem and warning of the season as it would be with its drafts in place.

    Raises
    ------
    InputError
        When a file of the season, or a draft, cannot be read.
    """
    with tempfile.TemporaryDirectory() as place:
        trial = Path(place) / folder.name
        try:
            shutil.copytree(folder, trial)
            for name, text in drafts_of(folder).items():
                (trial / name).parent.mkdir(exist_ok=True)
                (trial / name).write_text(text, encoding="utf-8", newline="")
        except shutil.Error as error:
            raise InputError(f"{error.args[0][0][0]}: cannot be read") from None
        except OSError as error:
            raise InputError(f"{error.filename or folder}: cannot be copied for the check ({error.strerror})") from None
        try:
            return read_season(trial)[1]
        except SeasonError as error:
            return error.report


def put_in_place(folder: Path) -> Report:
    """Put all drafts in place, if the season is whole with them, and return what is still odd.

    Raises
    ------
    SeasonError
        When the season would be broken; nothing is written then.
    InputError
        When a file cannot be written.
    """
    try:
        with one_writer(folder):
            finish_step(folder, is_season_file)
            report = check_drafts(folder)
            if report.problems:
                raise SeasonError(report)
            drafts = drafts_of(folder)
            if drafts:
                replace_together(folder, {name: text.encode() for name, text in drafts.items()})
    except OSError as error:
        raise InputError(f"{folder}: cannot be written ({error.strerror or error})") from None
    for name in drafts:
        drop_draft(folder, name)
    return report


def _check_name(folder: Path, name: str) -> None:
    # also keeps a link such as ../../x from reading or writing elsewhere
    if name not in files_of(folder):
        raise InputError(f"{name!r} is not one of the files of a season")
