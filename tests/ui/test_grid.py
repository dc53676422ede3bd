"""What a grid reports becomes rows: edited, added, deleted."""

from __future__ import annotations

from typing import Any

import pytest

from lineup.ui.grid import edited

HEADER, ROWS = ("a", "b"), (("1", "2"), ("3", "4"), ("5", "6"))


@pytest.mark.parametrize(
    ("state", "rows"),
    [
        ({}, [["1", "2"], ["3", "4"], ["5", "6"]]),
        ({"edited_rows": {1: {"b": "9"}, "2": {"a": None}}}, [["1", "2"], ["3", "9"], ["", "6"]]),
        ({"edited_rows": {0: {"what is wrong here": "x"}}}, [["1", "2"], ["3", "4"], ["5", "6"]]),
        ({"deleted_rows": [0, 2]}, [["3", "4"]]),
        ({"added_rows": [{"b": "8"}, {}]}, [["1", "2"], ["3", "4"], ["5", "6"], ["", "8"]]),
        (
            {"edited_rows": {0: {"a": "7"}}, "deleted_rows": [1], "added_rows": [{"a": "x", "b": 1}]},
            [["7", "2"], ["5", "6"], ["x", "1"]],
        ),
    ],
)
def test_changes_of_a_grid(state: dict[str, Any], rows: list[list[str]]) -> None:
    assert edited(HEADER, ROWS, state) == rows
