"""Carries a weekend's roster from proposal to signature, in two steps: the travel list, then the starting crews."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime
from typing import Any

from lineup.errors import NotAllowed, StoreError
from lineup.plan import Plan
from lineup.plan_changes import seat_changes
from lineup.season import Season
from lineup.store.changes import label, races_of, trip_changes
from lineup.store.checklist import Auditor, AuditResult, Checklist, Subject, checklist
from lineup.store.fitness import unfit
from lineup.store.journal import Reader, Writer
from lineup.store.people import Role, User
from lineup.store.record import Record, utc_text
from lineup.store.revisions import Revision, Revisions, check_newest, clean, keep, read_plan, to_revision
from lineup.store.weekend import (
    STATUS_WORDS,
    STEP_KINDS,
    STEP_NAMES,
    Mark,
    Roster,
    Step,
    StepState,
    Verdict,
    WeekendState,
    check_step,
    weekend_state,
)


class SignOff(Revisions):
    """The steps of the sign-off. Each names the revision it is about: if another is there by then, it is refused."""

    def state(self, weekend: str) -> WeekendState:
        """Return where both steps of a weekend stand."""
        with self._journal.reading() as store:
            return _state(store, weekend)

    def states(self) -> tuple[WeekendState, ...]:
        """Return where every weekend stands whose sign-off has begun, in order of its first step."""
        with self._journal.reading() as store:
            found = store.records(STEP_KINDS)
        weekends = dict.fromkeys(weekend for record in found for weekend in record.weekends)
        return tuple(weekend_state(w, (record for record in found if w in record.weekends)) for w in weekends)

    def deadline(self, season: Season, weekend: str, step: Step) -> datetime | None:
        """Return when a step should be signed: as set for this weekend, else as the season's routine says."""
        return self.state(weekend)[step].deadline or self._routine.deadline(season, weekend, step)

    def set_deadline(self, weekend: str, step: Step, deadline: datetime, *, by: User, now: datetime) -> Record:
        """Set when a step should be signed. A signature after it is possible, and shows on every sheet."""
        check_step(step)
        self._require(by, ("coach", "signer"), "setting a deadline")
        with self._journal.writing() as store:
            body = {"step": step, "deadline": utc_text(deadline)}
            return store.append("deadline", body, by=by, now=now, weekends=(weekend,))

    def propose(self, roster: Roster, *, by: User, now: datetime) -> Record:
        """Put the newest revision of a weekend forward for signature.

        Raises
        ------
        NotAllowed
            When the user is no coach, or this revision is proposed or signed already.
        StoreError
            When the revision is not about this weekend, or a newer one exists.
        """
        self._require(by, ("coach",), "proposing a roster")
        with self._journal.writing() as store:
            if roster.weekend not in store.record(roster.revision, "revision").weekends:
                raise StoreError(f"revision {roster.revision} is not about weekend {roster.weekend}")
            check_newest(store, (roster.weekend,), roster.revision)
            state = _state(store, roster.weekend)[roster.step]
            marks = {"proposed": state.proposal, "signed": state.signature, "in force on site": state.amendment}
            for word, mark in marks.items():
                if mark and mark.revision == roster.revision:
                    raise NotAllowed(f"{roster} is {word} already")
            return _append(store, "proposed", roster, by, now)

    def review(
        self, roster: Roster, car: str, verdict: Verdict, *, by: User, now: datetime, reason: str = ""
    ) -> Record:
        """Record a crew chief's word on the roster of a car: `acknowledged`, or `objected` with a reason.

        Raises
        ------
        NotAllowed
            When the user is not this car's crew chief, or the roster is not the one to look at now.
        """
        if verdict not in ("acknowledged", "objected"):
            raise StoreError(f"a review is acknowledged or objected, not {verdict!r}")
        self._require(by, ("crew_chief",), "reviewing a crew", frozenset({car}))
        if verdict == "objected":
            reason = clean(reason, "an objection needs a reason")
        with self._journal.writing() as store:
            state = _state(store, roster.weekend)[roster.step]
            _require_revision(roster, state, state.newest, "to review")
            cars = {a.car for a in read_plan(store, roster.revision).assignments}
            if car not in cars:
                raise StoreError(
                    f"car {car!r} has no crew in revision {roster.revision}; it has {', '.join(sorted(cars))}"
                )
            return _append(store, verdict, roster, by, now, car=car, reason=reason)

    def checklist(self, roster: Roster, season: Season, audit: Auditor, *, now: datetime) -> Checklist:
        """Return what the signer must know before signing, or ratifying, this roster."""
        found = audit(season, self.plan(roster.revision))
        with self._journal.reading() as store:
            return self._checklist(store, roster, season, found, now)

    def sign(
        self, roster: Roster, season: Season, audit: Auditor, acknowledged: Collection[str], *, by: User, now: datetime
    ) -> Record:
        """Sign a proposed roster; `acknowledged` holds the ids of the checklist's items.

        `audit` is called with the season and the revision's plan.

        Raises
        ------
        NotAllowed
            When the user is no signer or made the proposal himself, when the audit or a change of the inputs
            stands against it, or an item was not acknowledged.
        StoreError
            When another revision is proposed by now, or the store's history is damaged.
        """
        return self._approve("signed", roster, season, audit, acknowledged, by, now)

    def ratify(
        self, roster: Roster, season: Season, audit: Auditor, acknowledged: Collection[str], *, by: User, now: datetime
    ) -> Record:
        """Ratify an amendment that is in force on site; raises like `sign`."""
        return self._approve("ratified", roster, season, audit, acknowledged, by, now)

    def withdraw(self, roster: Roster, *, reason: str, by: User, now: datetime) -> Record:
        """Take back a proposal (coach or signer), a signature or an amendment that was not ratified (signer).

        Raises
        ------
        NotAllowed
            When the role is missing, nothing of this revision stands, or the starting crews rest on this travel list.
        """
        reason = clean(reason, "taking a step back needs a reason")
        with self._journal.writing() as store:
            states = _state(store, roster.weekend)
            state = states[roster.step]
            marks = {"amendment": state.amendment, "proposal": state.proposal, "signature": state.signature}
            what = next((name for name, mark in marks.items() if mark and mark.revision == roster.revision), None)
            if what is None:
                raise NotAllowed(f"{roster}: nothing to take back, the step is {STATUS_WORDS[state.status]}")
            self._require(by, ("coach", "signer") if what == "proposal" else ("signer",), f"taking back the {what}")
            if what == "signature" and roster.step == "travel_list" and states["starting_crews"].in_force:
                raise NotAllowed("the signed starting crews rest on this travel list: take them back first")
            return _append(store, "withdrawn", roster, by, now, what=what, reason=reason)

    def amend(
        self, roster: Roster, plan: Plan, season: Season, audit: Auditor, *, reason: str, by: User, now: datetime
    ) -> Revision:
        """Change the roster in force on site, at once; a signer ratifies it later.

        `roster` names the revision in force that `plan` changes. A crew chief may change the crews of his own cars.

        Raises
        ------
        NotAllowed
            When nothing is in force, the plan changes another weekend or nothing, or puts somebody into a seat
            who has no clearance for it or is unavailable.
        """
        reason = clean(reason, "an amendment on site needs a reason")
        found = audit(season, plan)
        breaches = [f"{c.rule}: {c.text}" for c in found.checks if not c.kept and not c.priced]
        with self._journal.writing() as store:
            state = _state(store, roster.weekend)[roster.step]
            if state.in_force is None:
                raise NotAllowed(
                    f"the {STEP_NAMES[roster.step]} of weekend {roster.weekend} is not signed: propose it instead"
                )
            if state.in_force != roster.revision:
                raise StoreError(
                    f"revision {state.in_force} is in force by now, not {roster.revision}: look at it first"
                )
            cars = _amended_cars(season, roster, read_plan(store, roster.revision), plan)
            chief: tuple[Role, ...] = ("crew_chief",) if roster.step == "starting_crews" else ()
            self._require(by, ("coach", "signer", *chief), "an amendment on site", cars)
            plan = plan.replace(fingerprints=season.fingerprints)
            revision = keep(store, plan, season, reason=reason, by=by, now=now, parent=roster.revision)
            amended = Roster(roster.weekend, roster.step, revision.number)
            _append(store, "amended", amended, by, now, reason=reason, breaches=breaches)
            return revision

    def _approve(
        self,
        kind: str,
        roster: Roster,
        season: Season,
        audit: Auditor,
        acknowledged: Collection[str],
        by: User,
        now: datetime,
    ) -> Record:
        verb = "signing" if kind == "signed" else "ratifying"
        self._require(by, ("signer",), verb)
        found = audit(season, self.plan(roster.revision))  # before the transaction: it takes its time
        with self._journal.writing() as store:
            state = _state(store, roster.weekend)[roster.step]
            mark = state.proposal if kind == "signed" else state.amendment
            _require_revision(roster, state, mark, "to sign" if kind == "signed" else "to ratify")
            revision = to_revision(store.record(roster.revision, "revision"))
            self._require_second_person(by, mark, revision, verb)
            told = self._checklist(store, roster, season, found, now)
            told.require(acknowledged, f"{verb} {roster}")
            damage = store.verify()
            if not damage.ok:
                raise StoreError(f"nothing is signed on a damaged history: {damage.problem}")
            items = [{"kind": item.kind, "text": item.text} for item in told.items]
            late = any(item.kind == "late" for item in told.items)
            facts = {"items": items, "warnings": list(told.warnings), "late": late, "roster_hash": revision.hash}
            return _append(store, kind, roster, by, now, **facts)

    def _require_second_person(self, by: User, mark: Mark | None, revision: Revision, verb: str) -> None:
        makers = {revision.author.casefold()} | ({mark.by.casefold()} if mark else set())
        if self._people is not None and by.id.casefold() in makers:
            raise NotAllowed(f"{by.id} made or proposed this roster: {verb} it takes a second person")

    def _checklist(self, store: Reader, roster: Roster, season: Season, audit: AuditResult, now: datetime) -> Checklist:
        states = _state(store, roster.weekend)
        state = states[roster.step]
        revision = to_revision(store.record(roster.revision, "revision"))
        listed = states["travel_list"].in_force
        crews = roster.step == "starting_crews"
        subject = Subject(
            weekend=roster.weekend,
            state=state,
            plan=read_plan(store, roster.revision),
            pins=revision.pins,
            fingerprints=revision.fingerprints,
            earlier=read_plan(store, state.signature.revision) if state.signature else None,
            travel_list=read_plan(store, listed) if crews and listed else None,
            deadline=state.deadline or self._routine.deadline(season, roster.weekend, roster.step),
            blocks=("the travel list is not signed yet",) if crews and not listed else (),
        )
        ratifies = state.amendment is not None and state.amendment.revision == roster.revision
        return checklist(season, subject, audit, now, after_the_fact=ratifies)


def _state(store: Reader, weekend: str) -> WeekendState:
    return weekend_state(weekend, store.records(STEP_KINDS, weekend))


def _append(store: Writer, kind: str, roster: Roster, by: User, now: datetime, **more: Any) -> Record:
    body = {"step": roster.step, "revision": roster.revision, **more}
    return store.append(kind, body, by=by, now=now, weekends=(roster.weekend,))


def _require_revision(roster: Roster, state: StepState, mark: Mark | None, what: str) -> None:
    if mark is None:
        raise NotAllowed(f"{roster}: there is nothing {what}, the step is {STATUS_WORDS[state.status]}")
    if mark.revision != roster.revision:
        raise StoreError(
            f"weekend {roster.weekend} has changed: the revision {what} is {mark.revision} now, by {mark.by}, "
            f"not {roster.revision}. Nothing was written: look at it first"
        )


def _amended_cars(season: Season, roster: Roster, before: Plan, after: Plan) -> frozenset[str]:
    """Return the cars an amendment touches, after refusing what an amendment may not do."""
    seats, trips = seat_changes(before, after), trip_changes(before, after)
    if not seats and not trips:
        raise NotAllowed("the amendment changes nothing")
    touched = {change.seat.race for change in seats} | {change.race for change in trips}
    elsewhere = sorted(touched - races_of(season, roster.weekend))
    if elsewhere:
        names = ", ".join(label(season, "races", race) for race in elsewhere)
        raise NotAllowed(f"an amendment on site changes its own weekend only, not {names}: propose that instead")
    wrong = list(unfit(season, seats))
    if wrong:
        raise NotAllowed(f"not even on site: {'; '.join(wrong)}")
    return frozenset(change.seat.car for change in seats)
