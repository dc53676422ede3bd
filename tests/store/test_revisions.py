"""Revisions are kept whole, name where they come from, and never replace one another."""

from __future__ import annotations

import json

import pytest
from sqlalchemy import text

from lineup.errors import NotAllowed, StoreError
from lineup.plan import Clash, Fact, Plan
from lineup.season import Absence, Pin, Season
from lineup.store import LOCAL, Store, open_store
from tests.store.rosters import NOW, Audit, Check, after, roster_plan, roster_season


def test_a_revision_comes_back_as_it_was_kept(store: Store, season: Season) -> None:
    season = season.with_pin(Pin("must", "a1", "learns the wall", car="c1", position="p1"))
    plan = roster_plan(season)
    kept = store.save(plan, season, reason="first  lineup\nof spring", by=LOCAL, now=NOW)
    assert (kept.parent, kept.author, kept.authenticated, kept.at) == (None, "local", False, NOW)
    assert (kept.reason, kept.weekends, kept.seed) == ("first lineup of spring", ("w1", "w2"), 7)
    assert kept.fingerprints == season.fingerprints
    assert kept.pins == season.pins
    assert kept.versions.keys() == {"python", "lineup", "numpy", "ortools", "scipy"}
    assert store.revision(kept.number) == kept
    assert store.plan(kept.number) == plan
    assert store.revisions() == store.revisions("w2") == (kept,)
    assert store.revisions("w9") == ()


def test_a_plan_made_by_hand_gets_the_fingerprints_it_is_kept_with(store: Store, season: Season) -> None:
    by_hand = Plan("best_so_far", assignments=roster_plan(season).assignments)
    kept = store.save(by_hand, season, reason="by hand", by=LOCAL, now=NOW)
    assert kept.fingerprints == season.fingerprints
    assert kept.weekends == ("w1", "w2")


def test_the_second_of_two_people_on_one_weekend_is_told(store: Store, season: Season) -> None:
    first = store.save(roster_plan(season), season, reason="first", by=LOCAL, now=NOW)
    changed = store.save(roster_plan(season, r1_c1_p1="a8"), season, reason="a8 is faster", by=LOCAL, now=NOW, parent=1)
    with pytest.raises(StoreError, match=r"w1 has changed: local kept revision 2 \(a8 is faster\) while you"):
        store.save(roster_plan(season), season, reason="too late", by=LOCAL, now=NOW, parent=first.number)
    with pytest.raises(StoreError, match="from no revision"):
        store.save(roster_plan(season), season, reason="too late", by=LOCAL, now=NOW)
    assert [r.number for r in store.revisions()] == [first.number, changed.number]
    assert store.revision(2).parent == 1


def test_other_weekends_do_not_stand_in_the_way(store: Store, season: Season) -> None:
    plan = roster_plan(season)
    for weekend, race in (("w1", "r1"), ("w2", "r2")):
        part = plan.replace(assignments=tuple(a for a in plan.assignments if a.race == race), weekends=(weekend,))
        store.save(part, season, reason=weekend, by=LOCAL, now=NOW)
    assert [r.weekends for r in store.revisions()] == [("w1",), ("w2",)]


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"reason": " \n "}, "a revision needs a reason"),
        ({"reason": "x" * 2001}, "at most 2000 characters, this one 2001"),
        ({"parent": 5}, "no revision 5"),
        ({"now": NOW.replace(tzinfo=None)}, "does not say its offset"),
        ({"plan": Plan("impossible")}, r"without a lineup \(status impossible\)"),
    ],
)
def test_what_cannot_be_kept_is_refused(store: Store, season: Season, changes: dict, message: str) -> None:
    given = {"plan": roster_plan(season), "season": season, "reason": "r", "by": LOCAL, "now": NOW} | changes
    with pytest.raises(StoreError, match=message):
        store.save(given.pop("plan"), given.pop("season"), **given)
    assert store.head() == (0, "0" * 64)


def test_no_medical_reason_enters_the_store(place: str, season: Season) -> None:
    from datetime import date

    season = season.with_absence(Absence("a8", date(2026, 4, 3), None, "out", kind="medical", entered_by="dr"))
    told = Clash((Fact("absences", "a8 is out for a medical reason", ("a8",)),))
    with open_store(place) as store:
        store.save(roster_plan(season).replace(clash=(told,)), season, reason="r", by=LOCAL, now=NOW)
        with store._journal._database.reading() as connection:
            rows = connection.execute(text("SELECT body, document FROM records")).all()
    assert "medical" not in json.dumps([list(row) for row in rows])


def test_a_plan_of_a_season_that_lost_an_athlete_is_still_read(store: Store, season: Season) -> None:
    plan = roster_plan(season)
    kept = store.save(plan, season, reason="r", by=LOCAL, now=NOW)
    assert store.plan(kept.number).assignments == plan.assignments  # the store needs no season to read


def test_the_same_lineup_can_be_checked_anew(store: Store, season: Season) -> None:
    first = store.save(roster_plan(season), season, reason="first", by=LOCAL, now=NOW)
    changed = roster_season(fingerprints={**season.fingerprints, "absences": "new", "grades": "new"})
    breach = Audit((Check("rest_hours", kept=False, text="9 h of 11 h"), Check("height", kept=False, priced=True)))
    with pytest.raises(
        NotAllowed, match=r"revision 1 no longer holds: hours between released .* left out: 9 h of 11 h"
    ):
        store.check_anew(1, changed, breach, reason="someone is back", by=LOCAL, now=after(1))
    anew = store.check_anew(1, changed, Audit(), reason="someone is back", by=LOCAL, now=after(1))
    assert anew.parent == first.number
    assert anew.fingerprints["absences"] == "new"
    assert anew.fingerprints["grades"] == season.fingerprints["grades"]  # its forecasts rest on the old grades
    assert store.plan(anew.number).assignments == store.plan(1).assignments
