"""Carries a weekend's roster from proposal to signature, in two steps: the travel list, then the starting crews."""

from __future__ import annotations

from datetime import datetime

from lineup.errors import NotAllowed, StoreError
from lineup.plan import Plan
from lineup.plan_changes import seat_changes
from lineup.season import Season
from lineup.store.approval import Approval
from lineup.store.changes import label, races_of, trip_changes
from lineup.store.checklist import Auditor, breaches
from lineup.store.fitness import unfit
from lineup.store.people import Role, User
from lineup.store.record import Record, utc_text
from lineup.store.revisions import Revision, check_newest, clean, keep, read_plan
from lineup.store.steps import append_step, read_state, require_revision
from lineup.store.weekend import (
    STATUS_WORDS,
    STEP_NAMES,
    VERDICTS,
    Roster,
    Step,
    Verdict,
    check_step,
)


class SignOff(Approval):
    """The steps of the sign-off. Each names the revision it is about: if another is there by then, it is refused."""

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
            state = read_state(store, roster.weekend)[roster.step]
            marks = {"proposed": state.proposal, "signed": state.signature, "in force at the track": state.amendment}
            for word, mark in marks.items():
                if mark and mark.revision == roster.revision:
                    raise NotAllowed(f"{roster} is {word} already")
            return append_step(store, "proposed", roster, by, now)

    def review(
        self, roster: Roster, car: str, verdict: Verdict, *, by: User, now: datetime, reason: str = ""
    ) -> Record:
        """Record a crew chief's word on the roster of a car: `acknowledged`, or `objected` with a reason.

        Raises
        ------
        NotAllowed
            When the user is not this car's crew chief, or the roster is not the one to look at now.
        """
        if verdict not in VERDICTS:
            raise StoreError(f"a review is {' or '.join(VERDICTS)}, not {verdict!r}")
        self._require(by, ("crew_chief",), "reviewing a crew", frozenset({car}))
        if verdict == "objected":
            reason = clean(reason, "an objection needs a reason")
        with self._journal.writing() as store:
            state = read_state(store, roster.weekend)[roster.step]
            require_revision(roster, state, state.newest, "to review")
            cars = {a.car for a in read_plan(store, roster.revision).assignments}
            if car not in cars:
                raise StoreError(
                    f"car {car!r} has no crew in revision {roster.revision}; it has {', '.join(sorted(cars))}"
                )
            return append_step(store, verdict, roster, by, now, car=car, reason=reason)

    def withdraw(self, roster: Roster, *, reason: str, by: User, now: datetime) -> Record:
        """Take back a proposal (coach or signer), a signature or an amendment that was not ratified (signer).

        Raises
        ------
        NotAllowed
            When the role is missing, nothing of this revision stands, or the starting crews rest on this travel list.
        """
        reason = clean(reason, "taking a step back needs a reason")
        with self._journal.writing() as store:
            states = read_state(store, roster.weekend)
            state = states[roster.step]
            marks = {"amendment": state.amendment, "proposal": state.proposal, "signature": state.signature}
            what = next((name for name, mark in marks.items() if mark and mark.revision == roster.revision), None)
            if what is None:
                raise NotAllowed(f"{roster}: nothing to take back, the step is {STATUS_WORDS[state.status]}")
            self._require(by, ("coach", "signer") if what == "proposal" else ("signer",), f"taking back the {what}")
            if what == "signature" and roster.step == "travel_list" and states["starting_crews"].in_force:
                raise NotAllowed("the signed starting crews rest on this travel list: take them back first")
            return append_step(store, "withdrawn", roster, by, now, what=what, reason=reason)

    def amend(
        self, roster: Roster, plan: Plan, season: Season, audit: Auditor, *, reason: str, by: User, now: datetime
    ) -> Revision:
        """Change the roster in force at the track, at once; a signer ratifies it later.

        `roster` names the revision in force that `plan` changes. A crew chief may change the crews of the own cars.

        Raises
        ------
        NotAllowed
            When nothing is in force, the plan changes another weekend or nothing, or puts somebody into a seat
            who has no clearance for it or is unavailable.
        """
        reason = clean(reason, "an amendment at the track needs a reason")
        found = audit(season, plan)
        with self._journal.writing() as store:
            state = read_state(store, roster.weekend)[roster.step]
            if state.in_force is None:
                raise NotAllowed(
                    f"no {STEP_NAMES[roster.step]} of weekend {roster.weekend} is in force: propose one instead"
                )
            if state.in_force != roster.revision:
                raise StoreError(
                    f"revision {state.in_force} is in force by now, not {roster.revision}: look at it first"
                )
            cars = _amended_cars(season, roster, read_plan(store, roster.revision), plan)
            chief: tuple[Role, ...] = ("crew_chief",) if roster.step == "starting_crews" else ()
            self._require(by, ("coach", "signer", *chief), "an amendment at the track", cars)
            plan = plan.replace(fingerprints=season.fingerprints)
            revision = keep(store, plan, season, reason=reason, by=by, now=now, parent=roster.revision)
            amended = Roster(roster.weekend, roster.step, revision.number)
            append_step(store, "amended", amended, by, now, reason=reason, breaches=breaches(found))
            return revision


def _amended_cars(season: Season, roster: Roster, before: Plan, after: Plan) -> frozenset[str]:
    """Return the cars an amendment touches, after refusing what an amendment may not do."""
    seats, trips = seat_changes(before, after), trip_changes(before, after)
    if not seats and not trips:
        raise NotAllowed("the amendment changes nothing")
    touched = {change.seat.race for change in seats} | {change.race for change in trips}
    elsewhere = sorted(touched - races_of(season, roster.weekend))
    if elsewhere:
        names = ", ".join(label(season, "races", race) for race in elsewhere)
        raise NotAllowed(f"an amendment at the track changes its own weekend only, not {names}: propose that instead")
    wrong = list(unfit(season, seats))
    if wrong:
        raise NotAllowed(f"not even at the track: {'; '.join(wrong)}")
    return frozenset(change.seat.car for change in seats)
