"""What every command shares: options, printing, the one JSON document, exit codes."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console

from lineup.errors import InputError
from lineup.plan import Plan
from lineup.report.workbook import read_workbook
from lineup.season import Season, Seat
from lineup.study import Study, open_study, study_of, with_history
from lineup.suggest import did_you_mean

DONE, BAD_INPUT, NO_PLAN_EXISTS, BREACH, NOT_FOUND = 0, 2, 3, 4, 5
PIPE_WIDTH = 140  # columns when the output is not a terminal, so that no table is cut

SeasonPath = Annotated[Path, typer.Argument(metavar="SEASON", help="Season folder, or the same tables as one .xlsx.")]
PlanPath = Annotated[Path, typer.Argument(metavar="PLAN", help="Plan file (plan.json), or an exported workbook.")]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON document on stdout.")]
After = Annotated[
    Path | None, typer.Option("--after", metavar="PLAN", help="An earlier plan: its duties before this block count.")
]
RaceId = Annotated[str, typer.Argument(metavar="RACE")]
CarId = Annotated[str, typer.Argument(metavar="CAR")]
PositionId = Annotated[str, typer.Argument(metavar="POSITION")]
Out = Annotated[Path | None, typer.Option("--out", metavar="FILE", help="Write the plan to this file.")]
Seed = Annotated[int, typer.Option("--seed", help="Seed of everything random.")]
Scenarios = Annotated[int, typer.Option("--scenarios", help="Sampled stops for each service and tire.")]
Workers = Annotated[int, typer.Option("--workers", help="Threads to use.")]
TimeS = Annotated[float, typer.Option("--time", metavar="S", help="Seconds to search at most.")]
Work = Annotated[
    int | None,
    typer.Option("--work", metavar="N", help="Deterministic effort instead of time: the same plan anywhere."),
]
Tail = Annotated[
    float | None,
    typer.Option("--tail", metavar="λ", help="Weight of the slowest stops, 0 to 1; default: the season's."),
]
Tolerance = Annotated[
    float, typer.Option("--tolerance", metavar="G", help="A plan this close to the best possible is proven.")
]


def console() -> Console:
    """Return a console on stdout that never cuts a table when piped."""
    return Console(width=None if sys.stdout.isatty() else PIPE_WIDTH, highlight=False, markup=False, emoji=False)


def say(message: str) -> None:
    """Print a message for the person at the keyboard, on stderr."""
    print(message, file=sys.stderr, flush=True)  # noqa: T201


def print_json(document: Any) -> None:
    """Print the one JSON document of a command on stdout; a figure that is not known (NaN) is null."""
    plain = json.loads(json.dumps(document, default=str), parse_constant=lambda _: None)
    sys.stdout.write(json.dumps(plain, ensure_ascii=False, indent=1) + "\n")
    sys.stdout.flush()  # a disk that is full is found out here, not when the program has ended


def find_seat(season: Season, race: str, car: str, position: str) -> Seat:
    """Return the seat named by three ids.

    Raises
    ------
    InputError
        When one of them is unknown, or the race has no such seat.
    """
    for kind, key, known in (
        ("race", race, season.races),
        ("car", car, season.cars),
        ("position", position, season.positions),
    ):
        if key not in known:
            raise InputError(f"{kind} {key!r} is not in the season{did_you_mean(key, known)}")
    seat = Seat(race, car, position)
    if seat.entry not in season.entries:
        entered = ", ".join(season.cars_in[race]) or "no car"
        raise InputError(f"car {car!r} is not entered in race {race!r}; entered: {entered}")
    if position not in season.positions_of(race):
        raise InputError(f"race {race!r} has no seat for {position!r}; it has: {', '.join(season.positions_of(race))}")
    return seat


def open_plan(season: Path, plan: Path, after: Path | None = None) -> tuple[Study, Plan]:
    """Open a season and a plan of it, in the block and with the samples that the plan was made with."""
    study = open_study(season)
    given = read_given(study, plan)
    study = study_of(study, given)
    if after is None:
        return study, given
    return study.with_season(with_history(study.season, read_given(study, after), study.weekends)), given


def read_given(study: Study, path: Path | str) -> Plan:
    """Read a plan file, or the assignments of a workbook as `lineup export` writes it, changed by hand or not."""
    return read_workbook(path, study.season) if Path(path).suffix == ".xlsx" else study.read_plan(path)


def find_athlete(season: Season, key: str) -> str:
    """Return the id when the athlete exists, else raise an `InputError` with the nearest known one."""
    if key not in season.athletes:
        raise InputError(f"athlete {key!r} is not in athletes.csv{did_you_mean(key, season.athletes)}")
    return key
