"""Why this athlete has this seat: for everyone else who could, one honest reason, each priced directly."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

from lineup.crew_chance import CrewChances
from lineup.eligibility import refusals
from lineup.errors import InputError
from lineup.explain import words
from lineup.explain.change import Change, Lineup, Moves
from lineup.explain.swaps import chance_real, new_chances, ways_into
from lineup.plan import Plan
from lineup.season import Seat
from lineup.study import Study

TIE_S = 0.005  # weighted seconds below which two lineups are called level
ReasonKind = Literal["better", "tie", "slower", "needed_elsewhere", "not_worth_it", "not_allowed"]
_ORDER: dict[ReasonKind, int] = {
    "better": 0, "tie": 1, "not_worth_it": 2, "slower": 3, "needed_elsewhere": 4, "not_allowed": 5,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Reason:
    """Why one other athlete does not have the seat.

    Attributes
    ----------
    cost_s : weighted seconds that the cheapest way to seat this athlete costs the plan; `None` where none is allowed.
    per_stop_s : seconds that an average stop of the car becomes longer by, that way.
    chance_slower : that the stop really becomes longer.
    moves : the cheapest way, as direct evaluation found it.
    """

    athlete: str
    kind: ReasonKind
    text: str
    cost_s: float | None = None
    per_stop_s: float | None = None
    chance_slower: float | None = None
    moves: tuple[Any, ...] = ()
    rules: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SeatAnswer:
    """The seat explained: who has it, in one sentence, and a reason for everyone else with a clearance."""

    seat: Seat
    athlete: str | None
    text: str
    reasons: tuple[Reason, ...]


def why(study: Study, plan: Plan, seat: Seat) -> SeatAnswer:
    """Explain who has a seat.

    Raises
    ------
    InputError
        When the seat lies outside the plan's block.
    """
    if seat not in study.problem.eligible:
        raise InputError(f"{words.place(study.season, seat)} is not a seat of this block")
    lineup = Lineup(study.pricer, plan)
    chances = new_chances(study)
    starter = plan.athlete_in(seat)
    others = [a for (s, a) in study.problem.verdicts if s == seat and a != starter]
    ways = ways_into(study, lineup, seat)
    reasons = [_reason(study, lineup, chances, seat, athlete, ways.get(athlete, [])) for athlete in others]
    reasons.sort(key=lambda r: (_ORDER[r.kind], r.cost_s if r.cost_s is not None else float("inf"), r.athlete))
    return SeatAnswer(seat, starter, _headline(study, seat, starter, reasons), tuple(reasons))


def answer_to_dict(answer: SeatAnswer) -> dict[str, Any]:
    """Return the JSON form of an explained seat."""
    return {
        **asdict(answer.seat),
        "athlete": answer.athlete,
        "text": answer.text,
        "reasons": [
            {key: value for key, value in asdict(reason).items() if key != "moves"} for reason in answer.reasons
        ],
    }


def _reason(study: Study, lineup: Lineup, chances: CrewChances, seat: Seat, athlete: str, found: list[Moves]) -> Reason:
    who = words.name(study.season, athlete)
    forbidden = refusals(study.season, athlete, seat)
    if forbidden:
        text = "; ".join(verdict.text for verdict in forbidden)
        return Reason(athlete, "not_allowed", f"{text}.", rules=tuple(v.rule for v in forbidden if v.rule))
    ways = [lineup.change(moves) for moves in found]
    legal = [change for change in ways if not change.breaches]
    if not legal:
        return _blocked(who, athlete, ways)
    best = max(legal, key=lambda change: change.gain_s)
    return _priced(study, lineup, chances, seat, athlete, best)


def _blocked(who: str, athlete: str, ways: list[Change]) -> Reason:
    """Everyone of these ways breaks a hard rule: name the rules of the way that breaks fewest."""
    if not ways:
        return Reason(athlete, "not_allowed", f"{who} has no way into this seat.")
    nearest = min(ways, key=lambda change: (len(change.breaches), -change.gain_s))
    texts = list(dict.fromkeys(breach.text for breach in nearest.breaches))
    rules = tuple(dict.fromkeys(breach.rule for breach in nearest.breaches))
    text = f"With {who} in this seat: {'; '.join(texts)}."
    return Reason(athlete, "not_allowed", text, moves=nearest.moves, rules=rules)


def _priced(study: Study, lineup: Lineup, chances: CrewChances, seat: Seat, athlete: str, best: Change) -> Reason:
    season, pricer, entry = study.season, study.pricer, seat.entry
    cost = -best.gain_s
    weight = pricer.priority[seat.car]
    count = sum(n for _, n in pricer.services(seat.race))
    longer = pricer.entry_value(entry, best.after[entry]) - pricer.entry_value(entry, best.before[entry])
    per_stop = longer / weight / count if count else 0.0
    here = Change(best.moves, -longer, {entry: best.before[entry]}, {entry: best.after[entry]}, ())
    slower = 1 - chance_real(lineup, chances, here)
    elsewhere = lineup.seat_of.get((seat.race, athlete))
    facts = (athlete, cost, per_stop, slower, best.moves)
    who = words.name(season, athlete)
    if cost < -TIE_S:
        gain = f"Would save {words.seconds(cost)} of weighted time"
        return _make("better", f"{gain} ({words.moves(season, best.moves)}): the search has not got to it yet.", *facts)
    if cost <= TIE_S:
        return _make("tie", f"Level with the choice made: {words.moves(season, best.moves)} costs nothing.", *facts)
    if elsewhere is not None:
        text = (
            f"{who} is needed more as {words.place(season, elsewhere, race=False)}. Cheapest way here: "
            f"{words.moves(season, best.moves)}; that costs {words.seconds(cost)} of weighted time."
        )
        return _make("needed_elsewhere", text, *facts)
    if per_stop > 0:
        text = (
            f"{words.seconds(per_stop)} a stop slower here, {words.sureness(slower)}; "
            f"{words.seconds(cost)} of weighted time over the block."
        )
        return _make("slower", text, *facts)
    costs = pricer.costs(lineup.crews), pricer.costs({**lineup.crews, **best.after})
    text = (
        f"{words.seconds(per_stop)} a stop quicker here, {words.sureness(1 - slower)}, but the change costs more than "
        f"that brings, {words.seconds(cost)} in all: {words.cost_changes(*costs)}."
    )
    return _make("not_worth_it", text, *facts)


def _make(
    kind: ReasonKind, text: str, athlete: str, cost: float, per_stop: float, slower: float, moves: tuple[Any, ...]
) -> Reason:
    return Reason(athlete, kind, text, cost, per_stop, slower, moves)


def _headline(study: Study, seat: Seat, starter: str | None, reasons: list[Reason]) -> str:
    season = study.season
    where = words.place(season, seat)
    if starter is None:
        return f"Nobody works {where}."
    who = words.name(season, starter)
    open_ways = [r for r in reasons if r.cost_s is not None]
    if not open_ways:
        return f"{who} works {where}: nobody else may."
    nearest = min(open_ways, key=lambda r: r.cost_s or 0.0)
    other = words.name(season, nearest.athlete)
    if nearest.kind == "better":
        return f"{who} works {where}, but {other} would be better."
    if nearest.kind == "tie":
        return f"{who} works {where}; {other} would do as well."
    return (
        f"{who} works {where}: the nearest other choice, {other}, costs the plan "
        f"{words.seconds(nearest.cost_s or 0.0)} of weighted time."
    )
