"""Commands that keep plans and carry a weekend to a signature: keep, history, differences, propose, sign."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, cast

import typer

from lineup import workflow
from lineup.audit import Audit
from lineup.cli.common import Json, PlanPath, SeasonPath, console, print_json, say
from lineup.errors import InputError
from lineup.plan import Plan
from lineup.report.plan_tables import new_table
from lineup.season import Season
from lineup.store import LOCAL, Roster, Store, User, Verification, default_store, open_store, read_people, read_routine
from lineup.store.weekend import STEP_NAMES, Step, Verdict
from lineup.study import Study, open_study, study_of

Where = Annotated[str | None, typer.Option("--store", metavar="WHERE", help="File or URL; default: beside the season.")]
By = Annotated[str | None, typer.Option("--by", metavar="ID", help="Who does it; default: the one local user.")]
Roles = Annotated[Path | None, typer.Option("--roles", metavar="FILE", help="Roles file (TOML).")]
Routine = Annotated[Path | None, typer.Option("--routine", metavar="FILE", help="Deadlines and reminders (TOML).")]
Now = Annotated[str | None, typer.Option("--now", metavar="TIME", help="ISO time with offset; default: the clock.")]
Weekend = Annotated[str, typer.Argument(metavar="WEEKEND")]
Revision = Annotated[int, typer.Argument(metavar="REVISION", min=1)]
StepName = Annotated[str, typer.Option("--step", help="travel_list or starting_crews.")]
Reason = Annotated[str, typer.Option("--reason", help="Why; it stays in the record.")]


def register(app: typer.Typer) -> None:
    """Add these commands to the command line."""
    for name, command in (
        ("keep", keep),
        ("history", history),
        ("difference", tell_difference),
        ("checklist", checklist),
        ("propose", propose),
        ("review", review),
        ("sign", sign),
        ("withdraw", withdraw),
        ("amend", amend),
        ("ratify", ratify),
    ):
        app.command(name)(command)


def keep(
    season: SeasonPath,
    plan: PlanPath,
    reason: Reason,
    parent: Annotated[int | None, typer.Option("--parent", help="The revision it was made from.")] = None,
    store: Where = None,
    by: By = None,
    roles: Roles = None,
    now: Now = None,
    as_json: Json = False,
) -> None:
    """Keep a plan as a new revision in the store."""
    study = open_study(season)
    given = study.read_plan(plan)
    with opened(season, store, roles) as kept:
        revision = kept.save(given, study.season, reason=reason, by=user(by), now=moment(now), parent=parent)
    _tell(as_json, asdict(revision), f"kept as revision {revision.number}")


def history(
    season: SeasonPath,
    weekend: Annotated[str | None, typer.Option("--weekend", metavar="W", help="Only this weekend.")] = None,
    verify: Annotated[bool, typer.Option("--verify", help="Walk along the chain of hashes.")] = False,
    printed: Annotated[str, typer.Option("--printed", metavar="HEAD", help="The head that a signed sheet shows.")] = "",
    store: Where = None,
    as_json: Json = False,
) -> None:
    """Tell everything that happened, and with --verify whether the record is as it was written."""
    with opened(season, store, None) as kept:
        lines = kept.history(weekend)
        found = kept.verify(printed) if verify or printed else None
    if as_json:
        print_json({"history": [asdict(line) for line in lines], "verification": found and asdict(found)})
    else:
        table = new_table("History", "when (UTC)", "who", "what", "")
        for line in lines:
            table.add_row(f"{line.at:%Y-%m-%d %H:%M}", line.author, line.text, line.hash[:12])
        console().print(table)
        if found is not None:
            say(_verification_text(found))
    if found is not None and not found.ok:
        raise typer.Exit(2)


def tell_difference(
    season: SeasonPath,
    before: Annotated[str, typer.Argument(metavar="BEFORE", help="A plan file, or the number of a revision.")],
    after: Annotated[str, typer.Argument(metavar="AFTER", help="A plan file, or the number of a revision.")],
    weekend: Annotated[str | None, typer.Option("--weekend", metavar="W", help="Who moves in this weekend.")] = None,
    store: Where = None,
    as_json: Json = False,
) -> None:
    """Tell who moves between two plans, what it costs and gains and how sure, and which limits get close."""
    study = open_study(season)
    old, new = (_plan(study, season, given, store) for given in (before, after))
    found = workflow.compare_plans(study_of(study, new), old, new, weekend)
    if as_json:
        print_json(asdict(found))
    else:
        for line in found.texts(study.season):
            console().print(line)


def checklist(
    season: SeasonPath,
    weekend: Weekend,
    revision: Revision,
    step: StepName = "starting_crews",
    store: Where = None,
    routine: Routine = None,
    now: Now = None,
    as_json: Json = False,
) -> None:
    """List what the signer has to know and acknowledge before signing."""
    study = open_study(season)
    with opened(season, store, None, routine) as kept:
        audit = Auditor(study)
        found = kept.checklist(roster(weekend, revision, step), study.season, audit, now=moment(now))
    if as_json:
        print_json(asdict(found))
        return
    table = new_table(f"To acknowledge before the {STEP_NAMES[_step(step)]} of {weekend} is signed", "id", "what")
    for item in found.items:
        table.add_row(item.id, item.text)
    console().print(table)
    for line in (*(f"stands in the way: {b}" for b in found.blocks), *(f"warning: {w}" for w in found.warnings)):
        say(line)


def propose(
    season: SeasonPath,
    weekend: Weekend,
    revision: Revision,
    step: StepName = "starting_crews",
    store: Where = None,
    by: By = None,
    roles: Roles = None,
    now: Now = None,
) -> None:
    """Put the newest revision of a weekend forward for signature."""
    with opened(season, store, roles) as kept:
        kept.propose(roster(weekend, revision, step), by=user(by), now=moment(now))
    say(f"proposed: the {STEP_NAMES[_step(step)]} of {weekend}, revision {revision}")


def review(
    season: SeasonPath,
    weekend: Weekend,
    revision: Revision,
    car: Annotated[str, typer.Argument(metavar="CAR")],
    verdict: Annotated[str, typer.Argument(metavar="VERDICT", help="acknowledged or objected")],
    reason: Annotated[str, typer.Option("--reason", help="An objection needs one.")] = "",
    step: StepName = "starting_crews",
    store: Where = None,
    by: By = None,
    roles: Roles = None,
    now: Now = None,
) -> None:
    """Record a crew chief's word on the roster of a car: acknowledged, or objected with a reason."""
    with opened(season, store, roles) as kept:
        which = roster(weekend, revision, step)
        kept.review(which, car, cast(Verdict, verdict), by=user(by), now=moment(now), reason=reason)
    say(f"{verdict}: car {car}, {weekend}, revision {revision}")


def sign(
    season: SeasonPath,
    weekend: Weekend,
    revision: Revision,
    step: StepName = "starting_crews",
    acknowledge: Annotated[list[str] | None, typer.Option("--acknowledge", metavar="ID", help="An item's id.")] = None,
    store: Where = None,
    by: By = None,
    roles: Roles = None,
    routine: Routine = None,
    now: Now = None,
) -> None:
    """Sign a proposed roster; every change, pin and priced limit has to be acknowledged (see `checklist`)."""
    study = open_study(season)
    with opened(season, store, roles, routine) as kept:
        which = roster(weekend, revision, step)
        kept.sign(which, study.season, Auditor(study), acknowledge or (), by=user(by), now=moment(now))
    say(f"signed: the {STEP_NAMES[_step(step)]} of {weekend}, revision {revision}")


def withdraw(
    season: SeasonPath,
    weekend: Weekend,
    revision: Revision,
    reason: Reason,
    step: StepName = "starting_crews",
    store: Where = None,
    by: By = None,
    roles: Roles = None,
    now: Now = None,
) -> None:
    """Take back a proposal, a signature, or an amendment that was not ratified."""
    with opened(season, store, roles) as kept:
        kept.withdraw(roster(weekend, revision, step), reason=reason, by=user(by), now=moment(now))
    say(f"withdrawn: the {STEP_NAMES[_step(step)]} of {weekend}, revision {revision}")


def amend(
    season: SeasonPath,
    plan: PlanPath,
    weekend: Weekend,
    revision: Revision,
    reason: Reason,
    store: Where = None,
    by: By = None,
    roles: Roles = None,
    now: Now = None,
) -> None:
    """Change the roster in force on site, at once; REVISION is the one in force, and a signer ratifies later."""
    study = open_study(season)
    given = study.read_plan(plan)
    with opened(season, store, roles) as kept:
        which = roster(weekend, revision, "starting_crews")
        made = kept.amend(which, given, study.season, Auditor(study), reason=reason, by=user(by), now=moment(now))
    say(f"in force at once: revision {made.number}; a signer has to ratify it")


def ratify(
    season: SeasonPath,
    weekend: Weekend,
    revision: Revision,
    acknowledge: Annotated[list[str] | None, typer.Option("--acknowledge", metavar="ID", help="An item's id.")] = None,
    store: Where = None,
    by: By = None,
    roles: Roles = None,
    now: Now = None,
) -> None:
    """Ratify an amendment that is in force on site."""
    study = open_study(season)
    with opened(season, store, roles) as kept:
        which = roster(weekend, revision, "starting_crews")
        kept.ratify(which, study.season, Auditor(study), acknowledge or (), by=user(by), now=moment(now))
    say(f"ratified: {weekend}, revision {revision}")


class Auditor:
    """Audits a plan of one season with the stop samples that the plan was made with."""

    def __init__(self, study: Study) -> None:
        self._study = study

    def __call__(self, season: Season, plan: Plan) -> Audit:
        """Audit a plan on this season."""
        return workflow.audit_plan(study_of(self._study.with_season(season), plan), plan)


@contextmanager
def opened(season: Path, where: str | None, roles: Path | None, routine: Path | None = None) -> Iterator[Store]:
    """Open the store of a season for one command."""
    people = read_people(roles) if roles is not None else None
    with open_store(where or default_store(season), people, read_routine(routine) if routine else None) as store:
        yield store


def roster(weekend: str, revision: int, step: str) -> Roster:
    """Return what a sign-off command speaks of."""
    return Roster(weekend, _step(step), revision)


def user(key: str | None) -> User:
    """Return who acts; names given on a command line are taken on trust and never count as logged in."""
    return LOCAL if key is None else User(key)


def moment(text: str | None) -> datetime:
    """Return the time of a step: as given, else the clock's. The library itself never looks at a clock."""
    if text is None:
        return datetime.now(UTC)
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(f"{text!r} is not a time of the form 2027-03-14T09:30+00:00") from None
    if found.tzinfo is None:
        raise InputError(f"{text!r} does not say its offset from UTC, as in 2027-03-14T09:30+00:00")
    return found


def _verification_text(found: Verification) -> str:
    if found.ok:
        return f"The record is as it was written: {found.records} records."
    return f"The record is damaged: {found.problem}"


def _step(text: str) -> Step:
    if text not in STEP_NAMES:
        raise InputError(f"--step is {' or '.join(STEP_NAMES)}, not {text!r}")
    return cast(Step, text)


def _plan(study: Study, season: Path, given: str, where: str | None) -> Plan:
    if not given.isdigit():
        return study.read_plan(given)
    with opened(season, where, None) as store:
        return store.plan(int(given))


def _tell(as_json: bool, document: object, text: str) -> None:
    if as_json:
        print_json(document)
    say(text)
