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


@pytest.mark.parametrize("case", BROKEN)
def test_broken_season_has_its_whole_report(case: str, tmp_path: Path) -> None:
    folder = DATA / "broken" / case
    with pytest.raises(SeasonError) as caught:
        read_season(laid_over_tiny(folder, tmp_path))
    report = f"{caught.value}\n"
    expected = folder / "expected.txt"
    if os.environ.get("LINEUP_WRITE_EXPECTED"):
        expected.write_text(report, encoding="utf-8")
    assert report == expected.read_text(encoding="utf-8")
