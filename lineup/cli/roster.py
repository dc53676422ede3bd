"""Commands that carry a weekend to a signature: checklist, propose, review, sign, withdraw, amend, ratify."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from typing import Annotated, cast

import typer

from lineup import workflow
from lineup.audit import Audit
from lineup.cli.common import Json, PlanPath, SeasonPath, console, print_json, read_given, say
from lineup.cli.store_options import Reason, StoreOptions, with_store
from lineup.errors import Unacknowledged
from lineup.plan import Plan
from lineup.report.plan_tables import new_table
from lineup.season import Season
from lineup.store import Roster
from lineup.store.weekend import Step, Verdict
from lineup.study import Study, open_study, study_of

Weekend = Annotated[str, typer.Argument(metavar="WEEKEND")]
Revision = Annotated[int, typer.Argument(metavar="REVISION", min=1)]
StepName = Annotated[str, typer.Option("--step", help="travel_list or starting_crews.")]
Acknowledge = Annotated[
    list[str] | None, typer.Option("--acknowledge", metavar="ID", help="An item's id, from `checklist`; once for each.")
]


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
    which = roster(weekend, revision, step)
    with at.opened(season) as kept:
        found = kept.checklist(which, study.season, Auditor(study), now=at.moment)
    if as_json:
        print_json(asdict(found))
        return
    table = new_table(f"To acknowledge before signing {which}", "id", "what")
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
    which = roster(weekend, revision, step)
    with at.opened(season) as kept:
        kept.propose(which, by=at.user, now=at.moment)
    say(f"proposed: {which}")


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
    which = roster(weekend, revision, step)
    with at.opened(season) as kept:
        kept.review(which, car, cast(Verdict, verdict), by=at.user, now=at.moment, reason=reason)
    say(f"{verdict}: {which}, for car {car}")


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
    study, which = open_study(season), roster(weekend, revision, step)
    with at.opened(season) as kept, _telling_how():
        kept.sign(which, study.season, Auditor(study), acknowledge or (), by=at.user, now=at.moment)
    say(f"signed: {which}")


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
    which = roster(weekend, revision, step)
    with at.opened(season) as kept:
        kept.withdraw(which, reason=reason, by=at.user, now=at.moment)
    say(f"taken back: {which}")


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
    """Change the crews in force at the track, at once; REVISION is the one in force, and a signer ratifies later."""
    study, which = open_study(season), roster(weekend, revision, "starting_crews")
    given = read_given(study, plan)
    with at.opened(season) as kept:
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
    """Ratify an amendment that is in force at the track; every item has to be acknowledged, as for `sign`."""
    study, which = open_study(season), roster(weekend, revision, "starting_crews")
    with at.opened(season) as kept, _telling_how():
        kept.ratify(which, study.season, Auditor(study), acknowledge or (), by=at.user, now=at.moment)
    say(f"ratified: {which}")


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
    """Return what a sign-off command speaks of; InputError where there is no such step."""
    return Roster(weekend, cast(Step, step), revision)
