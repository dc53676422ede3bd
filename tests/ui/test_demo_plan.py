"""The plan beside the demo season, which the first opening shows, is of that season as it is and keeps its limits."""

from __future__ import annotations

from pathlib import Path

from lineup.audit import audit
from lineup.plan_file import read_plan
from lineup.read import read_season

DEMO = Path(__file__).parents[2] / "data_demo"


def test_the_demo_plan_fits_the_demo_season() -> None:
    season, _ = read_season(DEMO / "season")
    plan = read_plan(DEMO / "plan.json", season)
    stale = [part for part, mark in season.fingerprints.items() if plan.fingerprints.get(part) != mark]
    assert not stale, f"make it anew: lineup demo --out data_demo/plan.json ({stale} changed)"
    broken = [check.text for check in audit(season, plan).checks if not check.kept and not check.priced]
    assert not broken
