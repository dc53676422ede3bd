"""Plan files: round trip, hand-made plans, and one report of everything wrong."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lineup.errors import PlanFileError
from lineup.plan import Assignment, Clash, Cover, EntryForecast, Fact, Move, Plan, Repair, Reserve
from lineup.plan_file import plan_from_dict, plan_to_dict, read_plan, write_plan
from lineup.season import Seat
from tests.builders import tiny_season

SEASON = tiny_season(races=2)
SEAT = Seat("r1", "c1", "p1")
FULL = Plan(
    status="proven",
    assignments=(Assignment("r1", "c1", "p1", "a1"), Assignment("r2", "c1", "p3", "a2")),
    reserves=(Reserve("r1", "a4"),),
    cover=(Cover(SEAT, (Move("a4", None, SEAT), Move("a3", Seat("r1", "c1", "p2"), None)), Seat("r1", "c1", "p2")),),
    entries=(EntryForecast("r1", "c1", "four", 11.0, 10.9, 12.0, 13.0, 0.8, {"p1": 0.7, "p2": 0.3}),),
    costs={"stops": 55.0, "crew_changes": 1.5},
    value_s=56.5,
    bound_s=56.45,
    gap=0.0009,
    tolerance=0.001,
    fresh_value_s=56.6,
    se_s=0.01,
    seed=1,
    scenarios=1024,
    weekends=("w1", "w2"),
    fingerprints={"athletes": "00"},
    notes=("the bound leaves out travel places",),
)


def test_a_written_plan_reads_back_the_same(tmp_path):
    write_plan(FULL, tmp_path / "plan.json")
    assert read_plan(tmp_path / "plan.json", SEASON) == FULL


def test_an_impossible_plan_keeps_its_clash(tmp_path):
    clash = Clash((Fact("clearance", "only A is cleared", ("a1",)),), (Repair("clear B", ("a2",), 1.5),))
    plan = Plan(status="impossible", clash=(clash,), weekends=("w1",))
    write_plan(plan, tmp_path / "plan.json")
    assert read_plan(tmp_path / "plan.json", SEASON) == plan
    assert "value_s" not in json.loads((tmp_path / "plan.json").read_text())


def test_assignments_alone_are_a_plan_and_tell_their_weekends():
    plan = plan_from_dict({"assignments": [{"race": "r2", "car": "c1", "position": "p1", "athlete": "a1"}]}, SEASON)
    assert plan.athlete_in(Seat("r2", "c1", "p1")) == "a1"
    assert plan.weekends == ("w2",)


@pytest.mark.parametrize(
    ("data", "message"),
    [
        ([], "a plan is a JSON object with at least `assignments`"),
        ({"assignments": [], "format": "lineup-plan/9"}, "format is 'lineup-plan/9', this version reads"),
        ({"assignments": [{"race": "r1", "car": "c1", "position": "p1"}]}, r"assignments\[0\].athlete: field required"),
        ({"assignments": [], "value_s": "dear"}, "value_s: input should be a valid number.*found 'dear'"),
        (
            {"assignments": [{"race": "r1", "car": "c1", "position": "p1", "athlete": "a44"}]},
            r"assignments\[0\]: athlete 'a44' is not in the season; did you mean 'a4'\?",
        ),
        (
            {"assignments": [{"race": "r1", "car": "c1", "position": "p1", "athlete": a} for a in ("a1", "a2")]},
            r"assignments\[1\]: the seat r1 · c1 · p1 is filled already by assignments\[0\]",
        ),
        ({"assignments": [], "reserves": [{"race": "r9", "athlete": "a1"}]}, r"reserves\[0\]: race 'r9' is not"),
        ({"assignments": [], "weekends": ["w7"]}, r"weekends\[0\]: weekend 'w7' is not in the season"),
    ],
)
def test_what_is_wrong_is_said_with_its_place(data, message):
    with pytest.raises(PlanFileError, match=message):
        plan_from_dict(data, SEASON)


def test_every_problem_is_told_at_once():
    rows = [{"race": "rx", "car": "cx", "position": "px", "athlete": "ax"}]
    with pytest.raises(PlanFileError) as caught:
        plan_from_dict({"assignments": rows}, SEASON)
    assert [word in str(caught.value) for word in ("'rx'", "'cx'", "'px'", "'ax'")] == [True] * 4


@pytest.mark.parametrize("content", [b"{", b"\xff\xfe", b"[" * 100_000, b""])
def test_a_file_that_is_no_plan_gets_one_line(tmp_path, content):
    path = tmp_path / "plan.json"
    path.write_bytes(content)
    with pytest.raises(PlanFileError, match=r"plan\.json: "):
        read_plan(path, SEASON)


def test_a_failed_write_leaves_the_old_file(tmp_path):
    path = tmp_path / "plan.json"
    write_plan(FULL, path)
    before = path.read_text()
    with pytest.raises(ValueError, match="not JSON compliant"):
        write_plan(FULL.replace(value_s=float("nan")), path)
    assert path.read_text() == before
    assert [p.name for p in tmp_path.iterdir()] == ["plan.json"]


json_values = st.recursive(
    st.none() | st.booleans() | st.integers(-5, 5) | st.floats(allow_nan=False) | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(sorted(plan_to_dict(FULL))), inner),
    max_leaves=8,
)


@given(json_values)
def test_any_json_is_a_plan_or_a_clear_refusal(data):
    try:
        plan = plan_from_dict(data, SEASON)
    except PlanFileError as error:
        assert str(error)
    else:
        assert plan_from_dict(plan_to_dict(plan), SEASON).assignments == plan.assignments
