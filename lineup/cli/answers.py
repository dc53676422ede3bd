"""Commands that explain a plan: why, swaps, train, alternatives, pins."""

from __future__ import annotations

from dataclasses import asdict
from typing import Annotated

import typer

from lineup import workflow
from lineup.cli.common import (
    After,
    CarId,
    Json,
    PlanPath,
    PositionId,
    RaceId,
    SeasonPath,
    console,
    find_athlete,
    find_seat,
    open_plan,
    print_json,
)
from lineup.errors import InputError
from lineup.explain.alternatives import alternative_to_dict
from lineup.explain.alternatives import alternatives as other_plans
from lineup.explain.better import better_to_dict, nothing_better
from lineup.explain.by_hand import pin_price_to_dict, pin_prices
from lineup.explain.cross_training import HOURS, advice_to_dict, cross_training
from lineup.explain.tryout import candidate_to_dict, tryout
from lineup.explain.why import answer_to_dict
from lineup.explain.why_not import why_not_to_dict
from lineup.report import answer_tables


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    app.command("why")(why)
    app.command("swaps")(swaps)
    app.command("train")(train)
    app.command("alternatives")(alternatives)
    app.command("pins")(pins)


def why(
    season: SeasonPath,
    plan: PlanPath,
    race: RaceId,
    car: CarId,
    position: PositionId,
    not_athlete: Annotated[str | None, typer.Option("--not", metavar="ATHLETE", help="Why not this athlete?")] = None,
    tenth: Annotated[bool, typer.Option("--tenth", help="What would have to give for the car to gain 0.1 s?")] = False,
    after: After = None,
    as_json: Json = False,
) -> None:
    """Explain a seat: why this athlete, and for everyone else one honest reason."""
    study, given = open_plan(season, plan, after)
    seat = find_seat(study.season, race, car, position)
    if tenth:
        better = nothing_better(study, given, seat.entry)
        if as_json:
            print_json(better_to_dict(better))
        else:
            console().print(answer_tables.better_text(better))
        return
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
    race: Annotated[str | None, typer.Argument(metavar="RACE", help="With car and position: one seat.")] = None,
    car: Annotated[str | None, typer.Argument(metavar="CAR")] = None,
    position: Annotated[str | None, typer.Argument(metavar="POSITION")] = None,
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


def train(
    season: SeasonPath,
    plan: PlanPath,
    cross: Annotated[
        bool, typer.Option("--cross", help="Who should learn what, and where candidates would start.")
    ] = False,
    hours: Annotated[float, typer.Option("--hours", help="Practice hours assumed until somebody is cleared.")] = HOURS,
    after: After = None,
    as_json: Json = False,
) -> None:
    """Say what each athlete and crew should practise, misses and extra movement before raw pace."""
    study, given = open_plan(season, plan, after)
    if not cross:
        found = workflow.practice(study, given)
        if as_json:
            print_json(asdict(found))
        else:
            console().print(answer_tables.practice_text(study.season, found))
        return
    if hours <= 0:
        raise InputError(f"--hours must be above 0, not {hours}")
    advice, candidates = cross_training(study, given, hours), tryout(study, given)
    if as_json:
        print_json(
            {
                "clearances": [advice_to_dict(one) for one in advice],
                "candidates": [candidate_to_dict(one) for one in candidates],
            }
        )
    else:
        console().print(answer_tables.cross_text([one.text for one in advice], [one.text for one in candidates]))


def alternatives(
    season: SeasonPath,
    plan: PlanPath,
    count: Annotated[int, typer.Option("--count", min=1, max=10, help="How many plans.")] = 3,
    after: After = None,
    as_json: Json = False,
) -> None:
    """Find other good plans of the block that differ in more than a triviality."""
    study, given = open_plan(season, plan, after)
    found = other_plans(study, given, count)
    if as_json:
        print_json([alternative_to_dict(one) for one in found])
    else:
        _print_lines([one.text for one in found], "No other plan was found that is as good and differs in a seat.")


def pins(season: SeasonPath, plan: PlanPath, after: After = None, as_json: Json = False) -> None:
    """Tell what each pin costs the plan, by planning again without it."""
    study, given = open_plan(season, plan, after)
    found = pin_prices(study, given)
    if as_json:
        print_json([pin_price_to_dict(one) for one in found])
    else:
        _print_lines([one.text for one in found], "No pin bears on this block: nothing to price.")


def _print_lines(lines: list[str], nothing: str) -> None:
    for line in lines or [nothing]:
        console().print(line)
