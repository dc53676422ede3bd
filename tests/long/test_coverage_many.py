"""Do forecasts keep what they promise: grades and whole stops of 48 seasons like the demo season.

Run by hand: pytest -n0 -s tests/long/test_coverage_many.py. Results: RESULTS.md.
"""

from __future__ import annotations

import numpy as np
import pytest

from lineup.skills import HoldoutReport
from lineup.stop_model.stop_check import StopCalibration
from tests.many_seasons import Share, check_seasons, grades_inside, newcomers_inside, stops_inside

SEASONS = 48
pytestmark = pytest.mark.timeout(7200)
Checked = list[tuple[HoldoutReport, StopCalibration]]


@pytest.fixture(scope="module")
def checked() -> Checked:
    return check_seasons(f"coverage-{number}" for number in range(SEASONS))


def close(name: str, found: tuple[Share, Share], bias: float) -> None:
    """Hold both shares against what was promised: three standard errors, and what is known to be off besides."""
    print(f"\n{name}: {found[0]} inside the 50 % interval, {found[1]} inside the 90 % interval")
    for share, promised in zip(found, (0.5, 0.9), strict=True):
        assert share.share == pytest.approx(promised, abs=3 * share.error + bias)


def test_whole_stops(checked: Checked) -> None:
    every = [stops for _, stops in checked]
    overall = stops_inside([s.overall for s in every])
    close("all stops", overall, bias=0.0)
    close("whole crew graded before", stops_inside([s.known for s in every if s.known]), bias=0.0)
    # The first tryout is slower than a race by an effect nobody has seen yet, and its athletes are doubted a little
    # too much: honest rather than sharp.
    close("somebody never graded", stops_inside([s.unknown for s in every if s.unknown]), bias=0.03)
    for share in overall:
        assert share.luck == pytest.approx(share.error, rel=0.4)  # the stated luck is the luck that was seen


def test_grades(checked: Checked) -> None:
    reports = [grades for grades, _ in checked]
    close("grades", grades_inside(reports), bias=0.01)  # skills of the demo drift less than recency allows for
    close("grades of athletes new to the split", newcomers_inside(reports), bias=0.01)


def test_errors(checked: Checked) -> None:
    """The estimates predict grades and stops better than plain averages do, in every season or nearly."""
    reports, stops = (list(part) for part in zip(*checked, strict=True))
    ratios = np.array([r.ratio for r in reports])
    few = np.array([r.few_ratio for r in reports])
    plain = np.array([s.rmse_s / s.plain_rmse_s for s in stops])
    average = np.array([s.rmse_s / s.average_rmse_s for s in stops])
    for name, values in {"grades": ratios, "few": few, "stops": plain, "stops, average stop": average}.items():
        print(f"\nerror against plain averages, {name}: {values.mean():.3f}, {values.min():.3f} to {values.max():.3f}")
    known = np.array([s.known.bias_s for s in stops if s.known])
    print(f"\nslower than forecast, graded crews: {known.mean():.3f} ± {known.std() / np.sqrt(len(known)):.3f} s")
    assert ratios.mean() < 0.96
    assert few.mean() < 0.92
    assert (plain < 1).all()
    assert (average < 1).mean() > 0.9
    assert abs(known.mean()) < 0.08
