"""A zone's rules as RFC 5545 reads them."""

from __future__ import annotations

from lineup.report.time_zone import zone_rules


def test_new_york_is_as_the_standard_shows_it() -> None:
    # RFC 5545, 3.6.5, example of America/New_York since 2007 (from memory): summer time begins at 02:00 by the old
    # clock (DTSTART:20070311T020000, from -0500 to -0400) and ends at 02:00 by the old clock (20071104T020000)
    text = zone_rules("America/New_York", 2007, 2007).to_ical().decode().replace("\r\n", "\n")
    assert "BEGIN:DAYLIGHT\nDTSTART:20070311T020000\nTZNAME:EDT\nTZOFFSETFROM:-0500\nTZOFFSETTO:-0400\n" in text
    assert "BEGIN:STANDARD\nDTSTART:20071104T020000\nTZNAME:EST\nTZOFFSETFROM:-0400\nTZOFFSETTO:-0500\n" in text


def test_a_zone_without_changes_has_one_observance() -> None:
    assert [part.name for part in zone_rules("Asia/Kathmandu", 2026, 2027).subcomponents] == ["STANDARD"]
    assert [part.name for part in zone_rules("UTC", 2026, 2026).subcomponents] == ["STANDARD"]


def test_two_years_have_four_changes() -> None:
    names = [part.name for part in zone_rules("Europe/Warsaw", 2026, 2027).subcomponents]
    assert names == ["STANDARD", "DAYLIGHT", "STANDARD", "DAYLIGHT", "STANDARD"]
