"""Reads and writes plan files ("lineup-plan/1"), and tells in one report what is wrong with one."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from lineup.errors import PlanFileError, shortened
from lineup.plan import (
    FORMAT,
    Assignment,
    Clash,
    Cover,
    EntryForecast,
    Fact,
    Move,
    Plan,
    Repair,
    Reserve,
)
from lineup.plan_records import CoverRecord, PlanRecord, SeatRecord
from lineup.safe_files import write_whole
from lineup.season import Season, Seat
from lineup.suggest import did_you_mean

MOST_PROBLEMS_SHOWN = 20
LARGEST_BYTES = 100_000_000


def read_plan(path: Path | str, season: Season) -> Plan:
    """Read a plan file; a plan made by hand needs `assignments` alone.

    Raises
    ------
    PlanFileError
        When the file cannot be read, is not of the format, or names what the season does not have.
    """
    path = Path(path)
    try:
        return plan_from_dict(_parsed(path), season)
    except PlanFileError as error:
        raise PlanFileError(f"{path}: {error}") from None


def _parsed(path: Path) -> object:
    try:
        if path.exists() and not path.is_file():
            raise PlanFileError("is not a file")
        if path.stat().st_size > LARGEST_BYTES:
            raise PlanFileError(f"is larger than {LARGEST_BYTES // 1_000_000} MB")
        data = json.loads(path.read_text(encoding="utf-8-sig"), object_pairs_hook=_each_key_once)
        json.dumps(data, ensure_ascii=False).encode()  # half a character, as an escape can write it, is no text
    except FileNotFoundError:
        raise PlanFileError("there is no such plan file") from None
    except (OSError, UnicodeError) as error:
        raise PlanFileError(f"cannot be read as UTF-8 text ({error})") from None
    except (ValueError, RecursionError) as error:
        raise PlanFileError(f"is not JSON ({error})") from None
    return data


def _each_key_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        keys = [key for key, _ in pairs]
        twice = next(key for key in keys if keys.count(key) > 1)
        raise PlanFileError(f"the key {shortened(twice)!r} is there twice in one place")
    return found


def plan_from_dict(data: object, season: Season | None) -> Plan:
    """Turn the parsed JSON of a plan file into a `Plan`, checked against the ids of the season where one is given.

    Raises
    ------
    PlanFileError
        When it is not of the format, or names what the season does not have.
    """
    if not isinstance(data, dict) or not ({"assignments", "status"} & data.keys()):
        raise PlanFileError("a plan is a JSON object with at least `assignments`")
    absent = PlanRecord.model_fields.keys() - data.keys()
    for key in data.keys() - PlanRecord.model_fields.keys():
        if near := did_you_mean(key, absent):  # any other key is left to whoever wrote it
            raise PlanFileError(f"{shortened(key)!r} is not a key of a plan{near}")
    try:
        file = PlanRecord.model_validate(data)
    except ValidationError as error:
        raise PlanFileError(_one_report(error)) from None
    if file.format != FORMAT:
        raise PlanFileError(f"format is {shortened(file.format)!r}, this version reads {FORMAT!r}")
    problems = [] if season is None else list(_unknown_ids(file, season))
    if problems:
        raise PlanFileError("; ".join(problems[:MOST_PROBLEMS_SHOWN]))
    return _to_plan(file, season)


def plan_to_dict(plan: Plan) -> dict[str, Any]:
    """Return the JSON form of a plan; figures that are not known are left out."""
    data: dict[str, Any] = {"format": FORMAT, "status": plan.status}
    numbers = ("value_s", "bound_s", "gap", "tolerance", "fresh_value_s", "se_s", "seed", "scenarios", "tail")
    data |= {name: getattr(plan, name) for name in numbers if getattr(plan, name) is not None}
    data |= {
        "fingerprints": dict(plan.fingerprints),
        "weekends": list(plan.weekends),
        "assignments": [asdict(a) for a in plan.assignments],
        "reserves": [asdict(r) for r in plan.reserves],
        "cover": [
            {**asdict(c.seat), "moves": [move_to_dict(m) for m in c.moves], "open": seat_to_dict(c.open)}
            for c in plan.cover
        ],
        "cover_status": plan.cover_status,
        "entries": [asdict(e) for e in plan.entries],
        "costs": dict(plan.costs),
        "cover_costs": dict(plan.cover_costs),
        "notes": list(plan.notes),
    }
    if plan.clash:
        data["clash"] = [asdict(clash) for clash in plan.clash]
    return data


def seat_to_dict(seat: Seat | None) -> dict[str, str] | None:
    """Return the JSON form of a seat; the bench is null."""
    return None if seat is None else asdict(seat)


def move_to_dict(move: Move) -> dict[str, Any]:
    """Return the JSON form of a move."""
    return {"athlete": move.athlete, "from": seat_to_dict(move.start), "to": seat_to_dict(move.end)}


def write_plan(plan: Plan, path: Path | str) -> None:
    """Write a plan file whole or not at all.

    Raises
    ------
    PlanFileError
        When the file cannot be written.
    """
    path = Path(path)
    text = json.dumps(plan_to_dict(plan), indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    try:
        write_whole(path, text.encode())
    except OSError as error:
        raise PlanFileError(f"{path}: cannot be written ({error.strerror or error})") from None


def _to_plan(file: PlanRecord, season: Season | None) -> Plan:
    assignments = tuple(Assignment(a.race, a.car, a.position, a.athlete) for a in file.assignments)
    races = {a.race for a in assignments}
    weekends = () if season is None else season.weekends
    worked = tuple(w for w in weekends if season and any(r.id in races for r in season.races_of((w,))))
    return Plan(
        status=file.status or "best_so_far",
        assignments=assignments,
        reserves=tuple(Reserve(r.race, r.athlete) for r in file.reserves),
        cover=tuple(_to_cover(c) for c in file.cover),
        entries=tuple(EntryForecast(**entry.model_dump()) for entry in file.entries),
        costs=file.costs,
        cover_costs=file.cover_costs,
        cover_status=file.cover_status,
        value_s=file.value_s,
        bound_s=file.bound_s,
        gap=file.gap,
        tolerance=file.tolerance,
        fresh_value_s=file.fresh_value_s,
        se_s=file.se_s,
        seed=file.seed,
        scenarios=file.scenarios,
        tail=file.tail,
        weekends=file.weekends or worked,
        fingerprints=file.fingerprints,
        clash=tuple(
            Clash(tuple(Fact(**f.model_dump()) for f in c.facts), tuple(Repair(**r.model_dump()) for r in c.repairs))
            for c in file.clash
        ),
        notes=file.notes,
    )


def _to_cover(cover: CoverRecord) -> Cover:
    moves = tuple(Move(m.athlete, _to_seat(m.start), _to_seat(m.end)) for m in cover.moves)
    return Cover(cover.fact(), moves, _to_seat(cover.open))


def _to_seat(seat: SeatRecord | None) -> Seat | None:
    return None if seat is None else seat.fact()


def _one_report(error: ValidationError) -> str:
    lines = []
    for detail in error.errors()[:MOST_PROBLEMS_SHOWN]:
        parts = (f"[{part}]" if isinstance(part, int) else f".{shortened(part)}" for part in detail["loc"])
        place = "".join(parts).lstrip(".")
        lines.append(
            f"{place}: {detail['msg'][0].lower()}{detail['msg'][1:]} (found {shortened(str(detail['input']))!r})"
        )
    return "; ".join(lines)


def _unknown_ids(file: PlanRecord, season: Season) -> Iterator[str]:
    seen: dict[Seat, int] = {}
    entries = set(season.entries)
    for number, a in enumerate(file.assignments):
        place = f"assignments[{number}]"
        unknown = [*_unknown(place, "race", a.race, season.races), *_unknown(place, "car", a.car, season.cars)]
        unknown += [*_unknown(place, "position", a.position, season.positions)]
        unknown += [*_unknown(place, "athlete", a.athlete, season.athletes)]
        yield from unknown
        if unknown:
            continue
        seat = a.fact()
        if seat.entry not in entries:
            yield f"{place}: car {a.car!r} is not entered in race {a.race!r}"
        elif a.position not in season.positions_of(a.race):
            yield f"{place}: race {a.race!r} has no seat for position {a.position!r}"
        elif seat in seen:
            yield f"{place}: the seat {a.race} · {a.car} · {a.position} is filled already by assignments[{seen[seat]}]"
        seen.setdefault(seat, number)
    for number, r in enumerate(file.reserves):
        place = f"reserves[{number}]"
        yield from _unknown(place, "race", r.race, season.races)
        yield from _unknown(place, "athlete", r.athlete, season.athletes)
    for number, c in enumerate(file.cover):
        place = f"cover[{number}]"
        yield from _unknown_seat(place, c, season)
        yield from _unknown_seat(f"{place}.open", c.open, season)
        for move in c.moves:
            yield from _unknown(f"{place}.moves", "athlete", move.athlete, season.athletes)
            yield from _unknown_seat(f"{place}.moves.from", move.start, season)
            yield from _unknown_seat(f"{place}.moves.to", move.end, season)
    for number, e in enumerate(file.entries):
        place = f"entries[{number}]"
        yield from _unknown(place, "race", e.race, season.races)
        yield from _unknown(place, "car", e.car, season.cars)
        yield from _unknown(place, "service", e.service, season.choreographies)
    for number, label in enumerate(file.weekends):
        yield from _unknown(f"weekends[{number}]", "weekend", label, season.weekends)


def _unknown_seat(place: str, seat: SeatRecord | None, season: Season) -> Iterator[str]:
    if seat is not None:
        yield from _unknown(place, "race", seat.race, season.races)
        yield from _unknown(place, "car", seat.car, season.cars)
        yield from _unknown(place, "position", seat.position, season.positions)


def _unknown(place: str, kind: str, key: str, known: Any) -> Iterator[str]:
    if key not in known:
        yield f"{place}: {kind} {shortened(key)!r} is not in the season{did_you_mean(key, known)}"
