"""Damaged folders, workbooks, plan files and grading sheets: a season or a report, and nothing that was not given.

A short walk along the paths that tests/long/fuzz_readers.py explores for long, and what it once found.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lineup.errors import PlanFileError, SeasonError
from lineup.plan_file import read_plan
from lineup.read import read_season
from lineup.season import Season
from tests.builders import tiny_season, write_workbook
from tests.read.test_facts import DATA, rich_season
from tests.read.test_workbook import refused, repack
from tests.targets import TARGETS

EXAMPLES = {"folder": 25, "toml": 25, "workbook": 12, "sheet": 8, "plan": 200}


@pytest.mark.parametrize("kind", TARGETS)
def test_what_is_damaged_is_read_or_reported(kind: str, tmp_path: Path) -> None:
    target = TARGETS[kind](tmp_path)
    seen: set[str] = set()

    @settings(max_examples=EXAMPLES[kind], deadline=None, suppress_health_check=list(HealthCheck), database=None)
    @given(st.binary(min_size=8, max_size=160))
    def damage(data: bytes) -> None:
        seen.add(target(data, tmp_path))

    damage()
    assert "refused" in seen


def plan_text(tmp_path: Path, text: str) -> str:
    """Return what is said of a plan file with this text."""
    season: Season = tiny_season()
    (tmp_path / "plan.json").write_text(text, encoding="utf-8")
    with pytest.raises(PlanFileError) as caught:
        read_plan(tmp_path / "plan.json", season)
    return str(caught.value)


SEAT = '"race": "r1", "car": "c1", "position": "p1"'


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('{"assignments": [], "seed": ' + "9" * 5000 + "}", "is not JSON"),
        ('{"assignments": [], "notes": ["\\ud800"]}', "cannot be read as UTF-8 text"),
        ('{"assignments": [], "assignments": []}', "the key 'assignments' is there twice in one place"),
        ('{"assignments": [], "reservs": []}', "'reservs' is not a key of a plan; did you mean 'reserves'?"),
        ('{"assignments": [], "format": "' + "x" * 70_000 + '"}', "this version reads 'lineup-plan/1'"),
        ('{"assignments": [], "costs": {"' + "x" * 70_000 + '": "y"}}', "input should be a valid number"),
        (
            '{"assignments": [], "cover": [{' + SEAT + ', "open": {' + SEAT.replace("r1", "r9") + "}}]}",
            "race 'r9' is not",
        ),
        ('{"assignments": [], "notes": NaN}', "notes: input should be a valid tuple"),
    ],
)
def test_a_plan_file_that_says_something_else_than_it_seems_is_refused(text: str, said: str, tmp_path: Path) -> None:
    told = plan_text(tmp_path, text)
    assert said in told
    assert len(told) < 500


def test_a_plan_file_that_never_ends_is_refused() -> None:
    with pytest.raises(PlanFileError, match=r"/dev/null: is not a file"):
        read_plan("/dev/null", tiny_season())


def test_a_report_shows_no_character_that_a_terminal_obeys(tmp_path: Path) -> None:
    for name in ("choreography", "stops.csv"):
        source = DATA / "full" / name
        target = tmp_path / name
        if source.is_file():
            target.write_bytes(source.read_bytes().replace(b"spoilers", b"\x1b[2Jspoil"))
    with pytest.raises(SeasonError) as caught:
        read_season(tmp_path)
    assert any("[2Jspoil" in line for line in str(caught.value).splitlines())
    assert all(line.isprintable() for line in str(caught.value).splitlines())


def test_a_cell_too_long_for_csv_is_told_as_that(tmp_path: Path) -> None:
    (tmp_path / "sites.csv").write_text("site,name\nshop," + "x" * 140_000, encoding="utf-8")
    with pytest.raises(SeasonError, match=r"sites.csv, row 2: has a cell of more than 131,072 characters"):
        read_season(tmp_path)


@pytest.fixture
def book(tmp_path: Path) -> Path:
    return write_workbook(rich_season(), tmp_path / "season.xlsx")


SHEET = (
    '<?xml version="1.0" encoding="UTF-8"?>'
    '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>{}</sheetData></worksheet>'
)
CELL = '<row r="1"><c r={} t="inlineStr"><is><t>site</t></is></c></row>'


@pytest.mark.parametrize("place", ['"A99999999999"', '"AAAA1"', "'A&#49;'", '"A1048576000"', '"\u0661"', '""'])
def test_a_cell_that_no_sheet_has_is_refused_before_it_fills_the_memory(place: str, book: Path) -> None:
    # such a place once made the library that reads sheets ask for 229 GB, which ends the whole program
    repack(book, "xl/worksheets/sheet4.xml", SHEET.format(CELL.format(place)).encode())
    assert "names a cell that no sheet has" in refused(book)
    repack(book, "xl/worksheets/sheet4.xml", SHEET.format(CELL.format(place).replace("r=", "r \n = ")).encode())
    assert "names a cell that no sheet has" in refused(book)


@pytest.mark.parametrize("encoding", ["utf-16", "latin-1"])
def test_a_sheet_in_another_encoding_is_refused(encoding: str, book: Path) -> None:
    text = SHEET.format(CELL.format('"A1"')).replace("UTF-8", encoding)
    repack(book, "xl/worksheets/sheet4.xml", text.encode(encoding))
    assert "is written in an encoding other than UTF-8" in refused(book)


def test_entities_are_not_expanded(book: Path) -> None:
    # the "billion laughs" of W3C XML 1.0 entities: nested, each ten times the one before
    levels = "".join(f'<!ENTITY l{i} "{f"&l{i - 1};" * 10}">' for i in range(1, 10))
    bomb = f'<!DOCTYPE lolz [<!ENTITY l0 "ha">{levels}]>'
    text = SHEET.format(CELL.format('"A1"').replace("site", "&l9;")).replace("<worksheet", f"{bomb}<worksheet")
    repack(book, "xl/worksheets/sheet4.xml", text.encode())
    with pytest.raises(SeasonError) as caught:
        read_season(book)
    assert len(str(caught.value)) < 20_000


def test_macros_pictures_and_links_to_other_files_are_left_alone(book: Path) -> None:
    wanted = read_season(book)[0].fingerprints
    link = '<externalLink xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"/>'
    repack(book, "xl/vbaProject.bin", b"\xd0\xcf\x11\xe0" + bytes(1000))
    repack(book, "xl/externalLinks/externalLink1.xml", link.encode())
    repack(book, "xl/media/image1.png", b"\x89PNG" + bytes(5000))
    assert read_season(book)[0].fingerprints == wanted


def test_two_parts_of_one_name_are_refused(book: Path) -> None:
    import warnings
    import zipfile

    with warnings.catch_warnings(), zipfile.ZipFile(book, "a") as packed:
        warnings.simplefilter("ignore")
        packed.writestr("xl/workbook.xml", b"<workbook/>")
    assert "holds two parts of one name" in refused(book)
