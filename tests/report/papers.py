"""A weekend to print: a season with hostile names, a plan, and stamps in each state."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

from lineup.plan import Cover, EntryForecast, Move, Plan, Reserve
from lineup.report.stamp import Stamp
from lineup.season import Absence, Pin, Season, Seat
from tests.store.rosters import roster_plan, roster_season

PRINTED = datetime(2026, 4, 2, 18, 30, tzinfo=UTC)
HEAD = "0123456789abcdef" * 4
HOSTILE = {
    "a1": "<b>Bold</b><script>alert(1)</script>",
    "a2": '=HYPERLINK("x";"y")',
    "a3": "**Łukasz** [Żółć](http://x) | # `q`",
    "a4": "Nguyễn Thị Hương Trần",
    "a5": "Wiktor " + "von und zu der " * 30 + "Ende",
    "a6": "漢字 太郎",
    "a7": "O'Brien\r\nBEGIN:VEVENT\t\u202eX\x00",
    "a8": "@SUM(A1)",
}

SIGNED = Stamp(
    words="signed",
    signed=True,
    revision=14,
    head_number=17,
    head=HEAD,
    proposed_by="The coach",
    signed_by="The director",
    signed_at=datetime(2026, 4, 2, 17, tzinfo=UTC),
    reviews={"c1": "acknowledged by the chief", "c2": "objected by the chief"},
    reminders=(("Wheels prepared", True), ("Guns oiled", False), ("Kit packed", False)),
)


def named_season(names: dict[str, str] | None = None) -> Season:
    """The roster season; a8 is away for a medical reason, a1 is pinned, a2 trains for its seat."""
    season = roster_season()
    given = names or {}
    athletes = {key: replace(a, name=given.get(key, a.name)) for key, a in season.athletes.items()}
    clearances = tuple(
        replace(c, level="training") if (c.athlete, c.position) == ("a2", "p2") else c for c in season.clearances
    )
    away = Absence("a8", date(2026, 4, 1), date(2026, 4, 9), "out", kind="medical", entered_by="team doctor")
    pin = Pin("must", "a1", "SECRET REASON", car="c1", position="p1")
    return season.replace(athletes=athletes, clearances=clearances).with_absence(away).with_pin(pin)


def full_plan(season: Season, **moved: str) -> Plan:
    """The roster plan with cover and forecasts."""
    plan = roster_plan(season, **moved)
    bench, other = Seat("r1", "c1", "p1"), Seat("r1", "c2", "p3")
    cover = (
        Cover(bench, (Move("a7", None, bench),)),
        Cover(other, (Move("a2", Seat("r1", "c1", "p2"), other), Move("a7", None, Seat("r1", "c1", "p2")))),
        Cover(Seat("r1", "c1", "p3"), (), Seat("r1", "c1", "p3")),
    )
    entries = tuple(EntryForecast(e.race, e.car, "four", 11.417, 11.3, 12.25, 12.9, 0.8, {}) for e in season.entries)
    reserves = (*plan.reserves, Reserve("r2", "a8"))
    return plan.replace(cover=cover, entries=entries, reserves=reserves, gap=0.0004)
