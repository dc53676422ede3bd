"""Signs and ratifies rosters, after everything the signer must know was checked and acknowledged."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from lineup.errors import NotAllowed, StoreError
from lineup.season import Season
from lineup.store.checklist import Auditor, AuditResult, Checklist, Subject, checklist
from lineup.store.journal import Reader
from lineup.store.people import User
from lineup.store.record import Record
from lineup.store.revisions import Revision, Revisions, read_plan, to_revision
from lineup.store.steps import append_step, read_state, require_revision
from lineup.store.weekend import STEP_KINDS, Mark, Roster, Step, WeekendState, weekend_state


class Approval(Revisions):
    """What a signer does with the rosters of a store."""

    def state(self, weekend: str) -> WeekendState:
        """Return where both steps of a weekend stand."""
        with self._journal.reading() as store:
            return read_state(store, weekend)

    def states(self) -> tuple[WeekendState, ...]:
        """Return where every weekend stands whose sign-off has begun, in order of its first step."""
        with self._journal.reading() as store:
            found = store.records(STEP_KINDS)
        weekends = dict.fromkeys(weekend for record in found for weekend in record.weekends)
        return tuple(weekend_state(w, (record for record in found if w in record.weekends)) for w in weekends)

    def deadline(self, season: Season, weekend: str, step: Step) -> datetime | None:
        """Return when a step should be signed: as set for this weekend, else as the season's routine says."""
        return self.state(weekend)[step].deadline or self._routine.deadline(season, weekend, step)

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
        """Ratify an amendment that is in force at the track; raises like `sign`."""
        return self._approve("ratified", roster, season, audit, acknowledged, by, now)

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
            state = read_state(store, roster.weekend)[roster.step]
            mark = state.proposal if kind == "signed" else state.amendment
            require_revision(roster, state, mark, "to sign" if kind == "signed" else "to ratify")
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
            return append_step(store, kind, roster, by, now, **facts)

    def _require_second_person(self, by: User, mark: Mark | None, revision: Revision, verb: str) -> None:
        makers = {revision.author.casefold()} | ({mark.by.casefold()} if mark else set())
        if self._people is not None and by.id.casefold() in makers:
            raise NotAllowed(f"{by.id} made or proposed this roster: {verb} it takes a second person")

    def _checklist(self, store: Reader, roster: Roster, season: Season, audit: AuditResult, now: datetime) -> Checklist:
        states = read_state(store, roster.weekend)
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
