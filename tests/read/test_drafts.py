"""Drafts of a season's files: never lost, checked as a whole, put in place all at once or not at all."""

from __future__ import annotations

import csv
import io
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lineup.errors import InputError, SeasonError
from lineup.read import read_season
from lineup.read.drafts import (
    check_drafts,
    draft_folder,
    drafts_of,
    drop_draft,
    put_in_place,
    save_draft,
    text_of,
)
from lineup.read.entered_absences import enter_absences
from lineup.read.grid import to_grid, to_text, with_row
from lineup.season import Absence
from tests.builders import tiny_season, write_season

COLUMNS = ("athlete", "first_day", "last_day", "status", "positions", "kind", "entered_by")
OUT = {"athlete": "a1", "first_day": "2026-04-01", "status": "out", "kind": "other"}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A whole season folder."""
    place = tmp_path / "season"
    write_season(tiny_season(), place)
    return place


def test_a_draft_is_kept_and_read_back_before_what_is_in_place(folder: Path) -> None:
    text = text_of(folder, "athletes.csv")
    save_draft(folder, "athletes.csv", text.replace("Athlete 1", "Ana, the first"))
    assert "Ana, the first" in text_of(folder, "athletes.csv")
    assert "Ana" not in (folder / "athletes.csv").read_text()
    save_draft(folder, "athletes.csv", text)
    assert not drafts_of(folder), "a draft that changes nothing is no draft"


def test_drafts_are_put_in_place_together_and_the_season_reads_them(folder: Path) -> None:
    save_draft(folder, "availability.csv", with_row(text_of(folder, "availability.csv"), COLUMNS, OUT))
    assert not check_drafts(folder).problems
    put_in_place(folder)
    assert not drafts_of(folder)
    season, _ = read_season(folder)
    assert [(a.athlete, a.status) for a in season.absences] == [("a1", "out")]


def test_a_draft_that_breaks_the_season_stays_a_draft_with_its_row_named(folder: Path) -> None:
    before = (folder / "athletes.csv").read_bytes()
    wrong = with_row(text_of(folder, "availability.csv"), COLUMNS, {**OUT, "athlete": "a9"})
    save_draft(folder, "availability.csv", wrong)
    with pytest.raises(SeasonError, match=r"availability\.csv, row 2, column athlete"):
        put_in_place(folder)
    assert drafts_of(folder)
    assert (folder / "athletes.csv").read_bytes() == before
    assert read_season(folder)[0].absences == ()
    drop_draft(folder, "availability.csv")
    assert not drafts_of(folder)


def test_a_draft_that_is_no_text_and_a_file_that_is_not_there_are_named(folder: Path) -> None:
    save_draft(folder, "cars.csv", text_of(folder, "cars.csv") + "\n")
    (draft_folder(folder) / "cars.csv").write_bytes(b"\xff\xfe")
    for read in (drafts_of, check_drafts, put_in_place):
        with pytest.raises(InputError, match=r"cars\.csv: is not UTF-8 text"):
            read(folder)
    drop_draft(folder, "cars.csv")
    (folder / "pins.csv").unlink(missing_ok=True)
    (folder / "pins.csv").symlink_to("nowhere.csv")
    with pytest.raises(InputError, match=r"pins\.csv: cannot be read"):
        check_drafts(folder)


def test_an_absence_is_entered_by_its_days_alone(folder: Path) -> None:
    enter_absences(folder, [Absence("a2", date(2026, 4, 2), None, "out")], "the coach")
    assert read_season(folder)[0].absences == (Absence("a2", date(2026, 4, 2), None, "out", (), "other", "the coach"),)
    with pytest.raises(InputError, match="athlete"):
        enter_absences(folder, [Absence("a9", date(2026, 4, 2), None, "out")], "the coach")
    assert len(read_season(folder)[0].absences) == 1
    assert not drafts_of(folder)


def test_an_absence_does_not_take_waiting_drafts_along(folder: Path) -> None:
    save_draft(folder, "athletes.csv", text_of(folder, "athletes.csv") + "\n")
    with pytest.raises(InputError, match="wait to be put in place"):
        enter_absences(folder, [Absence("a2", date(2026, 4, 2), None, "out")], "the coach")


@pytest.mark.parametrize("name", ["../season/athletes.csv", "/etc/passwd", "notes.txt", "choreography/../cars.csv"])
def test_only_the_files_of_a_season_can_be_edited(folder: Path, name: str) -> None:
    with pytest.raises(InputError, match="not one of the files"):
        save_draft(folder, name, "x")
    with pytest.raises(InputError, match="not one of the files"):
        text_of(folder, name)


CELLS = st.text(st.characters(blacklist_categories=("Cs", "Cc")), max_size=8)


@given(st.lists(st.tuples(CELLS, CELLS), max_size=6))
def test_a_table_survives_the_way_to_text_and_back(rows: list[tuple[str, str]]) -> None:
    text = to_text(("one", "two"), rows)
    assert to_grid(text).rows == tuple(rows)
    # the standard library's reader, in its strict mode, agrees
    assert list(csv.reader(io.StringIO(text, newline=""), strict=True))[1:] == [list(row) for row in rows]


def test_a_row_brings_the_columns_it_needs() -> None:
    assert with_row("a,b\n1,2\n", ("a", "b", "c"), {"a": "3", "c": "4"}) == "a,b,c\n1,2,\n3,,4\n"
    assert with_row("", ("a", "b"), {"b": "2"}) == "a,b\n,2\n"
