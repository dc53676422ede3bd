"""Seasons, plans and audits small enough to sign in a test."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from lineup.audit import Measure
from lineup.plan import Assignment, Plan, Reserve
from lineup.season import Season
from lineup.store import LOCAL, Roster, Store, User
from lineup.store.weekend import Step
from tests.builders import tiny_season

NOW = datetime(2026, 4, 1, 12, tzinfo=UTC)  # the Wednesday before the first race
FINGERPRINTS = {part: part[0] * 64 for part in ("absences", "clearances", "races", "entries", "limits", "grades")}


def roster_season(**changes: Any) -> Season:
    return tiny_season(athletes=8, cars=2, races=2, grades=0, **({"fingerprints": FINGERPRINTS} | changes))


def roster_plan(season: Season, **moved: str) -> Plan:
    """Cars c1 and c2 crewed by a1-a3 and a4-a6, a7 in reserve; `r1_c1_p2="a8"` puts somebody else into a seat."""
    seats = []
    for entry in season.entries:
        first = 1 if entry.car == "c1" else 4
        for place, position in enumerate(season.positions_of(entry.race)):
            usual = f"a{first + place}"
            athlete = moved.get(f"{entry.race}_{entry.car}_{position}", usual)
            seats.append(Assignment(entry.race, entry.car, position, athlete))
    return Plan(
        status="proven",
        assignments=tuple(seats),
        reserves=tuple(Reserve(race, "a7") for race in season.races),
        costs={"stops": 100.0, "travel": 2.0},
        value_s=102.0,
        seed=7,
        scenarios=64,
        weekends=season.weekends,
        fingerprints=season.fingerprints,
    )


@dataclass(frozen=True)
class Breach:
    text: str
    race: str | None = None


@dataclass(frozen=True)
class Check:
    rule: str
    kept: bool = True
    priced: bool = False
    text: str = ""
    figure: float | None = None
    limit: float | None = None
    broken: tuple[Breach, ...] = ()
    measures: tuple[Measure, ...] = ()


@dataclass(frozen=True)
class Audit:
    checks: tuple[Check, ...] = ()


def clean_audit(season: Season, plan: Plan) -> Audit:
    return Audit((Check("rest_hours", text="11 h rest kept"),))


def audit_with(*checks: Check) -> Any:
    return lambda season, plan: Audit(checks)


def after(hours: float) -> datetime:
    return NOW + timedelta(hours=hours)


def acknowledge_all(store: Store, roster: Roster, season: Season, audit: Any = clean_audit) -> list[str]:
    return [item.id for item in store.checklist(roster, season, audit, now=after(1)).items]


def sign_step(
    store: Store,
    season: Season,
    number: int,
    step: Step,
    *,
    weekend: str = "w1",
    coach: User = LOCAL,
    signer: User = LOCAL,
) -> Roster:
    """Propose and sign one step with everything acknowledged."""
    roster = Roster(weekend, step, number)
    store.propose(roster, by=coach, now=NOW)
    ticked = acknowledge_all(store, roster, season)
    store.sign(roster, season, clean_audit, ticked, by=signer, now=after(1))
    return roster


def signed_weekend(store: Store, season: Season, plan: Plan | None = None) -> int:
    """Keep a plan, sign both steps of weekend w1, return the revision's number."""
    kept = store.save(plan or roster_plan(season), season, reason="first lineup", by=LOCAL, now=NOW)
    sign_step(store, season, kept.number, "travel_list")
    sign_step(store, season, kept.number, "starting_crews")
    return kept.number
