"""Chromium, the pages on two seasons (the demo and a tiny one), and a visit in each look."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

from lineup.plan_file import write_plan
from lineup.read import read_season
from tests.builders import write_season
from tests.e2e.browser import CHROMIUM, FLAGS, LOOKS, ROOT, Visit, lacking, serving
from tests.ui.conftest import small_plan, small_season


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark everything here as a browser test."""
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.browser)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """Debian's own browser; playwright downloads none."""
    if find_spec("playwright") is None:
        lacking("playwright", "pip install -e '.[tests]'")
    if not CHROMIUM.exists():
        lacking("chromium", "apt-get install chromium fonts-dejavu-core")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture(scope="session")
def demo_address(chromium: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The pages on a copy of the demo season."""
    place = tmp_path_factory.mktemp("demo")
    shutil.copytree(ROOT / "data_demo" / "season", place / "season")
    shutil.copy(ROOT / "data_demo" / "plan.json", place / "plan.json")
    with serving(place / "season", LINEUP_SECONDS="10") as address:
        yield address


@pytest.fixture
def tiny_folder(tmp_path: Path) -> Path:
    """A tiny season of this test's own, with a plan beside it."""
    folder = tmp_path / "season"
    write_season(small_season(), folder)
    season, _ = read_season(folder)
    write_plan(small_plan(season), folder.with_name("plan.json"))
    return folder


@pytest.fixture
def tiny_address(chromium: Any, tiny_folder: Path) -> Iterator[str]:
    """The pages on the tiny season."""
    with serving(tiny_folder, LINEUP_SCENARIOS="64", LINEUP_SECONDS="3") as address:
        yield address


def visiting(chromium: Any, address: str, look: str, elsewhere: tuple[str, ...] = ()) -> Iterator[Visit]:
    """Open a window of one look, watch it, and fail if anything went wrong in it."""
    size, scheme = LOOKS[look]
    context = chromium.new_context(viewport=size, color_scheme=scheme, accept_downloads=True)
    visit = Visit(context.new_page(), address, elsewhere=elsewhere)
    visit.watch()
    yield visit
    context.close()
    assert not visit.faults, visit.faults


@pytest.fixture(params=list(LOOKS))
def visit(request: pytest.FixtureRequest, chromium: Any, demo_address: str) -> Iterator[Visit]:
    """A visit to the demo season in every look."""
    yield from visiting(chromium, demo_address, request.param)


@pytest.fixture
def desk(chromium: Any, demo_address: str) -> Iterator[Visit]:
    """A visit to the demo season at a desk."""
    yield from visiting(chromium, demo_address, "desktop-light")


@pytest.fixture(params=["desktop-light", "phone-dark"])
def tiny_visit(request: pytest.FixtureRequest, chromium: Any, tiny_address: str) -> Iterator[Visit]:
    """A visit to the tiny season: a desk by day, a phone by night."""
    yield from visiting(chromium, tiny_address, request.param)
