"""Names that would break a document are made harmless, and ordinary ones stay as they are."""

from __future__ import annotations

import string

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lineup.report.plain import cell, file_name, latin, one_line


def test_ordinary_names_stay() -> None:
    for name in ("Łukasz Żółć", "Nguyễn Thị Hương", "O'Brien-Smith Jr.", "Zoë Ångström", "=1+1", "<b>x</b>"):
        assert one_line(name) == name


def test_composed_and_decomposed_names_are_one() -> None:
    assert one_line("Nguye\u0302\u0303n") == "Nguyễn"  # Unicode NFC: a font needs the composed letter


def test_control_and_direction_marks_go() -> None:
    assert one_line(" a\r\nb\tc\x00d\u202ee\u2028f\ud800g\u00a0h ") == "a b c d e f g h"


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "  =1"])
def test_a_formula_gets_a_quote(text: str) -> None:
    assert cell(text) == f"'{text}"


@pytest.mark.parametrize("text", ["Ana", "", "3-1", "a=b", "O'Brien"])
def test_a_plain_text_gets_none(text: str) -> None:
    assert cell(text) == text


def test_a_cell_is_never_longer_than_a_spreadsheet_holds() -> None:
    # a cell of a spreadsheet holds 32,767 characters (ECMA-376 leaves it to the program; value from memory)
    assert len(cell("=" * 100_000)) <= 32_767


@given(st.lists(st.text(max_size=40), min_size=1, max_size=3))
@settings(max_examples=200, deadline=None)
def test_a_file_name_is_a_name_and_no_path(parts: list[str]) -> None:
    name = file_name(*parts)
    assert name
    assert set(name) <= set(string.ascii_lowercase + string.digits + "-")
    assert len(name) <= 87


def test_different_parts_have_different_file_names() -> None:
    assert file_name("crew", "w1", "car-7") == "crew-w1-car-7"
    odd = ["../../etc/passwd", "etc passwd", "ETC-PASSWD", "étc-passwd", "", "漢字", "漢", "etc-passwd"]
    names = [file_name(part) for part in odd]
    assert len(set(names)) == len(odd)
    assert names[-1] == "etc-passwd"


def test_what_a_printed_sheet_can_show() -> None:
    assert latin("Łukasz Nguyễn O'Brien 7")
    assert not latin("漢字 太郎")
    assert not latin("Ана")
    assert not latin("\x00 ")
