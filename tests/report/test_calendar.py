"""Calendars by RFC 5545, read by another library, and updated instead of doubled by the next edition."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

import pytest
import vobject

from lineup.errors import InputError
from lineup.plan import Plan
from lineup.report.calendar import Issue, athlete_calendar, car_calendar, write_calendars
from lineup.season import Season, Site
from tests.builders import make_race, utc
from tests.report.ical_rules import Component, check_all, moment
from tests.report.papers import HOSTILE, full_plan, named_season

NOW = datetime(2026, 4, 1, 12, 0, 0, 5, tzinfo=UTC)
ISSUE = Issue("store-1", 4, NOW)


def events(raw: bytes) -> list[Component]:
    return [part for part in check_all(raw).parts if part.name == "VEVENT"]


def facts(raw: bytes, *names: str) -> list[tuple[str, ...]]:
    return [tuple(event.one(name).value for name in names) for event in events(raw)]


@pytest.fixture
def season() -> Season:
    return named_season()


def test_every_calendar_keeps_every_rule(tmp_path: Path, season: Season) -> None:
    paths = write_calendars(tmp_path / "out", season, full_plan(season), ISSUE)
    assert [path.name for path in paths] == [*(f"athlete-a{i}.ics" for i in range(1, 9)), "car-c1.ics", "car-c2.ics"]
    for path in paths:
        check_all(path.read_bytes())


def test_hostile_names_keep_every_rule(tmp_path: Path) -> None:
    season = named_season({**HOSTILE, "a1": 'Ana; DROP, \\n \\ "x" BEGIN:VCALENDAR\nEND:VEVENT\rX', "a3": "Ł" * 300})
    sites = {key: replace(site, name="Track, with; marks\\\n" + "語" * 60) for key, site in season.sites.items()}
    season = season.replace(sites=sites)
    for path in write_calendars(tmp_path, season, full_plan(season), ISSUE):
        found = [part.name for part in check_all(path.read_bytes()).parts]
        assert set(found) == {"VTIMEZONE", "VEVENT"}


def test_an_athlete_sees_when_to_report_and_when_the_race_starts(season: Season) -> None:
    raw = athlete_calendar(season, full_plan(season), "a1", ISSUE)
    assert facts(raw, "SUMMARY", "DTSTART", "DTEND", "LOCATION", "STATUS") == [
        ("Report: Race 1 (P1\\, Car 1)", "20260405T080000", "20260405T130000", "Track 1", "CONFIRMED"),
        ("Race: Race 1 (P1\\, Car 1)", "20260405T130000", "20260405T170000", "Track 1", "CONFIRMED"),
        ("Report: Race 2 (P1\\, Car 1)", "20260412T080000", "20260412T130000", "Track 2", "CONFIRMED"),
        ("Race: Race 2 (P1\\, Car 1)", "20260412T130000", "20260412T170000", "Track 2", "CONFIRMED"),
    ]
    event = events(raw)[0]
    assert event.one("DTSTART").parameters == {"TZID": "America/New_York"}
    assert event.one("DTSTAMP").value == "20260401T120000Z"
    assert event.one("SEQUENCE").value == "4"
    assert "Crew: P1: Athlete 1\\; P2: Athlete 2\\; P3: Athlete 3." in event.one("DESCRIPTION").value
    assert "Nobody drives tired." in event.one("DESCRIPTION").value
    assert b"Athlete 4" not in raw  # nothing about other cars


def test_a_reserve_and_a_car_have_calendars_too(season: Season) -> None:
    raw = athlete_calendar(season, full_plan(season), "a7", ISSUE)
    assert facts(raw, "SUMMARY")[0] == ("Report: Race 1 (Reserve)",)
    raw = car_calendar(season, full_plan(season), "c2", ISSUE)
    assert facts(raw, "SUMMARY")[0] == ("Report: Race 1 (Car 2)",)
    assert "P3: Athlete 6" in events(raw)[0].one("DESCRIPTION").value


def test_another_library_reads_the_same_times(season: Season) -> None:
    raw = athlete_calendar(season, full_plan(season), "a1", ISSUE)
    read = vobject.readOne(raw.decode())
    assert len(read.vevent_list) == 4
    first = read.vevent_list[0]
    assert first.summary.value == "Report: Race 1 (P1, Car 1)"
    assert first.dtstart.value.astimezone(UTC) == season.races["r1"].report
    assert read.vevent_list[1].dtstart.value.astimezone(UTC) == season.races["r1"].start
    assert read.vevent_list[1].dtend.value.astimezone(UTC) == season.races["r1"].released
    assert read.validate(raiseException=True)


def test_a_new_edition_updates_the_same_events(season: Season) -> None:
    plan = full_plan(season)
    old = athlete_calendar(season, plan, "a1", ISSUE)
    later = {k: replace(r, report=r.report - timedelta(hours=1)) for k, r in season.races.items()}
    new = athlete_calendar(season.replace(races=later), plan, "a1", Issue("store-1", 9, NOW + timedelta(days=1)))
    assert facts(old, "UID") == facts(new, "UID")
    assert {value for (value,) in facts(new, "SEQUENCE")} == {"9"}
    assert facts(new, "DTSTART")[0] == ("20260405T070000",)


def test_uids_differ_by_store_owner_race_and_part(season: Season) -> None:
    plan = full_plan(season)
    calendars = [athlete_calendar(season, plan, a, ISSUE) for a in ("a1", "a2")]
    calendars += [car_calendar(season, plan, "c1", ISSUE)]
    calendars += [athlete_calendar(season, plan, "a1", Issue("store-2", 4, NOW))]
    uids = [uid for raw in calendars for uid in facts(raw, "UID")]
    assert len(set(uids)) == len(uids) == 16


def test_a_duty_that_is_gone_is_cancelled(season: Season) -> None:
    before = full_plan(season)
    now = full_plan(season, r1_c1_p1="a6", r1_c2_p3="a1", r2_c1_p1="a6")
    raw = athlete_calendar(season, now, "a1", Issue("store-1", 9, NOW), earlier=(before,))
    told = facts(raw, "SUMMARY", "STATUS", "TRANSP")
    assert told[0] == ("Report: Race 1 (P3\\, Car 2)", "CONFIRMED", "OPAQUE")
    assert told[2:] == [
        ("Report: Race 2 (P1\\, Car 1)", "CANCELLED", "TRANSPARENT"),
        ("Race: Race 2 (P1\\, Car 1)", "CANCELLED", "TRANSPARENT"),
    ]
    assert facts(raw, "UID") == facts(athlete_calendar(season, before, "a1", ISSUE), "UID")
    assert "No longer planned." in events(raw)[2].one("DESCRIPTION").value


def test_whoever_lost_every_duty_still_gets_a_calendar(tmp_path: Path, season: Season) -> None:
    before = full_plan(season)
    now = Plan("best_so_far", before.assignments[:1], weekends=before.weekends)
    names = [path.name for path in write_calendars(tmp_path, season, now, ISSUE, earlier=(before,))]
    assert "athlete-a7.ics" in names
    raw = (tmp_path / "athlete-a7.ics").read_bytes()
    assert {status for (status,) in facts(raw, "STATUS")} == {"CANCELLED"}


def at_clock_change(zone: str, on: date, report: time, start: time, hours: float) -> Season:
    season = named_season()
    race = make_race(0, on=on)
    begins = utc(datetime.combine(on, start), zone)
    race = replace(
        race,
        report=utc(datetime.combine(on, report), zone),
        start=begins,
        released=begins + timedelta(hours=hours),
    )
    sites = {**season.sites, "track-1": Site("track-1", "Track 1", zone)}
    return season.replace(races={"r1": race, "r2": season.races["r2"]}, sites=sites)


@pytest.mark.parametrize(
    ("zone", "on", "report", "start"),
    [
        ("America/New_York", date(2026, 3, 8), time(1), time(3, 15)),  # over the hour that is left out
        (
            "America/New_York",
            date(2026, 11, 1),
            time(0, 30),
            time(1, 15),
        ),  # the race runs through the hour that is twice
        ("Europe/Warsaw", date(2026, 10, 25), time(1), time(2, 30)),
        ("Australia/Lord_Howe", date(2026, 4, 5), time(1), time(1, 40)),  # half an hour
        ("Asia/Kathmandu", date(2026, 6, 1), time(8), time(13)),
        ("Pacific/Auckland", date(2026, 1, 1), time(0, 30), time(5)),  # still last year in UTC
        ("America/Los_Angeles", date(2026, 12, 31), time(18), time(23)),  # next year in UTC
        ("UTC", date(2026, 6, 1), time(8), time(13)),
    ],
)
def test_times_hold_over_changes_of_the_clock(zone: str, on: date, report: time, start: time) -> None:
    season = at_clock_change(zone, on, report, start, 4)
    race = season.races["r1"]
    raw = athlete_calendar(season, full_plan(season), "a1", ISSUE)
    shown = [
        (moment(e.one("DTSTART")), moment(e.one("DTEND"))) for e in events(raw) if "Race 1" in e.one("SUMMARY").value
    ]
    assert shown == [(race.report, race.start), (race.start, race.released)]
    assert by_the_rules_given(raw) == shown


def by_the_rules_given(raw: bytes) -> list[tuple[datetime, datetime]]:
    """The same times by nothing but the VTIMEZONE in the file, as RFC 5545, 3.6.5 reads it."""
    calendar = check_all(raw)
    zones = {p.one("TZID").value: p for p in calendar.parts if p.name == "VTIMEZONE"}

    def utc_of(line: object) -> datetime:
        local = datetime.strptime(line.value.rstrip("Z"), "%Y%m%dT%H%M%S")  # type: ignore[attr-defined]
        if line.value.endswith("Z"):  # type: ignore[attr-defined]
            return local.replace(tzinfo=UTC)
        rules = zones[line.parameters["TZID"]].parts  # type: ignore[attr-defined]
        found = list(candidates(local, rules))
        return min(found)  # 3.3.5: a time that occurs twice is the first

    return [
        (utc_of(e.one("DTSTART")), utc_of(e.one("DTEND")))
        for e in calendar.parts
        if e.name == "VEVENT" and "Race 1" in e.one("SUMMARY").value
    ]


def candidates(local: datetime, rules: Iterable[Component]) -> Iterable[datetime]:
    """Every moment at which a clock set by these rules shows this time."""
    onsets = []
    for rule in rules:
        onset = datetime.strptime(rule.one("DTSTART").value, "%Y%m%dT%H%M%S") - offset(rule, "TZOFFSETFROM")
        onsets.append((onset, offset(rule, "TZOFFSETTO")))
    onsets.sort()
    for place, (onset, shift) in enumerate(onsets):
        moment_utc = local - shift
        ends = onsets[place + 1][0] if place + 1 < len(onsets) else datetime.max
        if onset <= moment_utc < ends:
            yield moment_utc.replace(tzinfo=UTC)


def offset(rule: Component, name: str) -> timedelta:
    value = rule.one(name).value
    shift = timedelta(hours=int(value[1:3]), minutes=int(value[3:5]))
    return -shift if value[0] == "-" else shift


def test_a_report_at_the_start_leaves_no_empty_event(season: Season) -> None:
    races = {k: replace(r, report=r.start) for k, r in season.races.items()}
    raw = athlete_calendar(season.replace(races=races), full_plan(season), "a1", ISSUE)
    assert [s[:5] for (s,) in facts(raw, "SUMMARY")] == ["Race:", "Race:"]


def test_no_reason_leaves_the_season_folder(tmp_path: Path, season: Season) -> None:
    for path in write_calendars(tmp_path, season, full_plan(season), ISSUE):
        raw = path.read_bytes()
        assert not any(secret in raw for secret in (b"medical", b"SECRET", b"doctor"))


def test_bad_wishes_get_one_line(tmp_path: Path, season: Season) -> None:
    with pytest.raises(InputError, match="Athlete 8 has no duty in this plan"):
        athlete_calendar(season, full_plan(season).replace(reserves=()), "a8", ISSUE)
    with pytest.raises(InputError, match="does not say its offset"):
        Issue("k", 1, datetime(2026, 4, 1))
    with pytest.raises(InputError, match="lies between 0 and 2147483647, not -1"):
        Issue("k", -1, NOW)
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="cannot be written"):
        write_calendars(tmp_path / "file", season, full_plan(season), ISSUE)
