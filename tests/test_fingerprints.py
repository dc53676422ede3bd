"""Fingerprints: the same for the same facts, another for a changed one, whatever the order of rows."""

from __future__ import annotations

import random
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from lineup.fingerprints import PARTS, fingerprints
from lineup.limits import Limit, Limits
from lineup.read import read_season
from lineup.season import Pin, Season, Weights
from tests.builders import tiny_season

DATA = Path(__file__).parent / "data"


def changed(first: Season, second: Season) -> set[str]:
    prints = fingerprints(second)
    return {part for part, value in fingerprints(first).items() if prints[part] != value}


def test_every_part_of_a_season_has_one() -> None:
    prints = fingerprints(tiny_season())
    assert set(prints) == set(PARTS) == set(Season.__dataclass_fields__) - {"fingerprints"}
    assert all(len(value) == 64 and set(value) <= set("0123456789abcdef") for value in prints.values())


def test_reading_sets_them() -> None:
    season, _ = read_season(DATA / "full")
    assert season.fingerprints == fingerprints(season)


def test_the_order_of_rows_does_not_matter(tmp_path: Path) -> None:
    folder = Path(shutil.copytree(DATA / "full", tmp_path / "season"))
    rng = random.Random(7)
    for path in folder.glob("*.csv"):
        header, *rows = path.read_bytes().decode("utf-8-sig").splitlines()
        rng.shuffle(rows)
        path.write_text("\n".join([header, *rows]), encoding="utf-8")
    assert read_season(folder)[0].fingerprints == read_season(DATA / "full")[0].fingerprints


def test_the_unit_of_a_height_does_not_matter(tmp_path: Path) -> None:
    folder = Path(shutil.copytree(DATA / "full", tmp_path / "season"))
    table = folder / "positions.csv"
    text = table.read_text(encoding="utf-8").replace("min_height_in", "min_height_cm")
    table.write_text(text.replace(",68", ",172.72").replace(",70", ",177.8"), encoding="utf-8")
    assert read_season(folder)[0].fingerprints == read_season(DATA / "full")[0].fingerprints


@pytest.mark.parametrize("part", ["athletes", "pins", "limits", "weights", "grades", "races", "entries", "clearances"])
def test_a_changed_fact_changes_its_part_alone(part: str) -> None:
    season = tiny_season(cars=2, races=2)
    grades = season.grades.copy()
    grades.loc[3, "seconds"] += 0.001
    changes = {
        "athletes": season.athletes | {"a1": replace(season.athletes["a1"], height_m=1.9)},
        "pins": (Pin("must", "a1", "Asked for"),),
        "limits": Limits({"cover": Limit("cover", at_least=1)}),
        "weights": Weights(tail=0.5),
        "grades": grades,
        "races": season.races | {"r1": replace(season.races["r1"], tire="soft")},
        "entries": season.entries[1:],
        "clearances": season.clearances[1:],
    }
    assert changed(season, season.replace(**{part: changes[part]})) == {part}
