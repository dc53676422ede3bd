"""What is damaged, and what must hold then: season folder, TOML files, workbook, plan file, grading sheet.

A target is made in a room (an empty folder) of its own; it is called with bytes that choose the damage.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import openpyxl

from lineup.grading_sheet import write_grading_sheet
from lineup.read import read_season
from tests.builders import tiny_season, write_season, write_workbook
from tests.mutations import damaged_folder, damaged_json, damaged_sheets
from tests.readings import check_grading_sheet, check_plan, check_season

DATA = Path(__file__).parent / "data"
Target = Callable[[bytes, Path], str]


def files_of(folder: Path) -> dict[str, bytes]:
    """Return every file of a season folder by its path in it."""
    return {str(p.relative_to(folder)): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def put(files: dict[str, bytes], folder: Path) -> Path:
    """Write files into an empty folder."""
    shutil.rmtree(folder, ignore_errors=True)
    for name, data in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)
    return folder


def sheets_of(path: Path) -> dict[str, list[list[Any]]]:
    """Return the cells of a workbook as openpyxl reads them."""
    book = openpyxl.load_workbook(path)
    return {sheet.title: [list(row) for row in sheet.iter_rows(values_only=True)] for sheet in book}


def folder_target(room: Path) -> Target:
    """Damage the full season's folder."""
    full = files_of(DATA / "full")
    return lambda data, place: check_season(put(damaged_folder(full, data), place / "season"), place)


def toml_target(room: Path) -> Target:
    """Damage the full season's TOML files only."""
    full = files_of(DATA / "full")
    plain = {name: text for name, text in full.items() if name.endswith(".toml")}

    def check(data: bytes, place: Path) -> str:
        damaged = damaged_folder(plain, data)
        kept = {name: text for name, text in full.items() if name not in plain}
        return check_season(put(kept | damaged, place / "season"), place)

    return check


def workbook_target(room: Path) -> Target:
    """Damage the full season's workbook: cells, the parts inside, the file."""
    sheets = sheets_of(write_workbook(read_season(DATA / "full")[0], room / "full.xlsx"))

    def check(data: bytes, place: Path) -> str:
        (place / "season.xlsx").write_bytes(damaged_sheets(sheets, data))
        return check_season(place / "season.xlsx", place)

    return check


def plan_target(room: Path) -> Target:
    """Damage a plan that uses everything a plan file can say."""
    season = tiny_season(athletes=6, races=2)
    read = read_season(write_season(season, room / "tiny"))[0]
    plan = full_plan()

    def check(data: bytes, place: Path) -> str:
        (place / "plan.json").write_bytes(damaged_json(plan, data))
        return check_plan(place / "plan.json", read, place)

    return check


def full_plan() -> dict[str, Any]:
    """Return a plan of the tiny season with every key set."""
    seat = {"race": "r1", "car": "c1", "position": "p1"}
    entry = {"race": "r1", "car": "c1", "service": "four", "mean_s": 11.4, "median_s": 11.3, "p90_s": 12.2}
    fact = {"kind": "pin", "text": "a pin", "ids": ["a1"]}
    return {
        "format": "lineup-plan/1",
        "status": "best_so_far",
        "assignments": [
            {"race": race, "car": "c1", "position": f"p{i}", "athlete": f"a{i}"}
            for race in ("r1", "r2")
            for i in (1, 2, 3)
        ],
        "reserves": [{"race": "r1", "athlete": "a4"}],
        "cover": [{**seat, "moves": [{"athlete": "a4", "from": None, "to": seat}], "open": None}],
        "entries": [{**entry, "tail_mean_s": 12.9, "clean_share": 0.8, "critical_share": {"do-p1": 0.5}}],
        "costs": {"stops": 100.0, "travel": 2.0},
        "cover_costs": {"absence": 1.0},
        "cover_status": "proven",
        "value_s": 102.0,
        "bound_s": 101.0,
        "gap": 0.01,
        "tolerance": 0.001,
        "fresh_value_s": 102.1,
        "se_s": 0.1,
        "seed": 1,
        "scenarios": 64,
        "tail": 0.2,
        "weekends": ["w1", "w2"],
        "fingerprints": {"athletes": "ab"},
        "clash": [{"facts": [fact], "repairs": [{"text": "drop it", "ids": ["a1"], "cost_s": 1.0}]}],
        "notes": ["one", "two"],
    }


def sheet_target(room: Path) -> Target:
    """Damage a filled-in grading sheet and add it to the full season."""
    full = files_of(DATA / "full")
    path = room / "grading.xlsx"
    write_grading_sheet(read_season(DATA / "full")[0], path, stops=2)
    sheets = {name: rows for name, rows in sheets_of(path).items() if name in ("four", "fuel-only")}
    for rows in sheets.values():
        fill(rows)

    def check(data: bytes, place: Path) -> str:
        (place / "sheet.xlsx").write_bytes(damaged_sheets(sheets, data))
        return check_grading_sheet(put(full, place / "season"), place / "sheet.xlsx")

    return check


def fill(rows: list[list[Any]]) -> None:
    """Grade the first stop of a blank sheet."""
    people = {"jack": "bo-ray", "changer": "ana-lind", "fueler": "cy-dent", "wall": "di-olsen"}
    heads = rows[0]
    for row in rows[1:]:
        line = dict(zip(heads, row, strict=True))
        if line["stop"] != rows[1][heads.index("stop")]:
            continue
        line |= {
            "date": date(2027, 4, 1),
            "setting": "practice",
            "tire": "soft",
            "athlete": people.get(line["position"]),
        }
        line |= {"total_s": 11.5, "spoilers": "damage"}
        own = {"jack": ("lift", "drop"), "changer": ("change",), "fueler": ("plug",), "(car)": ("flow",)}
        line |= {f"{task} seconds": 2.5 for task in own.get(line["position"], ()) if f"{task} seconds" in heads}
        if line["position"] == "changer" and "miss re-strike" in heads:
            line["miss re-strike"] = 1
        row[:] = [line[head] for head in heads]


TARGETS = {
    "folder": folder_target,
    "toml": toml_target,
    "workbook": workbook_target,
    "plan": plan_target,
    "sheet": sheet_target,
}
