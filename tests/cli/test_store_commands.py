"""Commands on a store: shared options, and a drill that is kept."""

from __future__ import annotations

from pathlib import Path

import pytest
import typer

from lineup.cli.main import app
from lineup.plan_file import write_plan
from lineup.read import read_season
from lineup.store import open_store
from tests.builders import write_season
from tests.cli.test_cli import _exit_code, run_json
from tests.store.rosters import roster_plan
from tests.ui.conftest import small_season

SHARED = {"--store", "--by", "--roles", "--routine", "--now"}
ROLES = '[[person]]\nid = "coach"\nroles = ["coach"]\n[[person]]\nid = "reader"\nroles = ["reader"]\n'
NOW = "2026-04-03T12:00+00:00"


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that holds a season, a plan and a roles file."""
    place = tmp_path_factory.mktemp("store")
    write_season(small_season(), place / "season")
    season, _ = read_season(place / "season")
    write_plan(roster_plan(season).replace(scenarios=64), place / "plan.json")
    (place / "roles.toml").write_text(ROLES)
    return place


def options_of(name: str) -> set[str]:
    command = typer.main.get_command(app).commands[name]  # type: ignore[attr-defined]
    return {option for parameter in command.params for option in parameter.opts}


@pytest.mark.parametrize("name", ["keep", "propose", "review", "sign", "withdraw", "amend", "ratify", "drill"])
def test_every_command_that_writes_has_the_same_options(name: str) -> None:
    assert options_of(name) >= SHARED


def test_commands_that_only_read_ask_for_no_person() -> None:
    assert options_of("history") & SHARED == {"--store"}
    assert options_of("difference") & SHARED == {"--store"}
    assert options_of("export") & SHARED == {"--store", "--now"}


def test_a_drill_is_kept_as_it_was_printed(place: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    where = ["--store", tmp_path / "s.db", "--roles", place / "roles.toml", "--by", "coach", "--now", NOW]
    told = run_json(capsys, "drill", place / "season", place / "plan.json", "a2", "--keep", "spring", *where)
    with open_store(str(tmp_path / "s.db")) as kept:
        (drill,) = kept.drills()
        document = kept.drill_document(drill.number)
    assert (drill.name, drill.by, drill.at.isoformat()) == ("spring", "coach", "2026-04-03T12:00:00+00:00")
    assert dict(drill.fingerprints) == read_season(place / "season")[0].fingerprints
    assert document == told
    assert document["losses"][0]["athletes"] == ["a2"]
    assert "kept the drill spring" in run_json(capsys, "history", place / "season", *where[:2])["history"][0]["text"]


@pytest.mark.parametrize(
    ("name", "by", "message"), [("spring", "reader", "keeping a drill needs the role coach"), (" ", "coach", "a name")]
)
def test_who_may_not_keep_is_told_before_the_drill_begins(
    place: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, by: str, message: str
) -> None:
    where = ["--store", tmp_path / "s.db", "--roles", place / "roles.toml", "--by", by]
    assert _exit_code("drill", place / "season", place / "plan.json", "--keep", name, *where) == 2
    said = capsys.readouterr().err
    assert message in said
    assert " of " not in said, "no loss was tried"


def test_a_time_without_its_offset_is_refused(place: Path, capsys: pytest.CaptureFixture[str]) -> None:
    command = ["keep", place / "season", place / "plan.json", "--reason", "r"]
    assert _exit_code(*command, "--now", "2026-04-03T12:00") == 2
    assert "does not say its offset from UTC" in capsys.readouterr().err
    assert _exit_code(*command, "--now", "noon") == 2
    assert "'noon' is not a time" in capsys.readouterr().err
