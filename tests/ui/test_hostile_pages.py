"""Every page of a hostile season: no name is read as HTML or Markdown, wherever on the page it stands."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from lineup.plan_file import write_plan
from lineup.read import read_season
from lineup.store import LOCAL, Roster, default_store, open_store
from tests.builders import write_season
from tests.hostile import RAW, UNESCAPED, hostile_season
from tests.read.test_facts import DATA
from tests.ui.conftest import SCENARIOS, WAIT_S, small_plan

PAGES = ("block", "crews", "hurt", "athlete", "depth", "sign", "season_data", "mine")
NOW = datetime(2026, 3, 1, tzinfo=UTC)
READS_MARKDOWN = ("label", "body", "help", "caption", "placeholder")


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The hostile season with a plan beside it, kept and proposed in its store."""
    folder = tmp_path_factory.mktemp("hostile") / "season"
    write_season(hostile_season(), folder)
    season, _ = read_season(folder)
    plan = small_plan(season)
    write_plan(plan, folder.with_name("plan.json"))
    with open_store(default_store(folder)) as kept:
        kept.save(plan, season, reason="**why** <script>alert(3)</script>", by=LOCAL, now=NOW)
        kept.propose(Roster(season.weekends[0], "travel_list", 1), by=LOCAL, now=NOW)
    return folder


def opened(folder: Path, page: str, monkeypatch: pytest.MonkeyPatch, **link: str) -> AppTest:
    """Open a page of a season."""
    root = Path(__file__).parents[2]
    monkeypatch.chdir(root)
    settings = {"LINEUP_SEASON": folder, "LINEUP_SCENARIOS": SCENARIOS, "LINEUP_SECONDS": 2}
    for name, value in settings.items():
        monkeypatch.setenv(name, str(value))
    at = AppTest.from_file(str(root / "app.py"), default_timeout=WAIT_S)
    at.run()
    at.switch_page(f"lineup/ui/{page}.py")
    for key, value in link.items():
        at.query_params[key] = value
    return at.run()


def texts(message: Any, path: str = "") -> Iterator[tuple[str, str]]:
    """Every text that is sent to the browser, with the field it is sent in."""
    for field, value in message.ListFields():
        place = f"{path}.{field.name}"
        values = value if isinstance(value, list | tuple) or hasattr(value, "append") else [value]
        for one in values:
            if isinstance(one, str):
                yield place, one
            elif hasattr(one, "ListFields"):
                yield from texts(one, place)


def parts(at: AppTest) -> Iterator[tuple[str, str, str]]:
    """(kind of part, field, text) of everything on the page, blocks included."""
    for block in (at.main, at.sidebar):
        for part in walk(block):
            proto = getattr(part, "proto", None)
            if proto is not None:
                kind = str(getattr(part, "type", "")) or "block"
                yield from ((kind, place, text) for place, text in texts(proto))


def walk(block: Any) -> Iterator[Any]:
    """Every part inside a block, blocks included."""
    for part in block.children.values():
        yield part
        if hasattr(part, "children"):
            yield from walk(part)


def check_page(at: AppTest) -> None:
    """No text that is read as HTML holds a tag of a name's; none that is read as Markdown holds its marks."""
    assert not at.exception, at.exception
    seen = list(parts(at))
    assert seen
    for kind, place, text in seen:
        if kind == "html":
            assert not any(raw in text for raw in RAW), (place, text[:300])
        elif place.rpartition(".")[2] in READS_MARKDOWN or (kind in MARKDOWN_OPTIONS and "option" in place):
            plainly = re.sub(r"\\(.)", "", text)  # what is escaped does nothing
            assert not any(mark in plainly for mark in UNESCAPED), (kind, place, text[:300])
            assert "<script" not in plainly or kind not in ("markdown",), (kind, place, text[:300])


MARKDOWN_OPTIONS = ("radio", "button_group", "pills", "segmented_control")


@pytest.mark.parametrize("script", PAGES)
def test_no_name_is_read_as_markup(script: str, hostile: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    link = {"athlete": "a1"} if script in ("mine", "athlete") else {}
    check_page(opened(hostile, script, monkeypatch, **link))


@pytest.mark.parametrize("case", ["columns", "csv-form", "encodings", "repeats", "toml-form"])
def test_a_broken_season_is_shown_beside_its_rows(case: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from tests.test_read import laid_over_tiny

    at = opened(laid_over_tiny(DATA / "broken" / case, tmp_path), "season_data", monkeypatch)
    check_page(at)
    assert [t.value for t in at.title] == ["Season data"]


def test_the_checks_find_a_name_that_is_not_escaped(hostile: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name, page in (("plain", "sign"), ("safe", "crews")):
        with monkeypatch.context() as patch:
            patch.setattr(f"lineup.ui.show.{name}", lambda text: text)
            at = opened(hostile, page, patch)
            with pytest.raises(AssertionError):
                check_page(at)
