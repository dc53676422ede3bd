"""Why this athlete has this seat: for everyone else who could, one honest reason, each priced directly."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal

from lineup.eligibility import refusals
from lineup.errors import InputError
from lineup.explain import mends, words
from lineup.explain.change import Change, Lineup, Moves
from lineup.explain.swaps import chance_quicker, new_chances
from lineup.explain.ways import best_lawful, ways_into, with_one_more
from lineup.plan import Plan
from lineup.rules import Breach
from lineup.season import Seat
from lineup.stop_model.crew_chance import CrewChances
from lineup.study import Study

TIE_S = words.NOTHING_S  # weighted seconds below which two lineups are called level
ReasonKind = Literal["better", "tie", "slower", "needed_elsewhere", "not_worth_it", "not_allowed"]
_ORDER: dict[ReasonKind, int] = {
    "better": 0, "tie": 1, "not_worth_it": 2, "slower": 3, "needed_elsewhere": 4, "not_allowed": 5,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Reason:
    """Why one other athlete does not have the seat.

    Attributes
    ----------
    kind : "better" and "tie" say that there is no good reason; of the cost of the cheapest way, the largest part
        is lost here ("slower"), in other stops ("needed_elsewhere") or in other costs ("not_worth_it");
        "not_allowed": a fact forbids it, or each way that was tried breaks a rule.
    cost_s : weighted seconds that the cheapest way to seat this athlete costs the plan; `None` where none is allowed.
    here_s, elsewhere_s : parts of it: stops of this car in this race, stops of other crews.
    per_stop_s : seconds that an average stop of the car becomes longer by, that way.
    chance_slower : that the stop really becomes longer.
    moves : the cheapest way, as direct evaluation found it.
    rules : rules that forbid it.
    """

    athlete: str
    kind: ReasonKind
    text: str
    cost_s: float | None = None
    here_s: float | None = None
    elsewhere_s: float | None = None
    per_stop_s: float | None = None
    chance_slower: float | None = None
    moves: Moves = ()
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
    ways = ways_into(study, lineup, seat)
    others = [athlete for athlete in study.problem.cleared[seat] if athlete != starter]
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
    season = study.season
    forbidden = refusals(season, athlete, seat)
    if forbidden:
        breaches = [
            Breach(v.rule or "", athlete, *_of(seat), v.figure or 0.0, v.limit or 0.0, v.text) for v in forbidden
        ]
        rules = tuple(v.rule for v in forbidden if v.rule)
        return Reason(athlete, "not_allowed", _sentence(mends.reasons(season, breaches)), rules=rules)
    ways = [lineup.change(moves) for moves in found]
    best = best_lawful(ways) or with_one_more(study, lineup, ways)
    if best is None:
        return _blocked(study, athlete, ways)
    return _priced(study, lineup, chances, seat, athlete, best)


def _of(seat: Seat) -> tuple[str, str, str]:
    return seat.race, seat.car, seat.position


def _sentence(parts: tuple[str, ...]) -> str:
    return " ".join(f"{part}." for part in parts)


def _blocked(study: Study, athlete: str, ways: list[Change]) -> Reason:
    """Everyone of these ways breaks a hard rule: name the rules of the way that breaks fewest."""
    who = words.name(study.season, athlete)
    if not ways:
        return Reason(athlete, "not_allowed", f"No way was found to bring {who} into this seat: others may not move.")
    nearest = min(ways, key=lambda change: (len(change.breaches), -change.gain_s))
    rules = tuple(dict.fromkeys(breach.rule for breach in nearest.breaches))
    text = f"With {who} in this seat: {_sentence(mends.reasons(study.season, nearest.breaches))}"
    return Reason(athlete, "not_allowed", text, moves=nearest.moves, rules=rules)


def _priced(study: Study, lineup: Lineup, chances: CrewChances, seat: Seat, athlete: str, best: Change) -> Reason:
    pricer, entry = study.pricer, seat.entry
    cost = -best.gain_s
    lost = {e: pricer.entry_value(e, crew) - pricer.entry_value(e, best.before[e]) for e, crew in best.after.items()}
    here, elsewhere = lost[entry], sum(lost.values()) - lost[entry]
    count = pricer.priority[seat.car] * sum(n for _, n in pricer.services(seat.race))
    slower = 1 - chance_quicker(lineup, chances, entry, best.before[entry], best.after[entry])
    parts: dict[ReasonKind, float] = {
        "slower": here, "needed_elsewhere": elsewhere, "not_worth_it": cost - here - elsewhere,
    }  # fmt: skip
    largest = max(parts, key=lambda kind: parts[kind])
    kind: ReasonKind = "better" if cost < -TIE_S else "tie" if cost <= TIE_S else largest
    per_stop = here / count if count else 0.0
    costs = pricer.costs(lineup.crews), pricer.costs({**lineup.crews, **best.after})
    text = _text(study, kind, best, per_stop, slower, elsewhere, words.cost_changes(*costs))
    return Reason(athlete, kind, text, cost, here, elsewhere, per_stop, slower, best.moves)


def _text(
    study: Study, kind: ReasonKind, best: Change, per_stop: float, slower: float, elsewhere: float, costs: str
) -> str:
    steps, price = words.moves(study.season, best.moves), words.costs(-best.gain_s)
    if kind == "better":
        return f"No good reason: {steps}; that {price}. The search has not got to it yet."
    if kind == "tie":
        return f"Level with the choice made: {steps}; that costs the plan nothing."
    pace = words.pace(per_stop, slower)
    if kind == "needed_elsewhere":
        return f"Needed more elsewhere: {steps}; {pace}, other crews lose {words.seconds(elsewhere)}: it {price}."
    how = "" if len(best.moves) <= 2 else f" ({steps})"
    if kind == "slower":
        return f"{_upper(pace)}; the change{how} {price}."
    return f"{_upper(pace)}, but not worth the change{how}, which {price} once {costs} are counted."


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]


def _headline(study: Study, seat: Seat, starter: str | None, reasons: list[Reason]) -> str:
    season = study.season
    where = words.place(season, seat)
    if starter is None:
        return f"Nobody works {where}."
    who = words.name(season, starter)
    open_ways = [r for r in reasons if r.cost_s is not None]
    if not open_ways:
        forbidden = all(refusals(season, r.athlete, seat) for r in reasons)
        rest = "nobody else may" if forbidden else "nobody else can without moving more people or breaking a rule"
        return f"{who} works {where}: {rest}."
    nearest = min(open_ways, key=lambda r: r.cost_s or 0.0)
    other = words.name(season, nearest.athlete)
    if nearest.kind == "better":
        return f"{who} works {where}, but {other} would be better."
    if nearest.kind == "tie":
        return f"{who} works {where}; {other} would do as well."
    return f"{who} works {where}: the nearest other choice, {other}, {words.costs(nearest.cost_s or 0.0)}."
