"""Drill: the cost of each loss equals brute force; locally and on a cluster alike; what is left undone is said."""

from __future__ import annotations

import json
import warnings
from datetime import timedelta
from itertools import combinations

import pytest

from lineup.errors import InputError
from lineup.explain.absences import absence_of, without_lapsed
from lineup.explain.drill import connect, drill
from lineup.explain.drill_records import CAUTION, drill_lines, drill_to_dict
from lineup.plan import Assignment
from lineup.season import Absence, Pin
from tests.builders import FIRST_SUNDAY, tiny_season
from tests.explain.plans import plan_of, priced_lineups, solved_seasons, study_of
from tests.optimize.seasons import QUICK

EFFORT = QUICK.replace(time_s=20.0, workers=2)
CASES = list(solved_seasons(4, first=400))


def least_without(study, group, first=None):
    """Value of the best plan without some athletes, by brute force; None where there is none."""
    absences = [absence_of(study.season, study.weekends, athlete, first) for athlete in group]
    season, _ = without_lapsed(study.season, study.weekends, absences)
    return min(priced_lineups(study.with_season(season)).values(), default=None)


def test_what_each_loss_costs_equals_brute_force():
    for _, study, plan, lineups in CASES:
        now = dict(lineups)[plan.assignments]
        found = drill(study, plan, pairs=True, settings=EFFORT)
        out = {a.athlete for a in study.season.absences}
        able = [a for a in study.season.athletes if a not in out]
        assert {loss.athletes for loss in found.losses} == {(a,) for a in able} | set(combinations(able, 2))
        assert found.undone == ()
        for loss in found.losses:
            least = least_without(study, loss.athletes)
            seats = [a for a in plan.assignments if a.athlete in loss.athletes]
            assert loss.seats == len(seats)
            if not seats:
                assert (loss.status, loss.cost_s) == ("nothing lost", 0.0)
            elif least is None:
                assert (loss.status, loss.cost_s) == ("impossible", None)
                assert loss.facts
            else:
                assert loss.cost_s == pytest.approx(least - now, abs=2e-3)
                assert loss.sure_to_s <= least - now + 1e-6


def world(**facts):
    season = tiny_season(athletes=4, positions=2, races=2, grades=0, **facts)
    season = season.replace(
        clearances=tuple(c for c in season.clearances if (c.athlete, c.position) not in {("a2", "p1"), ("a3", "p1")})
    )
    study = study_of(season)
    seats = [("p1", "a1"), ("p2", "a2")]
    return study, plan_of(study, tuple(Assignment(r, "c1", p, a) for r in season.races for p, a in seats))


def test_who_cannot_be_lost_comes_first_with_the_clash_and_its_repair():
    study, plan = world()
    found = drill(study, plan, athletes=["a1", "a2", "a3"], pairs=True, settings=EFFORT)
    with_a4 = drill(study.with_season(study.season.with_absence(Absence("a4", FIRST_SUNDAY, None, "out"))), plan)
    assert [loss.athletes for loss in found.losses if loss.status == "impossible"] == []
    assert [loss.athletes for loss in with_a4.losses if loss.status == "impossible"] == [("a1",)]
    worst = with_a4.losses[0]
    assert worst.athletes == ("a1",)
    assert any("P1" in fact for fact in worst.facts)
    assert worst.repairs
    lines = list(drill_lines(study.season, with_a4))
    assert lines[0].startswith("The plan is not the best there is: one found here costs ")
    assert lines[1].startswith("Can't be lost: Athlete 1 (2 seats). No plan is left: ")
    assert "Cheapest repair: " in lines[1]
    assert lines[-1] == CAUTION


def test_who_steps_in_is_counted_and_so_is_who_is_needed():
    study, plan = world()
    found = drill(study, plan, athletes=["a1", "a2"], settings=EFFORT)
    by_athlete = {saver.athlete: saver for saver in found.savers}
    assert by_athlete["a4"].needed == 1  # nobody else may take p1
    assert found.savers[0].athlete == "a4"


def test_from_a_day_on_only_later_seats_are_lost():
    study, plan = world()
    first = FIRST_SUNDAY + timedelta(days=1)
    (loss,) = drill(study, plan, athletes=["a1"], first=first, settings=EFFORT).losses
    assert loss.seats == 1
    assert loss.cost_s == pytest.approx(least_without(study, ("a1",), first) - study.pricer.value(plan.assignments))


def test_a_stopped_drill_says_what_is_left_undone():
    study, plan = world()
    known = []
    found = drill(
        study, plan, settings=EFFORT.replace(workers=1), on_progress=lambda loss, done, of: known.append((done, of)),
        stop=lambda: len(known) > 2,
    )  # fmt: skip
    assert known[0] == (1, 4)
    assert {loss.athletes[0] for loss in found.losses} | {group[0] for group in found.undone} == set(
        study.season.athletes
    )
    assert found.undone
    assert any(line.startswith("Left undone: Athlete ") for line in drill_lines(study.season, found))
    assert drill(study, plan, settings=EFFORT, within_s=0.0).losses == ()


def test_a_local_dask_cluster_gives_the_same_answers():
    distributed = pytest.importorskip("distributed")
    study, plan = world()
    steady = QUICK.replace(work=50, workers=2)
    here = drill(study, plan, pairs=True, settings=steady)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the cluster's own library warns of ports and of its event loop
        with distributed.LocalCluster(
            n_workers=1, threads_per_worker=2, processes=False, dashboard_address=None
        ) as cluster:
            there = drill(study, plan, pairs=True, settings=steady, scheduler=cluster.scheduler_address)
    assert there == here


def test_an_address_where_nothing_answers_gets_one_clear_line():
    pytest.importorskip("distributed")
    with pytest.raises(InputError, match=r"no Dask scheduler answers at 'tcp://127\.0\.0\.1:9'"):
        connect("tcp://127.0.0.1:9", timeout_s=0.5)


def test_a_pin_nobody_could_keep_is_told_with_its_loss():
    study, plan = world(pins=(Pin("must", "a2", "a promise", position="p2"),))
    (loss,) = drill(study, plan, athletes=["a2"], settings=EFFORT).losses
    assert loss.cost_s is not None
    assert "a promise" not in loss.facts
    assert "The pin of Athlete 2 to P2 cannot be kept while Athlete 2 is out" in loss.lapsed[0]


def test_bad_input_gets_one_clear_line():
    study, plan = world(absences=(Absence("a4", FIRST_SUNDAY, None, "out"),))
    with pytest.raises(InputError, match=r"athlete 'a9' is not in athletes\.csv"):
        drill(study, plan, athletes=["a9"])
    with pytest.raises(InputError, match=r"Athlete 4 \(a4\) is out already"):
        drill(study, plan, athletes=["a4"])
    with pytest.raises(InputError, match="lies outside the block"):
        drill(study, plan, first=FIRST_SUNDAY + timedelta(days=90))


def test_the_json_form_has_every_loss_and_the_caution():
    study, plan = world()
    found = drill(study, plan, athletes=["a1", "a2"], settings=EFFORT)
    data = json.loads(json.dumps(drill_to_dict(found)))
    assert [tuple(loss["athletes"]) for loss in data["losses"]] == [loss.athletes for loss in found.losses]
    assert [loss["cost_s"] for loss in data["losses"]] == [loss.cost_s for loss in found.losses]
    assert data["caution"] == CAUTION
