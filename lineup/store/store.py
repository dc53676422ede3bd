"""A store: everything that was decided about a season's rosters, in one place that only grows."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import TracebackType
from typing import Self

from lineup.errors import NotAllowed
from lineup.plan import Assignment, Plan, Reserve
from lineup.report.stamp import Paper, Papers, Stamp
from lineup.season import Season
from lineup.store.changes import races_of
from lineup.store.history import HistoryLine, history_line
from lineup.store.journal import Journal
from lineup.store.notes import Notes
from lineup.store.people import People
from lineup.store.record import Record, Verification
from lineup.store.reminders import Routine
from lineup.store.revisions import read_plan
from lineup.store.signoff import SignOff
from lineup.store.weekend import (
    STATUS_WORDS,
    STEP_KINDS,
    STEP_NAMES,
    Mark,
    Step,
    StepState,
    check_step,
    weekend_state,
)


class Store(SignOff, Notes):
    """Revisions, sign-off, pins, drills and reminders of one season. Safe to share between threads."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of every connection."""
        self._journal.close()

    @property
    def where(self) -> str:
        """How messages name the store; a password is left out."""
        return self._journal.where

    def head(self) -> tuple[int, str]:
        """Return number and hash of the newest record; 0 and zeros in an empty store."""
        with self._journal.reading() as store:
            return store.head()

    def history(self, weekend: str | None = None) -> tuple[HistoryLine, ...]:
        """Return everything that happened, oldest first, each in one sentence; about one weekend where asked."""
        with self._journal.reading() as store:
            return tuple(history_line(record) for record in store.records(weekend=weekend))

    def verify(self, printed: str = "") -> Verification:
        """Walk along the chain of hashes and name the first record that is not as it was written.

        `printed` is the check code that a sheet shows (its first 12 hex digits are enough): a chain that was
        rewritten as a whole no longer holds it.
        """
        with self._journal.reading() as store:
            return store.verify(printed)

    def key(self) -> str:
        """Return the hash of the first record: it names this store in the UIDs of calendars. Empty store: ""."""
        with self._journal.reading() as store:
            first = store.records()[:1]
        return first[0].hash if first else ""

    def in_force(self, season: Season) -> Plan:
        """Return what holds now, weekend by weekend: the starting crews in force, with their reserves."""
        assignments: list[Assignment] = []
        reserves: list[Reserve] = []
        weekends = []
        for state in self.states():
            number = state["starting_crews"].in_force
            if number is not None:
                races, plan = races_of(season, state.weekend), self.plan(number)
                assignments += [a for a in plan.assignments if a.race in races]
                reserves += [r for r in plan.reserves if r.race in races]
                weekends.append(state.weekend)
        return Plan("best_so_far", tuple(assignments), tuple(reserves), weekends=tuple(weekends))

    def given_out(self) -> tuple[Plan, ...]:
        """Return every plan that was in force for a weekend at some time, oldest first: calendars cancel from them."""
        with self._journal.reading() as store:
            numbers = dict.fromkeys(r.body["revision"] for r in store.records(("signed", "amended", "ratified")))
            return tuple(read_plan(store, number) for number in numbers)

    def paper(self, weekend: str, step: Step = "starting_crews") -> Paper:
        """Return what documents of a weekend show: the amendment at the track, the proposal, else the signed roster.

        Raises
        ------
        NotAllowed
            When nothing was proposed for this step.
        """
        check_step(step)
        with self._journal.reading() as store:
            records = store.records(STEP_KINDS, weekend)
            state = weekend_state(weekend, records)[step]
            if state.newest is None:
                raise NotAllowed(f"nobody proposed the {STEP_NAMES[step]} of weekend {weekend} yet: nothing to print")
            number, head = store.head()
            before = _signed_before(records, step, state.newest)
            return Paper(
                plan=read_plan(store, state.newest.revision),
                stamp=self._stamp(state, records, head=(number, head), weekend=weekend),
                earlier=read_plan(store, before) if before else None,
            )

    def papers(self, weekend: str) -> Papers:
        """Return both steps of a weekend as documents show them; NotAllowed when neither was proposed."""
        state = self.state(weekend)
        crews, travel = state["starting_crews"].newest, state["travel_list"].newest
        if crews is None and travel is None:
            raise NotAllowed(f"nothing was proposed for weekend {weekend} yet: nothing to print. Propose its roster")
        return Papers(
            crews=None if crews is None else self.paper(weekend),
            travel=None if travel is None else self.paper(weekend, "travel_list"),
        )

    def _stamp(self, state: StepState, records: tuple[Record, ...], head: tuple[int, str], weekend: str) -> Stamp:
        newest, signature, amendment = state.newest, state.signature, state.amendment
        signed = newest is not None and newest == signature
        stamp = Stamp(
            step=STEP_NAMES[state.step],
            words=STATUS_WORDS[state.status],
            revision=newest.revision if newest else None,
            head_number=head[0],
            head=head[1],
            proposed_by=self._proposer(records, state),
            authenticated=bool(newest and newest.authenticated),
            amended_by=self.name_of(amendment.by) if amendment else "",
            reviews={car: f"{r.verdict} by {self.name_of(r.mark.by)}" for car, r in state.reviews.items()},
            reminders=tuple((tick.reminder.text, tick.by is not None) for tick in self.ticks(weekend, state.step)),
        )
        if not (signed and signature):
            return stamp
        name = self.name_of(signature.by)
        return replace(stamp, signed=True, signed_by=name, signed_at=signature.at, late=signature.late)

    def _proposer(self, records: tuple[Record, ...], state: StepState) -> str:
        """Return who put the newest revision forward, or amended it at the track."""
        kinds = ("proposed", "amended")
        steps = [r for r in records if r.kind in kinds and r.body["step"] == state.step]
        made = [r.author for r in steps if state.newest and r.body["revision"] == state.newest.revision]
        return self.name_of(made[-1]) if made else ""


def _signed_before(records: tuple[Record, ...], step: Step, mark: Mark) -> int | None:
    """Return the revision that was signed last before `mark`, other than its own."""
    signed = [r for r in records if r.kind in ("signed", "ratified") and r.body["step"] == step]
    earlier = [r.body["revision"] for r in signed if r.number < mark.record and r.body["revision"] != mark.revision]
    return earlier[-1] if earlier else None


def open_store(where: str | Path, people: People | None = None, routine: Routine | None = None) -> Store:
    """Open a store, making or upgrading it where needed.

    Parameters
    ----------
    where : path of a SQLite file, or a URL (`postgresql://user@host/database`).
    people : roles from `read_people`; None: one local user may do all, unauthenticated.
    routine : deadlines and reminders from `read_routine`.

    Raises
    ------
    StoreError
        When it cannot be opened, or was written by a newer version.
    """
    return Store(Journal(where), people, routine)


def default_store(season: Path | str) -> Path:
    """Return where a season's store lies unless another place is named: a file beside the season folder."""
    folder = Path(season).absolute()
    return folder.with_name(f"{folder.name}.store.db")
