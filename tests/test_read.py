"""Reading seasons: good ones, broken ones with their whole report, odd ones with their warnings."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from lineup.errors import SeasonError
from lineup.read import read_season

DATA = Path(__file__).parent / "data"
BROKEN = sorted(path.name for path in (DATA / "broken").iterdir())
ODD = sorted(path.name for path in (DATA / "odd").iterdir())


def laid_over_tiny(case: Path, folder: Path) -> Path:
    """Copy the tiny season, then the files of a case over it; remove.txt lists files to take away."""
    season = folder / "season"
    shutil.copytree(DATA / "tiny", season)
    shutil.copytree(case, season, dirs_exist_ok=True)
    (season / "expected.txt").unlink(missing_ok=True)
    listed = season / "remove.txt"
    if listed.exists():
        for name in listed.read_text(encoding="utf-8").split("\n"):
            if name:
                (season / name).unlink()
        listed.unlink()
    return season


def check_report(report: str, expected: Path) -> None:
    """Compare a whole report with the one on file; LINEUP_WRITE_EXPECTED=1 writes it anew, to be read by a person."""
    if os.environ.get("LINEUP_WRITE_EXPECTED"):
        expected.write_text(report, encoding="utf-8")
    assert report == expected.read_text(encoding="utf-8")


@pytest.mark.parametrize("case", BROKEN)
def test_broken_season_has_its_whole_report(case: str, tmp_path: Path) -> None:
    folder = DATA / "broken" / case
    with pytest.raises(SeasonError) as caught:
        read_season(laid_over_tiny(folder, tmp_path))
    check_report(f"{caught.value}\n", folder / "expected.txt")


@pytest.mark.parametrize("case", ODD)
def test_odd_season_is_read_with_all_its_warnings(case: str, tmp_path: Path) -> None:
    folder = DATA / "odd" / case
    _, report = read_season(laid_over_tiny(folder, tmp_path))
    assert not report.problems
    check_report(f"{report}\n", folder / "expected.txt")
