"""The sheets a director signs, read back from the PDF by another library."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from pypdf import PdfReader

from lineup.errors import InputError
from lineup.plan import Assignment, Cover, EntryForecast, Move, Plan, Reserve
from lineup.report.page import Page
from lineup.report.sheet import too_long_sheets, write_car_sheet, write_sheets, write_travel_sheet
from lineup.report.stamp import UNAUTHENTICATED, Paper, Papers, Stamp
from lineup.season import Absence, Season
from tests.builders import tiny_season
from tests.report.papers import HEAD, HOSTILE, PRINTED, SIGNED, full_plan, named_season


def text_of(path: Path) -> str:
    """All text of a PDF on one line, as another library finds it."""
    return " ".join(" ".join(page.extract_text() for page in PdfReader(path).pages).split())


@pytest.fixture(scope="module")
def season() -> Season:
    return named_season()


@pytest.fixture(scope="module")
def paper(season: Season) -> Paper:
    return Paper(full_plan(season), SIGNED, full_plan(season, r1_c1_p2="a6"))


@pytest.fixture(scope="module")
def sheets(tmp_path_factory: pytest.TempPathFactory, season: Season, paper: Paper) -> dict[str, Path]:
    paths = write_sheets(
        tmp_path_factory.mktemp("sheets") / "out", season, Papers(paper, paper), "w1", printed_at=PRINTED
    )
    return {path.stem: path for path in paths}


def test_one_page_per_car_and_one_for_the_travel_party(sheets: dict[str, Path]) -> None:
    assert list(sheets) == ["travel-w1", "crew-w1-c1", "crew-w1-c2"]
    for path in sheets.values():
        assert len(PdfReader(path).pages) == 1


@pytest.mark.parametrize(("paper_name", "size"), [("A4", (595.28, 841.89)), ("Letter", (612.0, 792.0))])
def test_the_page_has_the_size_of_the_paper(tmp_path: Path, season: Season, paper_name: str, size: tuple) -> None:
    # ISO 216: A4 is 210 x 297 mm; ANSI/ASME Y14.1: Letter is 8.5 x 11 in; a point is 1/72 in
    paper = Paper(full_plan(season), SIGNED)
    for path in write_sheets(tmp_path, season, Papers(paper, paper), "w1", printed_at=PRINTED, paper=paper_name):
        box = PdfReader(path).pages[0].mediabox
        assert (float(box.width), float(box.height)) == pytest.approx(size, abs=0.01)


def test_a_car_sheet_says_who_works_where_and_when(sheets: dict[str, Path]) -> None:
    text = text_of(sheets["crew-w1-c1"])
    for said in (
        "Car 1",
        "Weekend w1 · Sun 5 Apr 2026",
        "Race 1",
        "Track 1",
        "Sun 5 Apr 08:00 EDT",
        "Sun 5 Apr 13:00 EDT",
        "Sun 5 Apr 17:00 EDT",
        "Four tires 11.42 s, 9 in 10 under 12.25 s",
        "lineup proven best within 0.04%",
        "P1 Athlete 1",
        "P2 Athlete 2",
        "P3 Athlete 3",
        "Athlete 7 (reserve)",
        "P3 Athlete 3 nobody",
        "pinned",
        "new, in training",
        "Reserves on site Athlete 7",
        "Unavailable Athlete 8",
        "Wheels prepared",
        "page 1 of 1",
        "Printed 2026-04-02 18:30 UTC",
    ):
        assert said in text
    assert "Athlete 2 (p2 on Car 1), then Athlete 7 (reserve)" in text_of(sheets["crew-w1-c2"])


def test_a_sheet_carries_revision_head_signature_and_cautions(sheets: dict[str, Path]) -> None:
    for path in sheets.values():
        text = text_of(path)
        assert "SIGNED" in text
        assert "Revision 14" in text
        assert "proposed by The coach" in text
        assert "The director, 2026-04-02 17:00 UTC" in text
        assert f"record 17: {' '.join(HEAD[i : i + 8] for i in range(0, 64, 8))}" in text
        assert "Signature and date" in text
        assert UNAUTHENTICATED in text
        for care in ("Lifting", "Fuel", "Return from injury", "Driving tired", "licensed practitioner"):
            assert care in text
        assert "The sanctioning body's rules, local codes and licensed practice come before this sheet." in text
        assert "It clears nobody to compete." in text
    assert "Acknowledged by the chief" in text_of(sheets["crew-w1-c1"])
    assert "Objected by the chief" in text_of(sheets["crew-w1-c2"])


def test_no_reason_leaves_the_season_folder(sheets: dict[str, Path]) -> None:
    for path in sheets.values():
        raw, text = path.read_bytes(), text_of(path)
        for secret in ("medical", "SECRET", "doctor"):
            assert secret not in text
            assert secret.encode() not in raw
        assert "Unavailable Athlete 8" in text


def test_the_travel_sheet_names_everybody_once(sheets: dict[str, Path]) -> None:
    text = text_of(sheets["travel-w1"])
    assert "7 people travel" in text
    for number in range(1, 8):
        assert len(re.findall(rf"Athlete {number}\b", text)) == 1
    assert "P1: Car 1" in text
    assert "reserve" in text
    assert "Athlete 2 (new)" in text  # stayed at home on the list signed before
    assert text.count("(new)") == 1
    assert "report Sun 5 Apr 08:00 EDT · start 13:00 · 7 places" in text


@pytest.mark.parametrize(
    ("stamp", "said"),
    [
        (
            Stamp.draft(),
            ("Draft, not kept", "No check code", "never kept, so nothing stands behind it"),
        ),
        (
            replace(SIGNED, signed=False, words="proposed, not signed", signed_by="", signed_at=None),
            ("Proposed, not signed", UNAUTHENTICATED),
        ),
        (
            replace(SIGNED, signed=False, words="amended at the track, not ratified yet", amended_by="The chief"),
            ("Amended at the track, not ratified yet", "amended at the track by The chief"),
        ),
        (replace(SIGNED, late=True), ("17:00 UTC, after the deadline",)),
    ],
)
def test_each_state_is_written_out(tmp_path: Path, season: Season, stamp: Stamp, said: tuple[str, ...]) -> None:
    path = tmp_path / "s.pdf"
    write_car_sheet(path, season, Paper(full_plan(season), stamp), ("w1", "c1"), printed_at=PRINTED)
    text = text_of(path)
    for words in said:
        assert words in text
    assert ("The director" in text) == stamp.signed


def test_a_signature_after_log_in_is_not_called_unauthenticated(tmp_path: Path, season: Season) -> None:
    path = tmp_path / "s.pdf"
    signed = replace(SIGNED, authenticated=True)
    write_travel_sheet(path, season, Paper(full_plan(season), signed), "w1", printed_at=PRINTED)
    assert UNAUTHENTICATED not in text_of(path)
    assert "was logged in" in text_of(path)


def test_hostile_names_are_printed_and_break_nothing(tmp_path: Path) -> None:
    season = named_season(HOSTILE)
    paper = Paper(full_plan(season), replace(SIGNED, signed_by=HOSTILE["a1"], proposed_by="=1+1 " * 200))
    paths = write_sheets(tmp_path, season, Papers(paper, paper), "w1", printed_at=PRINTED)
    party, first, second = (text_of(path) for path in paths)
    assert "<b>Bold</b><script>" in first
    assert '=HYPERLINK("x";"y")' in first
    assert "**Łukasz** [Żółć]" in first
    assert "Nguyễn Thị Hương Trần" in second
    assert "(a6)" in second  # no glyph for 漢: the id says who it is
    assert "Wiktor von und zu der" in second
    assert "O'Brien BEGIN:VEVENT X" in party
    for path in paths:
        assert len(PdfReader(path).pages) == 1


def test_nothing_is_written_outside_the_margins(tmp_path: Path) -> None:
    season = named_season(HOSTILE)
    long_names = {k: replace(p, name=f"{p.name} " + "wide " * 40) for k, p in season.positions.items()}
    cars = {k: replace(c, name="The very long car name " * 9) for k, c in season.cars.items()}
    season = season.replace(positions=long_names, cars=cars)
    stamp = replace(SIGNED, reviews={"c1": "x " * 300}, reminders=(("y " * 300, False),) * 5)
    paper = Paper(full_plan(season), stamp)
    for path in write_sheets(tmp_path, season, Papers(paper, paper), "w1", printed_at=PRINTED):
        page = PdfReader(path).pages[0]
        starts: list[tuple[float, float]] = []
        page.extract_text(visitor_text=lambda t, cm, tm, *_, s=starts: s.append((tm[4], tm[5])) if t.strip() else None)
        assert starts
        assert all(30 < x < 595.28 - 30 and 30 < y < 841.89 - 30 for x, y in starts)


def test_text_is_cut_to_fit_its_place() -> None:
    with Page("t", "A4", PRINTED) as page:
        page.add_page()
        for text in ("short", "W" * 500, "Łukasz " * 60):
            page.put(10, 10, 40, text, 12)
            shown = page._cut(page.known(text), 40)
            assert page.get_string_width(shown) <= 40
            assert shown.endswith("…") or shown == text


def test_a_step_that_was_not_proposed_has_no_sheet(tmp_path: Path, season: Season, paper: Paper) -> None:
    (only,) = write_sheets(tmp_path, season, Papers(None, paper), "w1", printed_at=PRINTED)
    assert only.name == "travel-w1.pdf"
    crews = write_sheets(tmp_path, season, Papers(paper, None), "w1", printed_at=PRINTED)
    assert [path.name for path in crews] == ["crew-w1-c1.pdf", "crew-w1-c2.pdf"]


def test_two_athletes_of_one_name_are_told_apart(tmp_path: Path) -> None:
    season = named_season({"a1": "Ana Lind", "a2": "Ana Lind"})
    path = tmp_path / "s.pdf"
    write_car_sheet(path, season, Paper(full_plan(season), SIGNED), ("w1", "c1"), printed_at=PRINTED)
    assert "Ana Lind (a1)" in text_of(path)
    assert "Ana Lind (a2)" in text_of(path)


def test_open_seats_are_said_to_be_open(tmp_path: Path) -> None:
    season = named_season()
    p2 = replace(season.positions["p2"], filled="if_possible")
    season = season.replace(positions={**season.positions, "p2": p2})
    plan = full_plan(season)
    plan = plan.replace(assignments=tuple(a for a in plan.assignments if a.position == "p1"))
    path = tmp_path / "s.pdf"
    write_car_sheet(path, season, Paper(plan, SIGNED), ("w1", "c1"), printed_at=PRINTED)
    assert "P2 not filled" in text_of(path)
    assert "P3 OPEN" in text_of(path)


def crowd(size: int) -> tuple[Season, Plan]:
    season = tiny_season(athletes=size, positions=size // 4, cars=4, grades=0)
    seats = [seat for car in season.cars for seat in season.seats("r1", car)]
    pairs = zip(seats, season.athletes, strict=False)
    plan = Plan("proven", tuple(Assignment(s.race, s.car, s.position, a) for s, a in pairs), weekends=("w1",))
    reserves = tuple(Reserve("r1", a) for a in list(season.athletes)[len(seats) :])
    return season, plan.replace(reserves=reserves)


@pytest.mark.parametrize(("size", "pages"), [(1, 1), (40, 1), (72, 1), (300, 5)])
def test_nobody_is_lost_from_a_large_party(tmp_path: Path, size: int, pages: int) -> None:
    season, plan = crowd(max(size, 4))
    path = tmp_path / "s.pdf"
    write_travel_sheet(path, season, Paper(plan, SIGNED), "w1", printed_at=PRINTED)
    text = text_of(path)
    assert len(PdfReader(path).pages) <= pages
    for athlete in season.athletes.values():
        assert len(re.findall(rf"{athlete.name}\b", text)) == 1


def busy_weekend(races: int, seats: int) -> tuple[Season, Paper]:
    """One car in several races of one weekend, each seat with a reserve behind it, and three reminders."""
    season = tiny_season(athletes=seats * 2, positions=seats, cars=1, races=races, grades=0)
    season = season.replace(races={k: replace(r, weekend="w1") for k, r in season.races.items()})
    rows = [seat for race in season.races for seat in season.seats(race, "c1")]
    taken = [Assignment(s.race, s.car, s.position, f"a{int(s.position[1:])}") for s in rows]
    cover = [Cover(s, (Move(f"a{seats + int(s.position[1:])}", None, s),)) for s in rows]
    entries = [EntryForecast(e.race, e.car, "four", 11.417, 11.3, 12.25, 12.9, 0.8, {}) for e in season.entries]
    plan = Plan("proven", tuple(taken), cover=tuple(cover), entries=tuple(entries))
    return season, Paper(plan, SIGNED)


@pytest.mark.parametrize("paper_name", ["A4", "Letter"])
@pytest.mark.parametrize(
    ("races", "seats", "fits"),
    [(1, 7, True), (2, 7, True), (3, 7, True), (1, 20, True), (2, 12, True), (3, 8, True), (3, 20, False)],
)
def test_a_car_and_weekend_take_one_page_up_to_a_generous_size(
    tmp_path: Path, paper_name: str, races: int, seats: int, fits: bool
) -> None:
    season, paper = busy_weekend(races, seats)
    path = tmp_path / "s.pdf"
    write_car_sheet(path, season, paper, ("w1", "c1"), printed_at=PRINTED, paper=paper_name)
    text, count = text_of(path), len(PdfReader(path).pages)
    assert (count == 1) == fits
    for athlete in list(season.athletes.values())[:seats]:
        assert len(re.findall(rf"{athlete.name}\b", text)) == races
    assert text.count("(reserve)") == races * seats
    said = too_long_sheets(season, paper, "w1", paper=paper_name)
    assert said == (
        ()
        if fits
        else (
            f"the sheet of Car 1 has {count} pages: 3 races with 60 seats do not fit on one page in type of 8 points",
        )
    )
    assert ("do not fit on one page in type of 8 points" in text) != fits


@pytest.mark.parametrize(("races", "seats"), [(1, 3), (2, 7), (3, 7), (3, 20)])
def test_no_type_on_a_sheet_is_too_small_to_read(tmp_path: Path, races: int, seats: int) -> None:
    # 8 points as the least a printed sheet is read in at arm's length: common practice, no source
    season, paper = busy_weekend(races, seats)
    for path in write_sheets(tmp_path, season, Papers(paper, paper), "w1", printed_at=PRINTED):
        for page in PdfReader(path).pages:
            sizes: list[float] = []
            page.extract_text(visitor_text=lambda t, cm, tm, f, size, s=sizes: s.append(size) if t.strip() else None)
            assert sizes
            assert min(sizes) >= 7.99


def test_rows_on_a_page_do_not_run_into_its_foot(tmp_path: Path) -> None:
    for races, seats in ((3, 7), (3, 8), (2, 12), (3, 20)):
        season, paper = busy_weekend(races, seats)
        path = write_car_sheet(tmp_path / "s.pdf", season, paper, ("w1", "c1"), printed_at=PRINTED, paper="Letter")
        for page in PdfReader(path).pages:
            places: dict[str, list[float]] = {"Unavailable": [], "TAKE CARE": [], "Guns oiled": []}

            def note(
                text: str, cm: object, tm: list[float], *_: object, places: dict[str, list[float]] = places
            ) -> None:
                for words, found in places.items():
                    found += [tm[5]] if words in text else []

            page.extract_text(visitor_text=note)
            care, reminder = places["TAKE CARE"][0], places["Guns oiled"][0]
            assert care < reminder < places["Unavailable"][0], "reminders above the cautions, below the absent"


def test_a_race_too_long_for_any_page_goes_on_on_the_next(tmp_path: Path) -> None:
    season, paper = busy_weekend(1, 60)
    path = tmp_path / "s.pdf"
    write_car_sheet(path, season, paper, ("w1", "c1"), printed_at=PRINTED)
    text = text_of(path)
    assert "Race 1, continued" in text
    assert "one race with 60 seats do not fit" in text
    assert text.count("(reserve)") == 60


def test_the_same_sheet_is_the_same_file(tmp_path: Path, season: Season, paper: Paper) -> None:
    one = write_car_sheet(tmp_path / "1.pdf", season, paper, ("w1", "c1"), printed_at=PRINTED).read_bytes()
    two = write_car_sheet(tmp_path / "2.pdf", season, paper, ("w1", "c1"), printed_at=PRINTED).read_bytes()
    assert one == two


def test_the_font_is_embedded(sheets: dict[str, Path]) -> None:
    fonts = PdfReader(sheets["crew-w1-c1"]).pages[0]["/Resources"]["/Font"]
    for font in fonts.values():
        descriptor = font.get_object()["/DescendantFonts"][0].get_object()["/FontDescriptor"].get_object()
        assert "/FontFile2" in descriptor


def test_absences_outside_the_weekend_are_not_told(tmp_path: Path, season: Season) -> None:
    late = Absence("a7", date(2026, 4, 6), None, "out")
    only = Absence("a6", date(2026, 4, 1), None, "only", positions=("p1",))
    season = season.with_absence(late, only)
    path = tmp_path / "s.pdf"
    write_travel_sheet(path, season, Paper(full_plan(season), SIGNED), "w1", printed_at=PRINTED)
    assert "Unavailable Athlete 8 TAKE" in text_of(path)


def test_bad_wishes_get_one_line(tmp_path: Path, season: Season, paper: Paper) -> None:
    with pytest.raises(InputError, match="no weekend 'w9'; it has w1, w2"):
        write_sheets(tmp_path, season, Papers(paper, paper), "w9", printed_at=PRINTED)
    with pytest.raises(InputError, match="car 'c9' has no entry in weekend w1"):
        write_car_sheet(tmp_path / "s.pdf", season, paper, ("w1", "c9"), printed_at=PRINTED)
    with pytest.raises(InputError, match="the paper is one of A4 or Letter, not 'A5'"):
        write_sheets(tmp_path, season, Papers(paper, paper), "w1", printed_at=PRINTED, paper="A5")
    with pytest.raises(InputError, match="does not say its offset"):
        write_sheets(tmp_path, season, Papers(paper, paper), "w1", printed_at=PRINTED.replace(tzinfo=None))
    blocked = tmp_path / "file"
    blocked.write_text("x")
    with pytest.raises(InputError, match="cannot be made"):
        write_sheets(blocked, season, Papers(paper, paper), "w1", printed_at=PRINTED)
    with pytest.raises(InputError, match="cannot be written"):
        write_car_sheet(tmp_path, season, paper, ("w1", "c1"), printed_at=PRINTED)
