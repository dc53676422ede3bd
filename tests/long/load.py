"""The largest organisation: 300 athletes, 10 cars, 36 weekends, 200,000 graded tasks; how long each part takes.

    python -m tests.long.load                # everything, about 20 minutes on two cores
    python -m tests.long.load --plan 60      # another time for the search
    python -m tests.long.load --only read    # read, estimate, plan, documents, pages

Prints seconds by the clock and of the processor, and the peak memory after each step; RESULTS.md has the last ones.
"""

from __future__ import annotations

import argparse
import os
import resource
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from lineup.optimize.run import Progress
from lineup.plan import Plan
from lineup.plan_file import read_plan, write_plan
from lineup.read import read_season
from lineup.season import GRADE_COLUMNS, Season
from lineup.settings import Settings
from lineup.study import Study
from tests.benchmarks.generate import make_season
from tests.builders import FIRST_SUNDAY, write_season, write_workbook

ATHLETES, CARS, WEEKENDS, GRADES = 300, 10, 36, 200_000
PAGES = ("block", "crews", "hurt", "athlete", "depth", "sign", "season_data", "mine")
NOW = datetime(2026, 4, 1, tzinfo=UTC)


def large_season() -> Season:
    """Grades lie in whole stops of practice, six a day, of random crews; every athlete has about 600 graded tasks."""
    season = make_season(ATHLETES, CARS, WEEKENDS)
    rng = np.random.default_rng(1)
    four = season.choreographies["four"]
    able = {p: [c.athlete for c in season.clearances if c.position == p] for p in season.positions}
    skill = {a: 0.05 * rng.standard_normal() for a in season.athletes}
    stops = GRADES // len(four.tasks)
    crews = {p: rng.choice(able[p], stops) for p in able}
    parts = []
    for task in four.tasks:
        who = crews[task.position] if task.position else np.full(stops, "")
        own = np.array([skill.get(a, 0.0) for a in who])
        seconds = task.seconds * np.exp(own + 0.06 * rng.standard_normal(stops))
        part = {"athlete": who, "position": task.position or "", "task": task.id, "seconds": seconds.round(2)}
        parts.append(pd.DataFrame(part).assign(number=np.arange(stops)))
    rows = pd.concat(parts, ignore_index=True)
    days = [pd.Timestamp(FIRST_SUNDAY - timedelta(days=1 + int(n) % 360)) for n in range(stops)]
    rows["date"] = pd.Series(days).take(rows["number"]).to_numpy()
    rows["stop"] = "s" + rows["number"].astype(str)
    rows = rows.assign(
        setting="practice", service="four", tire="plain", race="", car="", row=np.arange(2, len(rows) + 2)
    )
    for column in ("misses", "spoilers"):
        rows[column] = [()] * len(rows)
    kinds = {"athlete": "str", "position": "str", "task": "str", "stop": "str", "date": "datetime64[s]"}
    return season.replace(grades=rows[list(GRADE_COLUMNS)].astype(kinds))


@contextmanager
def timed(what: str) -> Iterator[None]:
    """Print how long a step took, and the peak memory so far."""
    begin, own = time.perf_counter(), time.process_time()
    yield
    took, own = time.perf_counter() - begin, time.process_time() - own
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{what:<48} {took:7.1f} s   processor {own:7.1f} s   peak {peak:6.0f} MB", flush=True)


def read(place: Path) -> None:
    """Write the season in both forms and read both."""
    season = large_season()
    with timed("write the folder (the tests' own writer)"):
        write_season(season, place / "season")
    with timed("write the workbook (the tests' own writer)"):
        write_workbook(season, place / "season.xlsx")
    with timed("read the folder"):
        found, _ = read_season(place / "season")
    with timed("read the workbook"):
        by_sheets, _ = read_season(place / "season.xlsx")
    assert found.fingerprints == by_sheets.fingerprints
    print(f"   {len(found.grades):,} graded tasks, {(place / 'season.xlsx').stat().st_size / 1e6:.1f} MB workbook")


def estimate(place: Path) -> None:
    """Estimate skills, sample stops, set prices."""
    study = opened(place)
    with timed("estimate skills"):
        _ = study.estimates
    with timed("sample 1024 stops of everyone"):
        _ = study.model
    with timed("price tables"):
        _ = study.pricer
    with timed("the block as the optimiser sees it"):
        _ = study.problem


def plan(place: Path, seconds: float) -> None:
    """Plan four weekends, then all thirty-six; say when the first lineup stood, and the gap at the end."""
    from lineup.workflow import make_plan

    whole = opened(place, seconds)
    for weekends in (whole.weekends[:4], whole.weekends):
        study = replace(whole, weekends=weekends, known_estimates=whole.estimates, known_model=whole.model)
        seen: list[Progress] = []
        with timed(f"plan {len(weekends)} weekends, {seconds:.0f} s of search"):
            found = make_plan(study, on_progress=seen.append)
        first = next((p.seconds for p in seen if p.value_s is not None), None)
        gap = "no bound" if found.gap is None else f"gap {100 * found.gap:.2f} %"
        print(f"   {found.status}, first lineup after {first or float('nan'):.1f} s, value {found.value_s}, {gap}")
        print(f"   cover {found.cover_status}; {len(found.assignments)} seats, {len(found.reserves)} reserves")
        write_plan(found, place / f"plan-{len(weekends)}.json")
    write_plan(found, place / "plan.json")


def documents(place: Path) -> None:
    """Write what `lineup export` writes: the block, and the sheets of one weekend."""
    from lineup.report.calendar import Issue, write_calendars
    from lineup.report.csv_tables import write_csv_tables
    from lineup.report.sheet import write_sheets
    from lineup.report.stamp import Papers, Stamp
    from lineup.report.workbook import write_workbook as write_block

    season, _ = read_season(place / "season")
    found: Plan = read_plan(place / "plan.json", season)
    out, stamp = place / "out", Stamp.draft()
    out.mkdir(exist_ok=True)
    steps: dict[str, Callable[[], Any]] = {
        "block.xlsx": lambda: write_block(out / "block.xlsx", season, found, made_at=NOW, stamp=stamp),
        "CSV tables": lambda: write_csv_tables(out / "csv", season, found),
        "calendars": lambda: write_calendars(out / "calendars", season, found, Issue("draft", 0, NOW)),
        "sheets of one weekend": lambda: write_sheets(
            out / "sheets", season, Papers.draft(found), season.weekends[0], printed_at=NOW
        ),
    }
    for name, step in steps.items():
        with timed(f"document: {name}"):
            step()


def pages(place: Path) -> None:
    """Open each page as its first visitor and once more; the season and its estimates are shared between pages."""
    from streamlit.testing.v1 import AppTest

    os.environ |= {"LINEUP_SEASON": str(place / "season"), "LINEUP_SECONDS": "5"}
    root = Path(__file__).parents[2]
    os.chdir(root)
    for page in PAGES:
        at = AppTest.from_file(str(root / "app.py"), default_timeout=900)
        with timed(f"page {page}: first visit"):
            at.run()
            at.switch_page(f"lineup/ui/{page}.py")
            at.run()
        with timed(f"page {page}: again"):
            at.run()
        print("   " + ("an exception" if at.exception else f"{len(at.main.children)} parts"), flush=True)


def opened(place: Path, seconds: float = 60.0) -> Study:
    """Open the season as the command line does."""
    season, report = read_season(place / "season")
    return Study(season, season.weekends, Settings(time_s=seconds), report)


def main() -> None:
    """Read the command line and run."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--plan", type=float, default=120.0, help="seconds of search for each block")
    parser.add_argument("--only", choices=["read", "estimate", "plan", "documents", "pages"], action="append")
    parser.add_argument("--place", type=Path, default=None, help="where the season lies, or shall lie")
    given = parser.parse_args()
    place = given.place or Path(tempfile.mkdtemp(prefix="load-"))
    steps: dict[str, Callable[[], None]] = {
        "read": lambda: read(place),
        "estimate": lambda: estimate(place),
        "plan": lambda: plan(place, given.plan),
        "documents": lambda: documents(place),
        "pages": lambda: pages(place),
    }
    print(f"{ATHLETES} athletes, {CARS} cars, {WEEKENDS} weekends, {GRADES:,} graded tasks, in {place}")
    for name in given.only or steps:
        steps[name]()


if __name__ == "__main__":
    main()
