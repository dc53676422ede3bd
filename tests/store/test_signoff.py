"""The sign-off of a weekend: two steps, each blocked by what makes a roster unfit, and every word on record."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date, timedelta

import pytest

from lineup.errors import InputError, NotAllowed, StoreError
from lineup.plan import Reserve
from lineup.season import Absence, Clearance, Pin, Season
from lineup.store import LOCAL, Roster, Store
from lineup.store.reminders import Routine
from tests.store.rosters import (
    FINGERPRINTS,
    NOW,
    Breach,
    Check,
    acknowledge_all,
    after,
    audit_with,
    clean_audit,
    roster_plan,
    sign_step,
    signed_weekend,
)

TRAVEL, CREWS = "travel_list", "starting_crews"


def kept(store: Store, season: Season, **moved: str) -> int:
    parent = store.revisions()[-1].number if store.revisions() else None
    plan = roster_plan(season, **moved)
    return store.save(plan, season, reason="better", by=LOCAL, now=NOW, parent=parent).number


def proposed(store: Store, season: Season, step: str = TRAVEL, **moved: str) -> Roster:
    roster = Roster("w1", step, kept(store, season, **moved))  # type: ignore[arg-type]
    store.propose(roster, by=LOCAL, now=NOW)
    return roster


def texts(store: Store, roster: Roster, season: Season, audit: object = clean_audit, hours: float = 1) -> list[str]:
    return [item.text for item in store.checklist(roster, season, audit, now=after(hours)).items]  # type: ignore[arg-type]


def test_a_weekend_is_signed_in_two_steps(store: Store, season: Season) -> None:
    assert store.state("w1")[TRAVEL].status == store.state("w1")[CREWS].status == "open"
    number = kept(store, season)
    store.propose(Roster("w1", TRAVEL, number), by=LOCAL, now=NOW)
    assert store.state("w1")[TRAVEL].status == "proposed"
    roster = Roster("w1", TRAVEL, number)
    ticked = acknowledge_all(store, roster, season)
    store.sign(roster, season, clean_audit, ticked, by=LOCAL, now=after(1))
    assert store.state("w1")[TRAVEL].status == "signed"
    assert store.state("w1")[CREWS].status == "open"
    sign_step(store, season, number, CREWS)
    state = store.state("w1")
    assert [state[s].in_force for s in (TRAVEL, CREWS)] == [number, number]
    assert state[CREWS].signature is not None
    assert (state[CREWS].signature.by, state[CREWS].signature.at) == ("local", after(1))
    assert store.state("w2")[TRAVEL].status == "open"
    assert [s.weekend for s in store.states()] == ["w1"]
    assert [line.kind for line in store.history("w1")] == ["revision", "proposed", "signed", "proposed", "signed"]


def test_starting_crews_need_a_signed_travel_list_with_everybody_on_it(store: Store, season: Season) -> None:
    first = kept(store, season)
    early = Roster("w1", CREWS, first)
    store.propose(early, by=LOCAL, now=NOW)
    with pytest.raises(NotAllowed, match="the travel list is not signed yet"):
        store.sign(early, season, clean_audit, acknowledge_all(store, early, season), by=LOCAL, now=after(1))
    sign_step(store, season, first, TRAVEL)
    other = proposed(store, season, CREWS, r1_c1_p2="a8")
    with pytest.raises(NotAllowed, match=r"Athlete 8 \(a8\) is not on the signed travel list of Race 1 \(r1\)"):
        store.sign(other, season, clean_audit, acknowledge_all(store, other, season), by=LOCAL, now=after(1))


def test_the_signer_acknowledges_each_change_pin_and_broken_price(store: Store, season: Season) -> None:
    signed_weekend(store, season)
    pins = (
        Pin("must", "a7", "learns the wall", race="r1", car="c1", position="p2"),
        Pin("pair", "a4", "talk well", other="a5"),
        Pin("never", "a1", "elsewhere", race="r2"),
    )
    season = season.with_pin(*pins)
    roster = proposed(store, season, CREWS, r1_c1_p2="a7", r2_c1_p2="a8")
    audit = audit_with(
        Check("height", kept=False, priced=True, text="a7 is 2 cm below p2"),
        Check("rest_hours", text="kept"),
        Check("starts", kept=True, priced=True, text="kept at a price"),
    )
    assert texts(store, roster, season, audit) == [
        "Race 1 (r1), Car 1 (c1), P2 (p2): Athlete 7 (a7) instead of Athlete 2 (a2)",
        "pinned: Athlete 7 (a7) must work in Race 1 (r1), Car 1 (c1), P2 (p2) (learns the wall)",
        "pinned: Athlete 4 (a4) and Athlete 5 (a5) work the same car or not at all (talk well)",
        "broken at a price, starts below the position's height: a7 is 2 cm below p2",
    ]
    every = acknowledge_all(store, roster, season, audit)
    for missing in every:
        with pytest.raises(NotAllowed, match=f"acknowledged first: .*{missing}"):
            store.sign(roster, season, audit, [i for i in every if i != missing], by=LOCAL, now=after(1))
    store.sign(roster, season, audit, every, by=LOCAL, now=after(1))
    assert store.state("w1")[CREWS].in_force == roster.revision


def test_each_figure_beyond_a_price_is_acknowledged_in_its_weekend(store: Store, season: Season) -> None:
    roster = proposed(store, season)
    broken = (Breach("a1: 4 of 3", "r1"), Breach("a2: 5 of 3", "r2"), Breach("a3: 6 of 3"))
    audit = audit_with(Check("starts", kept=False, priced=True, text="6 of 3 (and 2 more)", broken=broken))
    assert [text for text in texts(store, roster, season, audit) if "price" in text] == [
        "broken at a price, starts in the block: a1: 4 of 3",
        "broken at a price, starts in the block: a3: 6 of 3",
    ]


def test_the_travel_list_names_who_joins_and_who_stays_home(store: Store, season: Season) -> None:
    number = signed_weekend(store, season)
    plan = roster_plan(season, r1_c1_p2="a8")
    plan = plan.replace(reserves=(*plan.reserves, Reserve("r1", "a2")))
    plan = plan.replace(reserves=tuple(r for r in plan.reserves if r != Reserve("r1", "a7")))
    anew = store.save(plan, season, reason="swap", by=LOCAL, now=NOW, parent=number)
    roster = Roster("w1", TRAVEL, anew.number)
    store.propose(roster, by=LOCAL, now=NOW)
    assert texts(store, roster, season) == [
        "Athlete 7 (a7) no longer travels to Race 1 (r1)",
        "Athlete 8 (a8) joins Race 1 (r1)",
    ]


def test_a_plan_that_fails_the_audit_cannot_be_signed(store: Store, season: Season) -> None:
    roster = proposed(store, season)
    audit = audit_with(Check("rest_hours", kept=False, text="a1 rests 9 h of 11 h before Race 2"))
    every = acknowledge_all(store, roster, season, audit)
    with pytest.raises(
        NotAllowed, match=r"the audit found a breach, hours between released .* left out: a1 rests 9 h of 11 h"
    ):
        store.sign(roster, season, audit, every, by=LOCAL, now=after(1))
    assert store.state("w1")[TRAVEL].status == "proposed"


@pytest.mark.parametrize("part", ["absences", "clearances", "races", "entries", "limits"])
def test_a_plan_whose_inputs_changed_cannot_be_signed(store: Store, season: Season, part: str) -> None:
    roster = proposed(store, season)
    changed = season.replace(fingerprints={**FINGERPRINTS, part: "f" * 64})
    every = acknowledge_all(store, roster, changed)
    with pytest.raises(
        NotAllowed, match=f"{part.replace('absences', 'availability')} changed since this plan was made"
    ):
        store.sign(roster, changed, clean_audit, every, by=LOCAL, now=after(1))
    anew = store.check_anew(roster.revision, changed, clean_audit(season, store.plan(1)), reason="r", by=LOCAL, now=NOW)
    sign_step(store, changed, anew.number, TRAVEL)


def test_new_grades_only_warn(store: Store, season: Season) -> None:
    roster = proposed(store, season)
    changed = season.replace(fingerprints={**FINGERPRINTS, "grades": "f" * 64})
    told = store.checklist(roster, changed, clean_audit, now=after(1))
    assert told.blocks == ()
    assert told.warnings == ("grades changed since this plan was made",)
    store.sign(roster, changed, clean_audit, [i.id for i in told.items], by=LOCAL, now=after(1))


def test_the_second_signer_of_a_weekend_is_told(store: Store, season: Season) -> None:
    seen = proposed(store, season)
    every = acknowledge_all(store, seen, season)
    newer = proposed(store, season, r1_c1_p2="a8")
    with pytest.raises(StoreError, match=r"the revision to sign is 3 now, by local, not 1. Nothing was written"):
        store.sign(seen, season, clean_audit, every, by=LOCAL, now=after(1))
    sign_step_again = acknowledge_all(store, newer, season)
    store.sign(newer, season, clean_audit, sign_step_again, by=LOCAL, now=after(1))
    with pytest.raises(NotAllowed, match="there is nothing to sign, the step is signed"):
        store.sign(newer, season, clean_audit, sign_step_again, by=LOCAL, now=after(1))


def test_only_the_newest_revision_of_a_weekend_can_be_proposed(store: Store, season: Season) -> None:
    first = kept(store, season)
    kept(store, season, r1_c1_p2="a8")
    with pytest.raises(StoreError, match=r"w1 has changed: local kept revision 2 \(better\)"):
        store.propose(Roster("w1", TRAVEL, first), by=LOCAL, now=NOW)
    store.propose(Roster("w1", TRAVEL, 2), by=LOCAL, now=NOW)
    with pytest.raises(NotAllowed, match="the travel list of weekend w1, revision 2 is proposed already"):
        store.propose(Roster("w1", TRAVEL, 2), by=LOCAL, now=NOW)
    with pytest.raises(StoreError, match="not about weekend w9"):
        store.propose(Roster("w9", TRAVEL, 2), by=LOCAL, now=NOW)
    with pytest.raises(StoreError, match="there is no revision 3"):
        store.propose(Roster("w1", TRAVEL, 3), by=LOCAL, now=NOW)
    with pytest.raises(InputError, match="the step is one of travel_list or starting_crews, not 'both'"):
        Roster("w1", "both", 2)  # type: ignore[arg-type]


def test_a_crew_chief_objects_and_the_signer_must_see_it(store: Store, season: Season) -> None:
    roster = proposed(store, season)
    store.review(roster, "c1", "acknowledged", by=LOCAL, now=NOW)
    seen = acknowledge_all(store, roster, season)
    with pytest.raises(StoreError, match="an objection needs a reason"):
        store.review(roster, "c2", "objected", by=LOCAL, now=NOW)
    store.review(roster, "c2", "objected", by=LOCAL, now=NOW, reason="too green for this track")
    with pytest.raises(NotAllowed, match=r"local objects for Car 2 \(c2\): too green for this track"):
        store.sign(roster, season, clean_audit, seen, by=LOCAL, now=after(1))
    store.review(roster, "c2", "acknowledged", by=LOCAL, now=after(0.5))  # came round
    store.sign(roster, season, clean_audit, seen, by=LOCAL, now=after(1))
    assert {car: r.verdict for car, r in store.state("w1")[TRAVEL].reviews.items()} == {
        "c1": "acknowledged",
        "c2": "acknowledged",
    }
    with pytest.raises(StoreError, match="car 'c9' has no crew in revision 1; it has c1, c2"):
        store.review(roster, "c9", "acknowledged", by=LOCAL, now=NOW)
    with pytest.raises(StoreError, match="a review is acknowledged or objected, not 'liked'"):
        store.review(roster, "c1", "liked", by=LOCAL, now=NOW)  # type: ignore[arg-type]
    with pytest.raises(NotAllowed, match="nothing to review, the step is not proposed yet"):
        store.review(Roster("w1", CREWS, 1), "c1", "acknowledged", by=LOCAL, now=NOW)


def test_steps_are_taken_back_in_order(store: Store, season: Season) -> None:
    number = signed_weekend(store, season)
    list_, crews = Roster("w1", TRAVEL, number), Roster("w1", CREWS, number)
    with pytest.raises(NotAllowed, match="starting crews rest on this travel list"):
        store.withdraw(list_, reason="r", by=LOCAL, now=after(2))
    with pytest.raises(StoreError, match="needs a reason"):
        store.withdraw(crews, reason=" ", by=LOCAL, now=after(2))
    store.withdraw(crews, reason="race postponed", by=LOCAL, now=after(2))
    store.withdraw(list_, reason="race postponed", by=LOCAL, now=after(2))
    assert {store.state("w1")[s].status for s in (TRAVEL, CREWS)} == {"withdrawn"}
    with pytest.raises(NotAllowed, match="nothing to take back, the step is withdrawn"):
        store.withdraw(list_, reason="r", by=LOCAL, now=after(2))


def test_a_proposal_that_is_taken_back_leaves_the_signed_roster_in_force(store: Store, season: Season) -> None:
    number = signed_weekend(store, season)
    roster = proposed(store, season, CREWS, r1_c1_p2="a7")
    state = store.state("w1")[CREWS]
    assert (state.status, state.in_force) == ("proposed", number)
    store.withdraw(roster, reason="not needed", by=LOCAL, now=after(2))
    state = store.state("w1")[CREWS]
    assert (state.status, state.in_force) == ("signed", number)


def hurt(season: Season, athlete: str = "a2") -> Season:
    season = season.with_absence(Absence(athlete, date(2026, 4, 4), None, "out", kind="medical"))
    return season.replace(fingerprints={**FINGERPRINTS, "absences": "hurt"})


def test_an_amendment_on_site_holds_at_once_and_is_ratified_later(store: Store, season: Season) -> None:
    number = signed_weekend(store, season)
    now_season = hurt(season)
    audit = audit_with(Check("duty_hours", kept=False, text="a7 is on duty 15 h of 14 h"))
    in_force = Roster("w1", CREWS, number)
    plan = roster_plan(season, r1_c1_p2="a7")
    amended = store.amend(in_force, plan, now_season, audit, reason="a2 cannot start", by=LOCAL, now=after(90))
    state = store.state("w1")[CREWS]
    assert (state.status, state.in_force) == ("amended", amended.number)
    assert amended.parent == number
    roster = Roster("w1", CREWS, amended.number)
    assert texts(store, roster, now_season, audit, hours=95) == [
        "Race 1 (r1), Car 1 (c1), P2 (p2): Athlete 7 (a7) instead of Athlete 2 (a2)",
        "the audit found a breach, longest span of duties in one day at one site: a7 is on duty 15 h of 14 h",
    ]
    with pytest.raises(NotAllowed, match="nothing to sign, the step is amended at the track"):
        store.sign(roster, now_season, audit, [], by=LOCAL, now=after(95))
    with pytest.raises(NotAllowed, match="is in force at the track already"):
        store.propose(roster, by=LOCAL, now=after(95))
    every = [i.id for i in store.checklist(roster, now_season, audit, now=after(95)).items]
    with pytest.raises(NotAllowed, match="acknowledged first"):
        store.ratify(roster, now_season, audit, every[:1], by=LOCAL, now=after(95))
    store.ratify(roster, now_season, audit, every, by=LOCAL, now=after(95))
    state = store.state("w1")[CREWS]
    assert (state.status, state.in_force, state.amendment) == ("signed", amended.number, None)


def test_an_amendment_that_is_not_ratified_can_be_taken_back(store: Store, season: Season) -> None:
    number = signed_weekend(store, season)
    plan = roster_plan(season, r1_c1_p2="a7")
    roster = Roster("w1", CREWS, number)
    amended = store.amend(roster, plan, season, clean_audit, reason="a2 is late", by=LOCAL, now=after(90))
    store.withdraw(Roster("w1", CREWS, amended.number), reason="a2 arrived", by=LOCAL, now=after(91))
    assert store.state("w1")[CREWS].in_force == number


def test_what_an_amendment_may_not_do(store: Store, season: Season) -> None:
    plan = roster_plan(season, r1_c1_p2="a7")
    facts = {"reason": "r", "by": LOCAL, "now": after(90)}
    number = kept(store, season)
    with pytest.raises(NotAllowed, match="no starting crews of weekend w1 is in force: propose one instead"):
        store.amend(Roster("w1", CREWS, number), plan, season, clean_audit, **facts)
    sign_step(store, season, number, TRAVEL)
    sign_step(store, season, number, CREWS)
    roster = Roster("w1", CREWS, number)
    with pytest.raises(StoreError, match="revision 1 is in force by now, not 4"):
        store.amend(replace(roster, revision=4), plan, season, clean_audit, **facts)
    with pytest.raises(NotAllowed, match="changes nothing"):
        store.amend(roster, roster_plan(season), season, clean_audit, **facts)
    with pytest.raises(NotAllowed, match=r"changes its own weekend only, not Race 2 \(r2\)"):
        store.amend(roster, roster_plan(season, r2_c1_p2="a8"), season, clean_audit, **facts)
    with pytest.raises(StoreError, match="an amendment at the track needs a reason"):
        store.amend(roster, plan, season, clean_audit, **{**facts, "reason": ""})
    with pytest.raises(NotAllowed, match=r"not even at the track: Athlete 7 \(a7\) is unavailable for Race 1") as told:
        store.amend(roster, plan, hurt(season, "a7"), clean_audit, **facts)
    assert "medical" not in str(told.value)
    only = Absence("a7", date(2026, 4, 1), date(2026, 4, 30), "only", positions=("p1",), kind="medical")
    with pytest.raises(NotAllowed, match="is unavailable for"):
        store.amend(roster, plan, season.with_absence(only), clean_audit, **facts)
    others = tuple(c for c in season.clearances if (c.athlete, c.position) != ("a7", "p2"))
    with pytest.raises(NotAllowed, match=r"Athlete 7 \(a7\) has no clearance for"):
        store.amend(roster, plan, season.replace(clearances=others), clean_audit, **facts)
    trainee = season.replace(clearances=(*others, Clearance("a7", "p2", "training")))
    store.amend(roster, plan, trainee, clean_audit, **facts)  # the audit is told at the ratification


def test_each_step_has_its_own_deadline(store: Store, season: Season) -> None:
    store._routine = Routine({TRAVEL: 72.0, CREWS: 24.0})
    report = season.races["r1"].report
    assert store.deadline(season, "w1", TRAVEL) == report - timedelta(hours=72)
    assert store.deadline(season, "w1", CREWS) == report - timedelta(hours=24)
    assert store.deadline(season, "w9", CREWS) is None
    store.set_deadline("w1", TRAVEL, after(0.5), by=LOCAL, now=NOW)
    assert store.deadline(season, "w1", TRAVEL) == after(0.5)
    roster = proposed(store, season)
    assert "the deadline, 2026-04-01 12:30 UTC, has passed" in texts(store, roster, season)
    assert "deadline" not in " ".join(texts(store, roster, season, hours=0.25))
    with pytest.raises(NotAllowed, match="deadline, 2026-04-01 12:30 UTC, has passed"):
        store.sign(roster, season, clean_audit, [], by=LOCAL, now=after(1))
    store.sign(roster, season, clean_audit, acknowledge_all(store, roster, season), by=LOCAL, now=after(1))
    signature = store.state("w1")[TRAVEL].signature
    assert signature is not None
    assert signature.late
    assert store.paper("w1", TRAVEL).stamp.late
    with pytest.raises(InputError, match="the step is one of"):
        store.set_deadline("w1", "x", NOW, by=LOCAL, now=NOW)  # type: ignore[arg-type]


def test_what_a_document_shows(store: Store, season: Season) -> None:
    with pytest.raises(NotAllowed, match="nobody proposed the starting crews of weekend w1 yet: nothing to print"):
        store.paper("w1")
    with pytest.raises(NotAllowed, match="nothing was proposed for weekend w1 yet"):
        store.papers("w1")
    early = proposed(store, season, TRAVEL)
    papers = store.papers("w1")
    assert papers.crews is None
    assert papers.travel is not None
    assert (papers.travel.stamp.step, papers.travel.stamp.words) == ("travel list", "proposed, not signed")
    store.withdraw(early, reason="r", by=LOCAL, now=NOW)
    number = kept(store, season)
    sign_step(store, season, number, TRAVEL)
    sign_step(store, season, number, CREWS)
    paper = store.paper("w1")
    assert paper.plan == roster_plan(season)
    assert paper.earlier is None
    stamp = paper.stamp
    assert (stamp.step, stamp.words, stamp.signed, stamp.revision) == ("starting crews", "signed", True, number)
    assert (stamp.proposed_by, stamp.signed_by, stamp.authenticated) == ("Local user", "Local user", False)
    assert (stamp.head_number, stamp.head) == store.head()
    assert store.verify(stamp.head_text).ok
    roster = proposed(store, season, CREWS, r1_c1_p2="a7")
    paper = store.paper("w1")
    assert (paper.stamp.words, paper.stamp.signed, paper.stamp.signed_by) == ("proposed, not signed", False, "")
    assert paper.earlier == roster_plan(season)
    store.withdraw(roster, reason="r", by=LOCAL, now=after(1))
    again = store.paper("w1")
    assert (again.stamp.signed, again.stamp.revision) == (True, number)
    amended = store.amend(
        Roster("w1", CREWS, number),
        roster_plan(season, r1_c1_p2="a7"),
        season,
        clean_audit,
        reason="r",
        by=LOCAL,
        now=after(2),
    )
    paper = store.paper("w1")
    assert (paper.stamp.words, paper.stamp.amended_by) == ("amended at the track, not ratified yet", "Local user")
    assert (paper.stamp.revision, paper.stamp.signed, paper.earlier) == (amended.number, False, roster_plan(season))


def test_what_is_in_force_comes_weekend_by_weekend(store: Store, season: Season) -> None:
    assert store.in_force(season).assignments == ()
    first = signed_weekend(store, season)
    other = kept(store, season, r1_c1_p1="a8", r2_c1_p1="a8")
    sign_step(store, season, other, TRAVEL, weekend="w2")
    sign_step(store, season, other, CREWS, weekend="w2")
    now = store.in_force(season)
    assert now.weekends == ("w1", "w2")
    assert now.crew("r1", "c1")["p1"] == "a1"  # w1 is signed with the first revision only
    assert now.crew("r2", "c1")["p1"] == "a8"
    assert len(now.assignments) == 12
    assert store.given_out() == (store.plan(first), store.plan(other))


def test_of_two_signers_at_once_one_signs(store: Store, season: Season) -> None:
    roster = proposed(store, season)
    every = acknowledge_all(store, roster, season)

    def sign(_: int) -> str:
        try:
            store.sign(roster, season, clean_audit, every, by=LOCAL, now=after(1))
        except NotAllowed as told:
            return str(told)
        return "signed"

    with ThreadPoolExecutor(4) as pool:
        answers = list(pool.map(sign, range(4)))
    assert answers.count("signed") == 1
    assert sum("there is nothing to sign, the step is signed" in answer for answer in answers) == 3
    assert [line.kind for line in store.history()].count("signed") == 1
    assert store.verify().ok
