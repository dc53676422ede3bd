"""Where the pages keep what was decided: never two seasons in one store."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from lineup.errors import InputError
from lineup.ui.opened import store_place

SPRING, AUTUMN = Path("/seasons/spring"), Path("/seasons/autumn")


@pytest.fixture(autouse=True)
def two_seasons(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LINEUP_SEASON", str(SPRING))
    monkeypatch.setenv("LINEUP_SEASONS", str(AUTUMN))
    monkeypatch.delenv("LINEUP_STORE", raising=False)


def test_each_season_has_a_store_beside_it() -> None:
    assert store_place(SPRING) != store_place(AUTUMN)
    assert store_place(SPRING).startswith("/seasons/spring")


def test_a_named_store_is_the_first_season_s_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LINEUP_STORE", "/kept/rosters.store")
    assert store_place(SPRING) == "/kept/rosters.store"
    with pytest.raises(InputError, match="store of another season"):
        store_place(AUTUMN)


def test_a_place_for_the_season_s_name_parts_them(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LINEUP_STORE", "postgresql://db/{season}")
    assert [store_place(season) for season in (SPRING, AUTUMN)] == ["postgresql://db/spring", "postgresql://db/autumn"]


def test_two_seasons_of_one_name_share_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LINEUP_STORE", "/kept/{season}.store")
    monkeypatch.setenv("LINEUP_SEASONS", os.pathsep.join((str(AUTUMN), "/elsewhere/spring")))
    with pytest.raises(InputError, match="two seasons named spring"):
        store_place(SPRING)
    assert store_place(AUTUMN) == "/kept/autumn.store"
