"""A tiny season with a plan beside it, opened by the pages without a browser."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from lineup.jobs import Job
from lineup.plan import Assignment, Plan, Reserve
from lineup.plan_file import write_plan
from lineup.price import Pricer
from lineup.read import read_season
from lineup.season import Season
from lineup.settings import Settings
from lineup.skills import estimate_skills
from lineup.stop_model.stops import sample_stops
from lineup.ui.live import jobs_of
from tests.builders import tiny_season, write_season

ROOT = Path(__file__).parents[2]
SCENARIOS = 64
HOSTILE = "<b>Ana</b> *Lind* [x](http://example.org) :red[y] $z$"
WAIT_S = 60

Open = Callable[..., AppTest]


def small_season() -> Season:
    """Two cars, two races, eight athletes, one of them with a name that is Markdown and HTML."""
    season = tiny_season(athletes=8, cars=2, races=2)
    people = {**season.athletes, "a1": replace(season.athletes["a1"], name=HOSTILE)}
    return season.replace(athletes=people)


def small_plan(season: Season) -> Plan:
    """a1-a3 on c1, a4-a6 on c2, a7 in reserve, priced on few samples."""
    seats = tuple(
        Assignment(entry.race, entry.car, position, f"a{(1 if entry.car == 'c1' else 4) + place}")
        for entry in season.entries
        for place, position in enumerate(season.positions_of(entry.race))
    )
    model = sample_stops(season, estimate_skills(season), 1, SCENARIOS)
    priced = Pricer(season, model, season.weekends, Settings(scenarios=SCENARIOS)).price(seats)
    return Plan(
        "best_so_far",
        seats,
        tuple(Reserve(race, "a7") for race in season.races),
        entries=priced.entries,
        costs=priced.costs,
        value_s=priced.value_s,
        seed=1,
        scenarios=SCENARIOS,
        weekends=season.weekends,
        fingerprints=season.fingerprints,
    )


@pytest.fixture(scope="session")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A season folder with a plan beside it, to be copied."""
    folder = tmp_path_factory.mktemp("pages") / "season"
    write_season(small_season(), folder)
    season, _ = read_season(folder)
    write_plan(small_plan(season), folder.with_name("plan.json"))
    return folder


@pytest.fixture
def folder(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A season of this test's own; the pages open it."""
    for path in made.parent.rglob("*"):
        if path.is_file():
            copy = tmp_path / path.relative_to(made.parent)
            copy.parent.mkdir(parents=True, exist_ok=True)
            copy.write_bytes(path.read_bytes())
    monkeypatch.chdir(ROOT)
    monkeypatch.setenv("LINEUP_SEASON", str(tmp_path / "season"))
    monkeypatch.setenv("LINEUP_SCENARIOS", str(SCENARIOS))
    monkeypatch.setenv("LINEUP_SECONDS", "2")
    for name in ("LINEUP_STORE", "LINEUP_ROLES", "LINEUP_REMINDERS", "LINEUP_SEASONS"):
        monkeypatch.delenv(name, raising=False)
    return tmp_path / "season"


@pytest.fixture
def open_page(folder: Path) -> Iterator[Open]:
    """Open a page by its script's name, as a new visitor with a link's parameters."""

    def opens(page: str, **link: str) -> AppTest:
        at = AppTest.from_file(str(ROOT / "app.py"), default_timeout=WAIT_S)
        for key, value in link.items():
            at.query_params[key] = value
        at.run()
        at.switch_page(f"lineup/ui/{page}.py")
        for key, value in link.items():
            at.query_params[key] = value
        return at.run()

    yield opens


def words(at: Any) -> str:
    """Everything a page says in words, markup included."""
    kinds = ("title", "header", "subheader", "markdown", "caption", "success", "warning", "error", "info")
    said = [str(part.value) for kind in kinds for part in getattr(at, kind)]
    said += [str(part.proto.body) for part in at.get("html")]
    return "\n".join(said)


def job_of(folder: Path, link: Any) -> Job | None:
    """Return the search that a link's parameter names."""
    return jobs_of(str(folder)).get(link if isinstance(link, str) else link[0])
