"""Where the sign-off of one weekend stands: a replay of its records."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, Final, Literal, get_args

from lineup.errors import InputError
from lineup.store.record import Record

Step = Literal["travel_list", "starting_crews"]
STEPS: Final[tuple[Step, ...]] = get_args(Step)
STEP_NAMES: Final[Mapping[str, str]] = {"travel_list": "travel list", "starting_crews": "starting crews"}
Status = Literal["open", "proposed", "signed", "amended", "withdrawn"]
STATUS_WORDS: Final[Mapping[str, str]] = {
    "open": "not proposed yet",
    "proposed": "proposed, not signed",
    "signed": "signed",
    "amended": "amended at the track, not ratified yet",
    "withdrawn": "withdrawn",
}
Verdict = Literal["acknowledged", "objected"]
VERDICTS: Final[tuple[Verdict, ...]] = get_args(Verdict)

# kinds of record that move the sign-off of a weekend
STEP_KINDS: Final = (
    "proposed",
    "acknowledged",
    "objected",
    "signed",
    "amended",
    "ratified",
    "withdrawn",
    "deadline",
)


@dataclass(frozen=True, slots=True)
class Roster:
    """A revision as the roster of one weekend at one step: what people propose, review and sign."""

    weekend: str
    step: Step
    revision: int

    def __post_init__(self) -> None:
        check_step(self.step)

    def __str__(self) -> str:
        return f"the {STEP_NAMES[self.step]} of weekend {self.weekend}, revision {self.revision}"


@dataclass(frozen=True, slots=True)
class Mark:
    """Somebody's step on a revision: which record, by whom, when (aware, UTC) and why."""

    revision: int
    record: int
    by: str
    authenticated: bool
    at: datetime
    reason: str = ""
    late: bool = False
    hash: str = ""


@dataclass(frozen=True, slots=True)
class Review:
    """A crew chief's word on the proposed or signed roster of a car."""

    car: str
    verdict: Verdict
    mark: Mark


@dataclass(frozen=True, slots=True)
class StepState:
    """Where one step stands. `proposal` waits for the signer; `amendment` is in force and waits to be ratified."""

    step: Step
    proposal: Mark | None = None
    reviews: Mapping[str, Review] = field(default_factory=dict)
    signature: Mark | None = None
    amendment: Mark | None = None
    withdrawn: Mark | None = None
    deadline: datetime | None = None

    @property
    def status(self) -> Status:
        """The step in one word; an amendment that is not ratified comes first, then a proposal that waits."""
        if self.amendment:
            return "amended"
        if self.proposal:
            return "proposed"
        if self.signature:
            return "signed"
        return "withdrawn" if self.withdrawn else "open"

    @property
    def in_force(self) -> int | None:
        """The revision that holds now: the amendment at the track, else what was signed."""
        mark = self.amendment or self.signature
        return mark.revision if mark else None

    @property
    def newest(self) -> Mark | None:
        """What a reader should look at: the amendment, the proposal that waits, else the signature."""
        return self.amendment or self.proposal or self.signature


@dataclass(frozen=True, slots=True)
class WeekendState:
    """Both steps of one weekend."""

    weekend: str
    steps: Mapping[str, StepState]

    def __getitem__(self, step: Step) -> StepState:
        return self.steps[step]


def check_step(step: str) -> None:
    """Refuse a step that does not exist with one clear line."""
    if step not in STEPS:
        raise InputError(f"the step is one of {' or '.join(STEPS)}, not {step!r}")


def weekend_state(weekend: str, records: Iterable[Record]) -> WeekendState:
    """Replay the records of a weekend, in order."""
    steps: dict[str, StepState] = {step: StepState(step) for step in STEPS}
    for record in records:
        step = record.body.get("step")
        if record.kind in STEP_KINDS and step in STEPS:
            steps[step] = _after(steps[step], record)
    return WeekendState(weekend, steps)


def _after(state: StepState, record: Record) -> StepState:
    mark = _mark(record)
    match record.kind:
        case "proposed":
            return replace(state, proposal=mark, reviews={})
        case "acknowledged" | "objected":
            review = Review(record.body["car"], record.kind, mark)
            return replace(state, reviews={**state.reviews, review.car: review})
        case "signed":
            return replace(state, signature=mark, proposal=None, amendment=None, withdrawn=None)
        case "amended":
            return replace(state, amendment=mark, proposal=None, reviews={})
        case "ratified":
            return replace(state, signature=mark, amendment=None)
        case "withdrawn":
            gone: dict[str, Any] = {record.body["what"]: None}
            return replace(state, withdrawn=mark, **gone)
        case _:
            return replace(state, deadline=datetime.fromisoformat(record.body["deadline"]))


def _mark(record: Record) -> Mark:
    return Mark(
        revision=record.body.get("revision", 0),
        record=record.number,
        by=record.author,
        authenticated=record.authenticated,
        at=record.at,
        reason=record.body.get("reason", ""),
        late=record.body.get("late", False),
        hash=record.hash,
    )
