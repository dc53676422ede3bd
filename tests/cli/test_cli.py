"""The command line: every command of the contract on a tiny season, its JSON forms, exit codes, and clear refusals."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest

from lineup.cli import main
from lineup.limits import Limit, Limits
from lineup.season import Absence, Weights
from tests.builders import FIRST_SUNDAY, tiny_season, write_season

FAST = ["--scenarios", "64", "--time", "20"]
PLAN_KEYS = {
    "format", "status", "value_s", "bound_s", "gap", "tolerance", "fresh_value_s", "se_s", "seed", "scenarios",
    "fingerprints", "assignments", "reserves", "cover", "entries", "costs",
}  # fmt: skip


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    season = tiny_season(
        athletes=6, positions=2, cars=2, races=2, weights=Weights(crew_change_s=0.5),
        limits=Limits({"weekends_in_a_row": Limit("weekends_in_a_row", at_most=2)}),
    )  # fmt: skip
    return write_season(season, tmp_path_factory.mktemp("season") / "season")


@pytest.fixture(scope="module")
def plan_file(folder) -> Path:
    path = folder.parent / "plan.json"
    assert _exit_code("plan", folder, "--out", path, *FAST) == 0
    return path


def _exit_code(*words: object) -> int:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "argv", ["lineup", *map(str, words)])
        try:
            main()
        except SystemExit as stop:
            return int(stop.code or 0)
    return 0


def run_json(capsys, *words: object, code: int = 0):
    assert _exit_code(*words, "--json") == code
    return json.loads(capsys.readouterr().out)


def test_check_tells_what_a_season_holds(folder, capsys):
    assert run_json(capsys, "check", folder)["problems"] == []


def test_check_of_a_broken_folder_reports_everything_and_writes_nothing(folder, tmp_path, capsys):
    broken = tmp_path / "broken"
    broken.mkdir()
    for file in folder.rglob("*"):
        if file.is_file():
            target = broken / file.relative_to(folder)
            target.parent.mkdir(exist_ok=True)
            target.write_bytes(file.read_bytes())
    (broken / "entries.csv").write_text("race,car\nr1,c1\nr1,c9\nr7,c1\n")
    document = run_json(capsys, "check", broken, code=2)
    assert {(p["file"], p["row"], p["column"], p["value"]) for p in document["problems"]} >= {
        ("entries.csv", 3, "car", "c9"),
        ("entries.csv", 4, "race", "r7"),
    }
    assert _exit_code("plan", broken, "--out", tmp_path / "plan.json") == 2
    captured = capsys.readouterr()
    assert "entries.csv, row 3, column car" in captured.err
    assert "Traceback" not in captured.err
    assert not (tmp_path / "plan.json").exists()


def test_skills_have_the_keys_of_the_contract(folder, capsys):
    rows = run_json(capsys, "skills", folder)
    keys = {"athlete", "position", "split", "median_s", "low90_s", "high90_s", "spread", "grades", "misses"}
    assert all(keys <= row.keys() for row in rows)
    assert all(row["low90_s"] <= row["median_s"] <= row["high90_s"] for row in rows)


def test_skills_can_be_held_against_later_grades(folder, capsys):
    document = run_json(capsys, "skills", folder, "--check", "2026-04-01")
    assert document.keys() == {"grades", "stops", "pairs"}
    assert _exit_code("skills", folder, "--check", "2026-04-01") == 0
    assert "forecast from those before" in capsys.readouterr().out


def test_a_plan_has_the_keys_of_the_contract_and_its_costs_add_up(folder, capsys):
    document = run_json(capsys, "plan", folder, *FAST)
    assert document.keys() >= PLAN_KEYS
    assert document["format"] == "lineup-plan/1"
    assert document["status"] == "proven"
    assert sum(document["costs"].values()) == pytest.approx(document["value_s"])
    assert document["bound_s"] <= document["value_s"] + 1e-6
    assert len(document["assignments"]) == 8


def test_price_and_audit_agree_with_the_plan(folder, plan_file, capsys):
    plan = json.loads(plan_file.read_text())
    priced = run_json(capsys, "price", folder, plan_file)
    assert priced.keys() == {"entries", "costs", "value_s"}
    assert priced["value_s"] == pytest.approx(plan["value_s"])
    assert run_json(capsys, "audit", folder, plan_file)["passed"] is True


def test_a_plan_made_by_hand_needs_assignments_alone(folder, plan_file, tmp_path, capsys):
    rows = json.loads(plan_file.read_text())["assignments"]
    hand = tmp_path / "hand.json"
    hand.write_text(json.dumps({"assignments": rows}))
    assert run_json(capsys, "price", folder, hand)["value_s"] > 0
    rows[0]["athlete"] = rows[1]["athlete"]
    hand.write_text(json.dumps({"assignments": rows}))
    document = run_json(capsys, "audit", folder, hand, code=4)
    assert {c["rule"] for c in document["checks"] if not c["kept"]} == {"one_seat"}


def test_a_part_of_the_block_can_be_planned_after_an_earlier_plan(folder, plan_file, capsys):
    document = run_json(capsys, "plan", folder, "--from", "w2", "--to", "w2", "--after", plan_file, *FAST)
    assert {a["race"] for a in document["assignments"]} == {"r2"}
    earlier = [a for a in json.loads(plan_file.read_text())["assignments"] if a["race"] == "r1"]
    kept = {(a["car"], a["position"], a["athlete"]) for a in earlier}
    assert {(a["car"], a["position"], a["athlete"]) for a in document["assignments"]} == kept


def test_the_same_work_and_seed_give_the_same_plan(folder, tmp_path):
    for name in ("one.json", "two.json"):
        assert _exit_code("plan", folder, "--work", "3", "--scenarios", "64", "--out", tmp_path / name) == 0
    assert (tmp_path / "one.json").read_bytes() == (tmp_path / "two.json").read_bytes()


def test_why_and_why_not(folder, plan_file, capsys):
    answer = run_json(capsys, "why", folder, plan_file, "r1", "c1", "p1")
    assert {r["athlete"] for r in answer["reasons"]} | {answer["athlete"]} == {f"a{n}" for n in range(1, 7)}
    other = next(r["athlete"] for r in answer["reasons"])
    assert "possible" in run_json(capsys, "why", folder, plan_file, "r1", "c1", "p1", "--not", other)


def test_swaps_of_a_seat_and_of_the_plan(folder, plan_file, capsys):
    rows = run_json(capsys, "swaps", folder, plan_file, "r1", "c1", "p1")
    keys = {"race", "car", "position", "moves", "gain_s", "chance", "allowed", "reasons"}
    assert rows
    assert all(keys <= row.keys() for row in rows)
    assert all(row["gain_s"] <= 1e-2 for row in rows if row["allowed"])
    assert run_json(capsys, "swaps", folder, plan_file)


def test_without_writes_the_plan_with_the_fewest_changes(folder, plan_file, tmp_path, capsys):
    before = json.loads(plan_file.read_text())["assignments"]
    hurt = before[0]["athlete"]
    out = tmp_path / "without.json"
    document = run_json(capsys, "without", folder, plan_file, hurt, "--out", out)
    after = json.loads(out.read_text())["assignments"]
    assert hurt not in {a["athlete"] for a in after}
    lost = sum(a["athlete"] == hurt for a in before)
    assert len(document["options"][0]["changes"]) == lost


def test_train_and_depth_answer(folder, plan_file, capsys):
    assert "athletes" in run_json(capsys, "train", folder, plan_file)
    assert run_json(capsys, "depth", folder, plan_file)


def test_no_plan_exists_is_exit_code_three_with_the_clash(tmp_path, capsys):
    season = tiny_season(athletes=2, positions=2, absences=(Absence("a2", FIRST_SUNDAY, None, "out"),))
    folder = write_season(season, tmp_path / "season")
    document = run_json(capsys, "plan", folder, "--out", tmp_path / "plan.json", *FAST, code=3)
    assert document["status"] == "impossible"
    assert document["assignments"] == []
    assert any("Athlete 2" in fact["text"] for clash in document["clash"] for fact in clash["facts"])
    assert json.loads((tmp_path / "plan.json").read_text())["status"] == "impossible"


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["plan", "SEASON", "--from", "w9"], "weekend 'w9' is not in races.csv"),
        (["plan", "SEASON", "--from", "w2", "--to", "w1"], "the block is empty"),
        (["plan", "SEASON", "--scenarios", "1"], "--scenarios must lie between 2 and 65536"),
        (["plan", "SEASON", "--tail", "3"], "--tail must lie between 0 and 1"),
        (["price", "SEASON", "nothing.json"], "nothing.json: there is no such plan file"),
        (["why", "SEASON", "PLAN", "r1", "c3", "p1"], "car 'c3' is not in the season"),
        (["why", "SEASON", "PLAN", "r1", "c1", "p1", "--not", "a77"], "athlete 'a77' is not in athletes.csv"),
        (["swaps", "SEASON", "PLAN", "r1"], "name a whole seat"),
        (["without", "SEASON", "PLAN", "a99"], "athlete 'a99' is not in athletes.csv"),
        (["without", "SEASON", "PLAN", "a1", "--from", "soon"], "'soon' is not a date of the form"),
        (["without", "SEASON", "PLAN", "a1", "--from", "2031-01-01"], "outside the block"),
        (["check", "nowhere"], "nowhere"),
        (["propose", "SEASON", "w1", "1", "--step", "both"], "the step is one of travel_list or starting_crews"),
    ],
)
def test_what_is_wrong_gets_one_clear_line_and_exit_code_two(folder, plan_file, capsys, words, message):
    known = {"SEASON": str(folder), "PLAN": str(plan_file)}
    assert _exit_code(*(known.get(word, word) for word in words)) == 2
    captured = capsys.readouterr()
    assert message in captured.err
    assert "Traceback" not in captured.err


def test_a_weekend_is_carried_to_a_signature(folder, plan_file, tmp_path, capsys):
    where = ["--store", tmp_path / "store.db", "--now", "2026-04-03T12:00+00:00"]
    assert _exit_code("keep", folder, plan_file, "--reason", "first lineup", *where) == 0
    for step in ("travel_list", "starting_crews"):
        assert _exit_code("propose", folder, "w1", "1", "--step", step, *where) == 0
        capsys.readouterr()
        listed = run_json(capsys, "checklist", folder, "w1", "1", "--step", step, *where)
        assert listed["blocks"] == []
        ids = [word for item in listed["items"] for word in ("--acknowledge", item["id"])]
        if ids:
            assert _exit_code("sign", folder, "w1", "1", "--step", step, *where) == 2
            assert "Give --acknowledge ID for each" in capsys.readouterr().err
        assert _exit_code("sign", folder, "w1", "1", "--step", step, *ids, *where) == 0
    document = run_json(capsys, "history", folder, "--verify", "--store", tmp_path / "store.db")
    assert document["verification"]["problem"] is None
    assert [line["kind"] for line in document["history"]] == ["revision", "proposed", "signed", "proposed", "signed"]
    written = run_json(capsys, "export", folder, tmp_path / "out", "--weekend", "w1", *where)["written"]
    assert {Path(path).suffix for path in written} == {".pdf", ".xlsx", ".ics", ".csv"}
    assert all(Path(path).stat().st_size for path in written)
    assert _exit_code("history", folder, *where[:2]) == 0
    assert "Local user" in capsys.readouterr().out
    # the workbook reads back as the plan it was written from
    assert run_json(capsys, "price", folder, tmp_path / "out" / "block.xlsx")["value_s"] == pytest.approx(
        run_json(capsys, "price", folder, plan_file)["value_s"], rel=0.02
    )


def test_a_travel_list_is_exported_before_the_crews_are_proposed(folder, plan_file, tmp_path, capsys):
    where = ["--store", tmp_path / "store.db", "--now", "2026-04-03T12:00+00:00"]
    assert _exit_code("keep", folder, plan_file, "--reason", "first lineup", *where) == 0
    assert _exit_code("export", folder, tmp_path / "out", "--weekend", "w1", *where) == 2
    assert "nothing was proposed for weekend w1 yet" in capsys.readouterr().err
    assert _exit_code("propose", folder, "w1", "1", "--step", "travel_list", *where) == 0
    assert _exit_code("export", folder, tmp_path / "out", "--weekend", "w1", *where) == 0
    assert "only the travel list was proposed so far" in capsys.readouterr().err
    assert [path.name for path in (tmp_path / "out").rglob("*.*")] == ["travel-w1.pdf"]


def test_no_pins_and_no_other_plans_are_said(folder, plan_file, capsys):
    assert _exit_code("pins", folder, plan_file) == 0
    assert capsys.readouterr().out == "No pin bears on this block: nothing to price.\n"
