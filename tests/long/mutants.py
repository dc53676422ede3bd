"""Mutation testing with mutmut: small faults in the source, one at a time, that some test has to notice.

    pip install mutmut
    python -m tests.long.mutants /tmp/mutants [skills stops price rules audit] [--each 25] [--seed 1] [--again]

copies the last commit to the folder, draws up to `--each` faults of every file of a group, runs the group's own fast
tests against each, then the wider ones against those that survive. A folder left by an earlier run goes on: a larger
`--each` tries more faults, `--again` takes the tests of the last commit and tries what survived or timed out. The
last results stand in RESULTS.md.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import subprocess
import sys
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
KILLED = frozenset({1, 3})
TIMED_OUT = frozenset({24, 36, 152, 255, -24})


@dataclass(frozen=True)
class Group:
    """Files that are changed, the tests that run first, and those that only the survivors meet."""

    files: tuple[str, ...]
    tests: tuple[str, ...]
    wider: tuple[str, ...] = ()


SLOW_DRIVING = (
    "hours_needed_are_those_of_a_search_by_half_hours",
    "rules_and_audit_find_the_same_on_random_timetables",
)
DRIVING = ("tests/test_driving.py", *(f"--deselect=tests/test_driving.py::test_{name}" for name in SLOW_DRIVING))
AGREE = (
    "tests/test_driving.py",
    *(f"tests/test_audit_agrees.py::test_audit_and_rules_agree_on_random_plans[{n}]" for n in (1, 13, 16, 17)),
)
SLOW_STOPS = tuple(
    f"tests/stop_model/test_stop_check.py::test_{name}"
    for name in (
        "stops_and_grades_of_several_seasons_fall_where_they_were_forecast",
        "demo_stops_from_the_new_year_on_are_forecast_within_what_is_promised",
    )
)
GROUPS = {
    "skills": Group(
        ("lineup/skills/*.py",),
        ("tests/skills", "--ignore=tests/skills/test_any_grades.py"),
        ("tests/skills/test_any_grades.py",),
    ),
    "stops": Group(
        ("lineup/choreography.py", "lineup/stop_model/*.py"),
        ("tests/test_choreography.py", "tests/stop_model", *(f"--deselect={test}" for test in SLOW_STOPS)),
        (SLOW_STOPS[1], "tests/test_price.py", "tests/test_audit.py"),
    ),
    "price": Group(
        ("lineup/price.py",), ("tests/test_price.py",), ("tests/test_audit.py", "tests/stop_model/test_past_stops.py")
    ),
    "rules": Group(
        ("lineup/rules/*.py",),
        ("tests/test_rules.py", *DRIVING),
        AGREE,
    ),
    "audit": Group(
        ("lineup/audit/*.py",),
        ("tests/test_audit.py", *DRIVING),
        AGREE,
    ),
}

QUICKEST_FIRST = """
import gc
import json
from pathlib import Path

gc.freeze()  # pytest collects garbage at its end, of all that was imported, for each fault anew


def pytest_collection_modifyitems(items):
    stats = Path(__file__).with_name("mutmut-stats.json")  # calls alone: the simulated season is made before them
    took = json.loads(stats.read_text())["duration_by_test"] if stats.exists() else {}
    items.sort(key=lambda item: ("simulated" in item.fixturenames, took.get(item.nodeid, 0.0)))
"""


def main() -> None:
    """Try the faults of each group and print what became of them."""
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=Path)
    parser.add_argument("groups", nargs="*", default=list(GROUPS))
    parser.add_argument("--each", type=int, default=25)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--again", action="store_true")
    asked = parser.parse_args()
    for name in asked.groups:
        copy = asked.folder / name
        if not copy.exists():
            _git("clone", "-q", str(ROOT), str(copy))
        elif asked.again:
            _git("-C", str(copy), "fetch", "-q", "origin")
            _git("-C", str(copy), "checkout", "-q", "FETCH_HEAD", "--", "tests")
            shutil.rmtree(copy / "mutants" / "tests")
        outcomes = _try(copy, GROUPS[name], asked.each, asked.seed, again=asked.again)
        _report(name, copy, outcomes)


def _try(copy: Path, group: Group, each: int, seed: int, *, again: bool) -> dict[str, int | None]:
    """Run the faults drawn; exit codes of pytest for all that were ever drawn in this copy."""
    kept = copy / "outcomes.json"
    outcomes: dict[str, int | None] = json.loads(kept.read_text()) if kept.exists() else {}
    if again:
        left = [name for name, code in outcomes.items() if code not in KILLED]
    else:
        _configure(copy, group, group.tests)
        _mutmut(copy, ["no-such-name"])  # makes all faults, runs none
        left = [name for name in _drawn(copy, each, seed) if outcomes.get(name) is None]
    for tests in (group.tests, group.wider):
        if tests and left:
            _configure(copy, group, tests)
            _mutmut(copy, left)
            after = _codes(copy)
            outcomes |= {name: after[name] for name in left}
            kept.write_text(json.dumps(outcomes))
            left = [name for name in left if outcomes[name] not in KILLED | TIMED_OUT]
    return outcomes


def _configure(copy: Path, group: Group, tests: tuple[str, ...]) -> None:
    lists = {
        "source_paths": ("lineup",),
        "also_copy": ("data_demo", "app.py", "conftest.py"),
        "only_mutate": group.files,
        "pytest_add_cli_args": ("-n0",),
        "pytest_add_cli_args_test_selection": tests,
    }
    lines = [f"{key} = {json.dumps(list(values))}" for key, values in lists.items()]
    # by the clock, and other work may keep the machine busy
    lines += ["timeout_multiplier = 3.0", "timeout_constant = 40.0"]
    (copy / "conftest.py").write_text(QUICKEST_FIRST)
    own = (ROOT / "pyproject.toml").read_text()
    (copy / "pyproject.toml").write_text("\n".join([own, "[tool.mutmut]", *lines, ""]))
    (copy / "mutants" / "mutmut-stats.json").unlink(missing_ok=True)  # other tests: who calls what is found out anew


def _git(*words: str) -> None:
    subprocess.run(["git", *words], check=True)


def _mutmut(copy: Path, names: list[str]) -> None:
    threads = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), "1")
    command = [sys.executable, "-m", "mutmut", "run", "--max-children", "1", *names]
    with (copy / "mutmut.log").open("a") as log:
        subprocess.run(command, cwd=copy, env={**os.environ, **threads}, stdout=log, stderr=log, check=False)


def _codes(copy: Path) -> dict[str, int | None]:
    found: dict[str, int | None] = {}
    for meta in sorted((copy / "mutants").rglob("*.meta")):
        found.update(json.loads(meta.read_text())["exit_code_by_key"])
    return found


def _drawn(copy: Path, each: int, seed: int) -> list[str]:
    """Up to `each` faults of every file, drawn from the seed."""
    by_file: dict[str, list[str]] = {}
    for name in _codes(copy):
        by_file.setdefault(_file(name), []).append(name)
    for names in by_file.values():
        random.Random(seed).shuffle(names)
    return [name for names in by_file.values() for name in names[:each]]


def _report(group: str, copy: Path, outcomes: dict[str, int | None]) -> None:
    totals = Counter(map(_file, _codes(copy)))
    tried: dict[str, Counter[str]] = {}
    for name, code in outcomes.items():
        word = "killed" if code in KILLED else "timed out" if code in TIMED_OUT else "survived"
        tried.setdefault(_file(name), Counter())[word] += 1
    print(f"## {group}\n\n| file | faults | tried | killed | timed out | survived |\n|---|---|---|---|---|---|")
    for file, words in tried.items():
        row = (totals[file], words.total(), words["killed"], words["timed out"], words["survived"])
        print(f"| {file} | {' | '.join(map(str, row))} |")
    for name, code in outcomes.items():
        if code not in KILLED | TIMED_OUT:
            show = [sys.executable, "-m", "mutmut", "show", name]
            shown = subprocess.run(show, cwd=copy, capture_output=True, text=True, check=False)
            print(f"\n{name} (exit code {code})\n{shown.stdout}", flush=True)


def _file(name: str) -> str:
    return name.split(".x_")[0].split(".xǁ")[0]


if __name__ == "__main__":
    main()
