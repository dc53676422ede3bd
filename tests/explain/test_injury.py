"""Injury: fewest changes and best plan equal brute force; frozen seats stay; ramps, on site, clashes, bad input."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest

from lineup.audit import audit
from lineup.errors import InputError
from lineup.explain.absences import absence_of, return_of, without_lapsed
from lineup.explain.injury import CAUTION, option_text, replan, replan_to_dict, season_after
from lineup.optimize.reserves import choose_reserves
from lineup.plan import Assignment, Reserve
from lineup.season import Absence, Pin, Position, Weights
from tests.builders import FIRST_SUNDAY, tiny_season
from tests.explain.plans import changed_seats, plan_of, priced_lineups, solved_seasons, study_of
from tests.optimize.seasons import QUICK

WEEK = timedelta(weeks=1)
CASES = list(solved_seasons(12, first=200))


def absent_lineups(study, absences):
    season, _ = without_lapsed(study.season, study.weekends, absences)
    return priced_lineups(study.with_season(season))


def frozen_in(study, first, signed, lineup, plan, gone):
    """Whether a lineup leaves alone what happened before the absence and what is signed, lost seats apart."""
    old, new = plan.by_seat, {a.seat: a.athlete for a in lineup}
    for seat in old.keys() | new.keys():
        race = study.season.races[seat.race]
        kept = study.season.duty_days(race.id)[1] < first or race.weekend in signed
        if kept and old.get(seat) not in gone and old.get(seat) != new.get(seat):
            return False
    return True


def test_fewest_changes_and_best_plan_equal_brute_force():
    tried = 0
    for seed, study, plan, _ in CASES:
        rng = np.random.default_rng(seed)
        working = sorted({a.athlete for a in plan.assignments} - {a.athlete for a in study.season.absences})
        races = list(study.season.races)
        for athlete in rng.permutation(working)[:2]:
            first = study.season.duty_days(races[int(rng.integers(0, 2))])[0]
            signed = study.weekends[:1] if rng.random() < 0.5 else ()
            absences = (absence_of(study.season, study.weekends, str(athlete), first),)
            values = absent_lineups(study, absences)
            allowed = [x for x in values if frozen_in(study, first, signed, x, plan, {athlete})]
            allowed = allowed or [x for x in values if frozen_in(study, first, (), x, plan, {athlete})]
            found = replan(study, plan, absences, signed, settings=QUICK)
            if not found.lost:
                assert found.options[0].label == "nothing changes"
                continue
            if not allowed:
                assert not found.options
                continue
            tried += 1
            now = study.pricer.value(plan.assignments)
            fewest = min((changed_seats(x, plan.assignments), values[x] - now) for x in allowed)
            least = min(values[x] - now for x in allowed)
            options = found.options
            assert (len(options[0].changes), options[0].cost_s) == (fewest[0], pytest.approx(fewest[1], abs=0.02))
            assert min(o.cost_s for o in options) == pytest.approx(least, abs=2e-3)
            for option in options:
                assert option.cost_s == pytest.approx(values[tuple(sorted(option.assignments))] - now, abs=1e-8)
                assert len(option.changes) == changed_seats(option.assignments, plan.assignments)
                assert frozen_in(study, first, signed, option.assignments, plan, {athlete}) or found.notes
            costs = [o.cost_s for o in options]
            assert costs == sorted(costs, reverse=True)
            assert [len(o.changes) for o in options] == sorted(len(o.changes) for o in options)
    assert tried >= 12


def world(athletes=4, races=3, **facts):
    season = tiny_season(athletes=athletes, positions=2, races=races, grades=0, **facts)
    study = study_of(season)
    seats = [("p1", "a1"), ("p2", "a2")]
    return study, plan_of(study, tuple(Assignment(r, "c1", p, a) for r in season.races for p, a in seats))


def test_signed_weekends_move_only_when_they_must():
    study, plan = world()
    absence = Absence("a1", FIRST_SUNDAY + WEEK, None, "out")
    found = replan(study, plan, [absence], signed=("w1", "w2"), settings=QUICK)
    for option in found.options:
        touched = {c.seat for c in option.changes if c.seat.race in ("r1", "r2")}
        assert {(s.race, s.position) for s in touched} == {("r2", "p1")}
    assert not found.notes


def test_signed_weekends_are_opened_when_nothing_else_is_left_and_it_is_said():
    season = tiny_season(athletes=3, positions=2, races=1, grades=0)
    able = [("a1", "p1"), ("a2", "p1"), ("a2", "p2"), ("a3", "p2")]
    season = season.replace(clearances=tuple(c for c in season.clearances if (c.athlete, c.position) in able))
    study = study_of(season)
    plan = plan_of(study, (Assignment("r1", "c1", "p1", "a1"), Assignment("r1", "c1", "p2", "a2")))
    found = replan(study, plan, [Absence("a1", FIRST_SUNDAY, None, "out")], signed=("w1",), settings=QUICK)
    assert {a.athlete for a in found.options[0].assignments} == {"a2", "a3"}
    assert "No plan keeps the signed weekends as they are: they had to be opened." in found.notes


def test_on_site_only_who_is_there_steps_in():
    study, plan = world(races=1)
    plan = plan.replace(reserves=(Reserve("r1", "a4"),))
    found = replan(study, plan, [Absence("a1", FIRST_SUNDAY, None, "out")], on_site=("r1",), settings=QUICK)
    assert found.options
    assert all({a.athlete for a in o.assignments} == {"a2", "a4"} for o in found.options)
    anyone = replan(study, plan, [Absence("a1", FIRST_SUNDAY, None, "out")], settings=QUICK)
    assert any("a3" in {a.athlete for a in o.assignments} for o in anyone.options) or len(anyone.options) == 1


def test_several_athletes_at_once():
    study, plan = world()
    absences = [Absence(a, FIRST_SUNDAY, FIRST_SUNDAY, "out") for a in ("a1", "a2")]
    found = replan(study, plan, absences, settings=QUICK)
    assert {(seat.race, seat.position) for seat in found.lost} == {("r1", "p1"), ("r1", "p2")}
    assert {a.athlete for a in found.options[0].assignments if a.race == "r1"} == {"a3", "a4"}


def test_a_return_ramp_covers_before_it_starts():
    study, plan = world(races=3)
    back = return_of(
        study.season,
        study.weekends,
        "a1",
        cover=FIRST_SUNDAY + WEEK,
        start=FIRST_SUNDAY + 2 * WEEK,
        practice=date(2026, 4, 8),
    )
    found = replan(study, plan, [], returns=[back], settings=QUICK)
    for option in found.options:
        starts = {a.race for a in option.assignments if a.athlete == "a1"}
        assert not starts & {"r1", "r2"}
        after = study.with_season(season_after(study, found))
        other = plan.replace(assignments=tuple(sorted(option.assignments)), reserves=(), cover=())
        assert audit(after.season, other, after.weekends, after.model).passed
        travel = choose_reserves(after, other)
        assert all(r.race != "r1" for r in travel.reserves if r.athlete == "a1")
        assert all(m.athlete != "a1" for c in travel.cover if c.seat.race == "r1" for m in c.moves)
    cleared = {a.race for a in found.options[0].assignments if a.athlete == "a1"}
    assert cleared == {"r3"}
    assert found.notes == (
        "Athlete 1 practices from 8 Apr 2026, may cover from 12 Apr 2026 and start from 19 Apr 2026, "
        "by the coach's dates.",
    )


def test_who_may_only_cover_can_be_sent_as_a_reserve():
    season = tiny_season(athletes=3, positions=2, races=2, grades=0)
    study = study_of(season.replace(weights=Weights(absence_chance=0.5)))
    plan = plan_of(
        study, tuple(Assignment(r, "c1", p, a) for r in ("r1", "r2") for p, a in (("p1", "a1"), ("p2", "a2")))
    )
    back = return_of(study.season, study.weekends, "a3", cover=FIRST_SUNDAY + WEEK, start=FIRST_SUNDAY + 9 * WEEK)
    found = replan(study, plan, [], returns=[back], settings=QUICK)
    after = study.with_season(season_after(study, found))
    assert {r.race for r in choose_reserves(after, plan).reserves if r.athlete == "a3"} == {"r2"}


def test_with_nobody_left_who_may_fuel_the_answer_is_the_clash_and_its_repair():
    season = tiny_season(athletes=3, positions=["jack", "fueler"], grades=0)
    season = season.replace(
        positions={p: Position(p, p.capitalize()) for p in ("jack", "fueler")},
        clearances=tuple(c for c in season.clearances if c.position == "jack" or c.athlete == "a1"),
    )
    study = study_of(season)
    plan = plan_of(study, (Assignment("r1", "c1", "fueler", "a1"), Assignment("r1", "c1", "jack", "a2")))
    found = replan(study, plan, [Absence("a1", FIRST_SUNDAY, None, "out")], settings=QUICK)
    assert not found.options
    assert any("Fueler" in fact.text for clash in found.clash for fact in clash.facts)
    assert found.clash[0].repairs
    assert found.notes[-1] == "No plan exists without them."


def test_a_promise_to_somebody_who_is_out_lapses_and_is_told():
    study, plan = world(pins=(Pin("must", "a1", "a promise", car="c1"),))
    absence = Absence("a1", FIRST_SUNDAY, FIRST_SUNDAY, "out")
    season, lapsed = without_lapsed(study.season, study.weekends, [absence])
    assert [pin.reason for pin in lapsed] == ["a promise"]
    assert sorted(pin.race for pin in season.pins) == ["r2", "r3"]
    found = replan(study, plan, [absence], settings=QUICK)
    assert {a.athlete for a in found.options[0].assignments if a.race == "r2"} == {"a1", "a2"}
    assert "take it back for those races" in found.notes[0]


def test_the_partner_of_a_pair_and_a_lost_reserve_are_told():
    study, plan = world(pins=(Pin("pair", "a1", "learn together", other="a2"),))
    plan = plan.replace(reserves=(Reserve("r2", "a1"),))
    found = replan(study, plan, [Absence("a1", FIRST_SUNDAY, None, "out")], settings=QUICK)
    assert "Athlete 2 sits out where Athlete 1 does: they are pinned as a pair (learn together)." in found.notes
    assert "Athlete 1 was to travel to Race 2 as a reserve: choose reserves again." in found.notes
    elsewhere, _ = world(pins=(Pin("pair", "a1", "learn together", "a2", "r3"),))
    found = replan(elsewhere, plan, [Absence("a1", FIRST_SUNDAY, FIRST_SUNDAY, "out")], settings=QUICK)
    assert not any("pinned as a pair" in note for note in found.notes)  # it holds at the third race only


@pytest.mark.parametrize(
    ("athlete", "first", "last", "said"),
    [
        ("a11", None, None, "athlete 'a11' is not in athletes.csv; did you mean"),
        ("a1", date(2027, 1, 1), None, "1 Jan 2027 lies outside the block, which runs from 5 Apr 2026 to 19 Apr 2026"),
        ("a1", date(2026, 1, 1), date(2026, 1, 9), "lies outside the block"),
        ("a1", date(2026, 4, 9), date(2026, 4, 8), "ends on 8 Apr 2026, before it begins on 9 Apr 2026"),
        ("a4", None, None, r"Athlete 4 \(a4\) is out already, with no day of return"),
    ],
)
def test_bad_absences_get_one_clear_line(athlete, first, last, said):
    study, _ = world(absences=(Absence("a4", FIRST_SUNDAY, None, "out"),))
    with pytest.raises(InputError, match=said) as caught:
        absence_of(study.season, study.weekends, athlete, first, last)
    assert "\n" not in str(caught.value)


def test_a_ramp_out_of_order_gets_one_clear_line():
    study, _ = world()
    with pytest.raises(InputError, match="must follow each other: out, practice, cover, start"):
        return_of(study.season, study.weekends, "a1", cover=FIRST_SUNDAY + 2 * WEEK, start=FIRST_SUNDAY + WEEK)
    with pytest.raises(InputError, match="must follow each other"):
        return_of(study.season, study.weekends, "a1", cover=FIRST_SUNDAY, start=FIRST_SUNDAY)


def test_the_json_form_carries_the_caution_and_never_a_kind():
    study, plan = world()
    found = replan(study, plan, [Absence("a1", FIRST_SUNDAY, None, "out", kind="medical")], settings=QUICK)
    data = replan_to_dict(found)
    assert data["caution"] == CAUTION
    assert data["absences"][0]["kind"] is None
    assert data["options"][0]["changes"]
    assert option_text(study.season, found.options[0]).startswith("Fewest changes")
