"""What a cell may hold, value by value."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError
from pydantic_core import PydanticCustomError

from lineup.read import cells


@pytest.mark.parametrize(
    ("read", "value", "found"),
    [
        (cells.read_number, "4.25", 4.25),
        (cells.read_number, "+.5e1", 5.0),
        (cells.read_number, 7, 7.0),
        (cells.read_slug, "rear-changer_2", "rear-changer_2"),
        (cells.read_text, "  two\n lines ", "two lines"),
        (cells.read_date, "2027-03-14", date(2027, 3, 14)),
        (cells.read_date, "2027-03-14T00:00:00", date(2027, 3, 14)),
        (cells.read_local_time, "2027-03-14 08:30", datetime(2027, 3, 14, 8, 30)),
        (cells.read_list, " a; ;b;", ("a", "b")),
        (cells.read_list, ["a", "b"], ("a", "b")),
    ],
)
def test_a_good_value_is_read(read: Callable[[object], Any], value: object, found: Any) -> None:
    assert read(value) == found


@pytest.mark.parametrize(
    ("read", "value", "message", "mend"),
    [
        (cells.read_number, "4,25", "is not a number", "Write 4.25."),
        (cells.read_number, "4 25", "is not a number", "such as 4.25"),
        (cells.read_number, True, "is not a number", "without quotation marks"),
        (cells.read_number, [1], "is not a number", "without quotation marks"),
        (cells.read_number, 10**400, "is not a finite number", "such as"),
        (cells.read_number, float("nan"), "is not a finite number", "such as"),
        (cells.read_slug, 7, "is not an id", "Write it as text"),
        (cells.read_slug, "Søren Ek", "is not an id", "Write sren-ek."),
        (cells.read_slug, "丁", "is not an id", "Use lower-case letters"),
        (cells.read_slug, "a" * 65, "at most 64", f"Write {'a' * 64}."),
        (cells.read_text, 7, "is not text", "quotation marks"),
        (cells.read_text, "  ", "is empty", "Fill it in"),
        (cells.read_text, "a" * 501, "is longer than 500 characters", "Shorten it"),
        (cells.read_text, "bell\x07", "holds a character that cannot be seen", "Type the text anew"),
        (cells.read_date, "14.3.2027", "is not a date", "year-month-day"),
        (cells.read_date, "1850-01-01", "lies outside the years 1950 to 2199", "Correct the year"),
        (cells.read_local_time, "2027-03-14T08:30Z", "has an offset", "Leave the offset out"),
        (cells.read_local_time, "2027-03-14T08:30:00+0100", "has an offset", "Leave the offset out"),
        (cells.read_local_time, "2027-03-14", "has no time of day", "Write it as 2027-03-14T08:30"),
        (cells.read_local_time, "8:30", "is not a local time", "2027-03-14T08:30"),
        (cells.read_list, 7, "is not a list", "Write it as"),
        (cells.read_email, "a@b", "is not an e-mail address", "name@example.org"),
        (cells.read_zone, "Mars/Olympus", "is not an IANA time zone", "America/New_York"),
    ],
)
def test_a_bad_value_is_told_with_its_mend(
    read: Callable[[object], Any], value: object, message: str, mend: str
) -> None:
    with pytest.raises(PydanticCustomError) as caught:
        read(value)
    context = caught.value.context
    assert context is not None
    assert message in context["message"]
    assert mend in context["mend"]


@pytest.mark.parametrize(
    ("kind", "good", "bad"),
    [
        (cells.Priority, [0.001, 1e6], [0, -1, 1e6 + 1]),
        (cells.Places, [0, 12], [-1, 1.5, 10001]),
        (cells.Share, [0, 1], [-0.01, 1.01]),
        (cells.PositiveShare, [0.01, 1], [0]),
        (cells.Inches, [20, 102], [19, 180]),
        (cells.Hours, [0.25, 240], [0, 241]),
    ],
)
def test_bounds_are_kept(kind: Any, good: list[float], bad: list[float]) -> None:
    adapter: TypeAdapter[Any] = TypeAdapter(kind)
    assert [adapter.validate_python(value) for value in good] == good
    for value in bad:
        with pytest.raises(ValidationError):
            adapter.validate_python(value)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_every_number_comes_back_from_its_text(value: float) -> None:
    assert cells.read_number(repr(value)) == value


@given(st.text(max_size=80))
def test_any_text_is_an_id_or_leads_to_one(text: str) -> None:
    better = cells.slug_for(text)
    assert better == "" or cells.read_slug(better) == better
    if cells.SLUG.fullmatch(text):
        assert cells.read_slug(text) == text
