"""Commands that explain a plan and answer what-ifs: why, swaps, without, train."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

import typer

from lineup import workflow
from lineup.cli.common import (
    NO_PLAN_EXISTS,
    NOT_FOUND,
    After,
    CarId,
    Json,
    Out,
    PlanPath,
    PositionId,
    RaceId,
    SeasonPath,
    console,
    find_athlete,
    find_seat,
    open_plan,
    print_json,
    say,
)
from lineup.cli.season_data import parse_date
from lineup.errors import InputError
from lineup.explain.absences import absence_of
from lineup.explain.injury import replan_to_dict
from lineup.explain.why import answer_to_dict
from lineup.explain.why_not import why_not_to_dict
from lineup.plan_file import write_plan
from lineup.report import answer_tables


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.command("why")(why)
    app.command("swaps")(swaps)
    app.command("without")(without)
    app.command("train")(train)


def why(
    season: SeasonPath,
    plan: PlanPath,
    race: RaceId,
    car: CarId,
    position: PositionId,
    not_athlete: Annotated[str | None, typer.Option("--not", metavar="ATHLETE", help="Why not this athlete?")] = None,
    after: After = None,
    as_json: Json = False,
) -> None:
    """Explain a seat: why this athlete, and for everyone else one honest reason."""
    study, given = open_plan(season, plan, after)
    seat = find_seat(study.season, race, car, position)
    if not_athlete is None:
        answer = workflow.explain_seat(study, given, seat)
        if as_json:
            print_json(answer_to_dict(answer))
        else:
            console().print(answer_tables.why_text(study.season, answer))
        return
    other = workflow.explain_not(study, given, seat, find_athlete(study.season, not_athlete))
    if as_json:
        print_json(why_not_to_dict(other))
    else:
        console().print(answer_tables.why_not_text(study.season, other))


def swaps(
    season: SeasonPath,
    plan: PlanPath,
    race: Annotated[str | None, typer.Argument(metavar="[RACE")] = None,
    car: Annotated[str | None, typer.Argument(metavar="CAR")] = None,
    position: Annotated[str | None, typer.Argument(metavar="POSITION]")] = None,
    after: After = None,
    as_json: Json = False,
) -> None:
    """List the next-best swaps of one seat, or of the whole plan, best first."""
    study, given = open_plan(season, plan, after)
    seat = None
    if race is not None:
        if car is None or position is None:
            raise InputError("name a whole seat, RACE CAR POSITION, or none at all")
        seat = find_seat(study.season, race, car, position)
    found = workflow.best_swaps(study, given, seat)
    if as_json:
        print_json(answer_tables.swaps_document(found))
    else:
        console().print(answer_tables.swaps_table(study.season, found))


def without(
    season: SeasonPath,
    plan: PlanPath,
    athletes: Annotated[list[str], typer.Argument(metavar="ATHLETE...")],
    first: Annotated[str | None, typer.Option("--from", metavar="DATE", help="First day out.")] = None,
    last: Annotated[str | None, typer.Option("--to", metavar="DATE", help="Last day out; open unless given.")] = None,
    signed: Annotated[list[str] | None, typer.Option("--signed", metavar="W", help="A weekend that stays.")] = None,
    on_site: Annotated[list[str] | None, typer.Option("--on-site", metavar="RACE", help="Only who is there.")] = None,
    after: After = None,
    out: Out = None,
    as_json: Json = False,
) -> None:
    """Plan again without an athlete: the fewest changes, the best plan, and what lies between."""
    study, given = open_plan(season, plan, after)
    begins = parse_date(first) if first else None
    ends = parse_date(last) if last else None
    absences = [absence_of(study.season, study.weekends, athlete, begins, ends) for athlete in dict.fromkeys(athletes)]
    found = workflow.replan_without(
        study, given, absences, signed or (), on_site or (), on_progress=lambda p: say(answer_tables.progress_line(p))
    )
    if found.options and out is not None:
        write_plan(workflow.plan_of_option(study, found, found.options[0]), out)
        say(f"{out}: written, with the fewest changes")
    if as_json:
        print_json(replan_to_dict(found))
    else:
        console().print(answer_tables.replan_text(study.season, found))
    if not found.options:
        raise typer.Exit(NO_PLAN_EXISTS if found.clash else NOT_FOUND)


def train(season: SeasonPath, plan: PlanPath, after: After = None, as_json: Json = False) -> None:
    """Say what each athlete and crew should practise, misses and extra movement before raw pace."""
    study, given = open_plan(season, plan, after)
    found = workflow.practice(study, given)
    if as_json:
        print_json(asdict(found))
    else:
        console().print(answer_tables.practice_text(study.season, found))
