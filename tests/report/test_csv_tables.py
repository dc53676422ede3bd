"""CSV files by RFC 4180 that no spreadsheet takes for formulas."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest

from lineup.errors import InputError
from lineup.report.block_rows import Rows
from lineup.report.csv_tables import csv_text, write_csv_tables
from tests.report.papers import HOSTILE, full_plan, named_season


def test_quoting_is_that_of_rfc_4180() -> None:
    # RFC 4180, section 2, rules 1, 5, 6 and 7: CRLF; fields with quotes, commas or breaks quoted; quotes doubled
    table = Rows("t", ("name", "seconds"), (('A "B", C', 1.5), ("two\nlines", None), ("Łódź", -2)))
    assert csv_text(table) == 'name,seconds\r\n"A ""B"", C",1.5\r\n"two\nlines",\r\nŁódź,-2\r\n'


def test_every_table_is_written_and_read_back(tmp_path: Path) -> None:
    season = named_season(HOSTILE)
    plan = full_plan(season)
    paths = write_csv_tables(tmp_path / "out", season, plan)
    assert [path.stem for path in paths] == ["assignments", "reserves", "travel", "cover", "forecasts", "costs"]
    tables = {path.stem: list(csv.DictReader(io.StringIO(path.read_bytes().decode(), newline=""))) for path in paths}
    seats = {(row["race"], row["car"], row["position"], row["athlete"]) for row in tables["assignments"]}
    assert seats == {(a.race, a.car, a.position, a.athlete) for a in plan.assignments}
    names = {row["athlete"]: row["athlete_name"] for row in tables["assignments"]}
    assert names["a2"] == '\'=HYPERLINK("x";"y")'
    assert names["a4"] == "Nguyễn Thị Hương Trần"
    assert {(r["athlete"], r["role"]) for r in tables["travel"] if r["race"] == "r2"} >= {
        ("a7", "reserve"),
        ("a1", "starter"),
    }
    for rows in tables.values():
        for row in rows:
            assert not any(value.startswith(("=", "+", "@")) for value in row.values())
    texts = " ".join(path.read_text(encoding="utf-8") for path in paths)
    assert not any(secret in texts for secret in ("medical", "SECRET", "doctor"))


def test_a_folder_that_cannot_be_made_gets_one_line(tmp_path: Path) -> None:
    season = named_season()
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="cannot be written"):
        write_csv_tables(tmp_path / "file", season, full_plan(season))
