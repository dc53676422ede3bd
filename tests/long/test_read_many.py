"""Reading 200,000 graded rows, good and bad.

Run by hand: pytest -n0 -s tests/long/test_read_many.py. Measured on two cores that other work kept busy (load 5): good
rows 10 s, every row with three faults 12 s, 25,000 stops graded by finish marks 13 s, the good rows as a workbook 23 s;
on the same cores with little else to do: good rows 6 s.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from lineup.errors import SeasonError
from lineup.read import read_season
from tests.builders import tiny_season, write_season, write_workbook

POSITIONS, STOPS = 8, 25_000


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    season = tiny_season(athletes=60, positions=POSITIONS, cars=6, races=12, shape="chained", grades=417)
    return write_season(season, tmp_path_factory.mktemp("many") / "season")


def timed(what: str, work: Callable[[], Any]) -> Any:
    begin = time.perf_counter()
    try:
        return work()
    finally:
        print(f"{what}: {time.perf_counter() - begin:.1f} s")


def test_good_rows(folder: Path) -> None:
    season, report = timed("good rows", lambda: read_season(folder))
    assert len(season.grades) == 60 * POSITIONS * 417
    assert not report.warnings
    book = write_workbook(season, folder.parent / "season.xlsx")
    assert timed("workbook", lambda: read_season(book))[0].fingerprints == season.fingerprints


def test_rows_that_are_all_wrong(folder: Path) -> None:
    table = folder / "graded_stops.csv"
    good = table.read_text(encoding="utf-8")
    header, *rows = good.splitlines()
    wrong = [row.replace("practice", "practise").replace(",a", f",z{i % 5000}", 1) for i, row in enumerate(rows)]
    table.write_text("\n".join([header, *(row.replace("do-p", "dp-p") for row in wrong)]), encoding="utf-8")
    with pytest.raises(SeasonError) as caught:
        timed("all wrong", lambda: read_season(folder))
    table.write_text(good, encoding="utf-8")
    assert len(caught.value.report.problems) == 3 * 51  # 50 of each kind, then their number


def test_finish_marks(folder: Path) -> None:
    table = folder / "graded_stops.csv"
    good = table.read_text(encoding="utf-8")
    rows = [
        f"2026-03-01,race,four,plain,a{place},p{place},do-p{place},{place * 4},s{stop}"
        for stop in range(STOPS)
        for place in range(1, POSITIONS + 1)
    ]
    header = "date,setting,service,tire,athlete,position,task,finish_s,stop"
    table.write_text("\n".join([header, *rows]), encoding="utf-8")
    season, _ = timed("finish marks", lambda: read_season(folder))
    table.write_text(good, encoding="utf-8")
    assert season.grades["seconds"].eq(4).all()
