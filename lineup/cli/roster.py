"""Commands that carry a weekend to a signature: checklist, propose, review, sign, withdraw, amend, ratify."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from typing import Annotated, cast

import typer

from lineup import workflow
from lineup.audit import Audit
from lineup.cli.common import Json, PlanPath, SeasonPath, console, print_json, say
from lineup.cli.store_options import Reason, StoreOptions, with_store
from lineup.errors import InputError, Unacknowledged
from lineup.plan import Plan
from lineup.report.plan_tables import new_table
from lineup.season import Season
from lineup.store import Roster
from lineup.store.weekend import STEP_NAMES, Step, Verdict
from lineup.study import Study, open_study, study_of

Weekend = Annotated[str, typer.Argument(metavar="WEEKEND")]
Revision = Annotated[int, typer.Argument(metavar="REVISION", min=1)]
StepName = Annotated[str, typer.Option("--step", help="travel_list or starting_crews.")]
Acknowledge = Annotated[list[str] | None, typer.Option("--acknowledge", metavar="ID", help="An item's id.")]


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    for name, command in (
        ("checklist", checklist),
        ("propose", propose),
        ("review", review),
        ("sign", sign),
        ("withdraw", withdraw),
        ("amend", amend),
        ("ratify", ratify),
    ):
        app.command(name)(command)


@with_store("store", "routine", "now")
def checklist(
    season: SeasonPath,
    weekend: Weekend,
    revision: Revision,
    step: StepName = "starting_crews",
    as_json: Json = False,
    *,
    at: StoreOptions,
) -> None:
    """List what the signer has to know and acknowledge before signing."""
    study = open_study(season)
    with at.opened(season) as kept:
        audit = Auditor(study)
        found = kept.checklist(roster(weekend, revision, step), study.season, audit, now=at.moment)
    if as_json:
        print_json(asdict(found))
        return
    table = new_table(f"To acknowledge before the {STEP_NAMES[_step(step)]} of {weekend} is signed", "id", "what")
    for item in found.items:
        table.add_row(item.id, item.text)
    console().print(table)
    for line in (*(f"stands in the way: {b}" for b in found.blocks), *(f"warning: {w}" for w in found.warnings)):
        say(line)


@with_store()
def propose(
    season: SeasonPath,
    weekend: Weekend,
    revision: Revision,
    step: StepName = "starting_crews",
    *,
    at: StoreOptions,
) -> None:
    """Put the newest revision of a weekend forward for signature."""
    with at.opened(season) as kept:
        kept.propose(roster(weekend, revision, step), by=at.user, now=at.moment)
    say(f"proposed: the {STEP_NAMES[_step(step)]} of {weekend}, revision {revision}")


@with_store()
def review(
    season: SeasonPath,
    weekend: Weekend,
    revision: Revision,
    car: Annotated[str, typer.Argument(metavar="CAR")],
    verdict: Annotated[str, typer.Argument(metavar="VERDICT", help="acknowledged or objected")],
    reason: Annotated[str, typer.Option("--reason", help="An objection needs one.")] = "",
    step: StepName = "starting_crews",
    *,
    at: StoreOptions,
) -> None:
    """Record a crew chief's word on the roster of a car: acknowledged, or objected with a reason."""
    with at.opened(season) as kept:
        which = roster(weekend, revision, step)
        kept.review(which, car, cast(Verdict, verdict), by=at.user, now=at.moment, reason=reason)
    say(f"{verdict}: car {car}, {weekend}, revision {revision}")


@with_store()
def sign(
    season: SeasonPath,
    weekend: Weekend,
    revision: Revision,
    step: StepName = "starting_crews",
    acknowledge: Acknowledge = None,
    *,
    at: StoreOptions,
) -> None:
    """Sign a proposed roster; every change, pin and priced limit has to be acknowledged (see `checklist`)."""
    study = open_study(season)
    with at.opened(season) as kept, _telling_how():
        which = roster(weekend, revision, step)
        kept.sign(which, study.season, Auditor(study), acknowledge or (), by=at.user, now=at.moment)
    say(f"signed: the {STEP_NAMES[_step(step)]} of {weekend}, revision {revision}")


@with_store()
def withdraw(
    season: SeasonPath,
    weekend: Weekend,
    revision: Revision,
    reason: Reason,
    step: StepName = "starting_crews",
    *,
    at: StoreOptions,
) -> None:
    """Take back a proposal, a signature, or an amendment that was not ratified."""
    with at.opened(season) as kept:
        kept.withdraw(roster(weekend, revision, step), reason=reason, by=at.user, now=at.moment)
    say(f"withdrawn: the {STEP_NAMES[_step(step)]} of {weekend}, revision {revision}")


@with_store()
def amend(
    season: SeasonPath,
    plan: PlanPath,
    weekend: Weekend,
    revision: Revision,
    reason: Reason,
    *,
    at: StoreOptions,
) -> None:
    """Change the roster in force on site, at once; REVISION is the one in force, and a signer ratifies later."""
    study = open_study(season)
    given = study.read_plan(plan)
    with at.opened(season) as kept:
        which = roster(weekend, revision, "starting_crews")
        made = kept.amend(which, given, study.season, Auditor(study), reason=reason, by=at.user, now=at.moment)
    say(f"in force at once: revision {made.number}; a signer has to ratify it")


@with_store()
def ratify(
    season: SeasonPath,
    weekend: Weekend,
    revision: Revision,
    acknowledge: Acknowledge = None,
    *,
    at: StoreOptions,
) -> None:
    """Ratify an amendment that is in force on site."""
    study = open_study(season)
    with at.opened(season) as kept, _telling_how():
        which = roster(weekend, revision, "starting_crews")
        kept.ratify(which, study.season, Auditor(study), acknowledge or (), by=at.user, now=at.moment)
    say(f"ratified: {weekend}, revision {revision}")


@contextmanager
def _telling_how() -> Iterator[None]:
    """Add to the refusal of a signature how the command line acknowledges."""
    try:
        yield
    except Unacknowledged as error:
        raise Unacknowledged(f"{error}. Give --acknowledge ID for each, its id is in brackets") from None


class Auditor:
    """Audits a plan of one season with the stop samples that the plan was made with."""

    def __init__(self, study: Study) -> None:
        self._study = study

    def __call__(self, season: Season, plan: Plan) -> Audit:
        """Audit a plan on this season."""
        return workflow.audit_plan(study_of(self._study.with_season(season), plan), plan)


def roster(weekend: str, revision: int, step: str) -> Roster:
    """Return what a sign-off command speaks of."""
    return Roster(weekend, _step(step), revision)


def _step(text: str) -> Step:
    if text not in STEP_NAMES:
        raise InputError(f"--step is {' or '.join(STEP_NAMES)}, not {text!r}")
    return cast(Step, text)
