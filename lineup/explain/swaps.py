"""Next-best swaps: replacements, exchanges and short chains within a race, best first, with what forbids the others."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from lineup.explain.change import Change, Lineup, Moves
from lineup.explain.mends import reasons
from lineup.explain.ways import exchanges, of_seat, replacements
from lineup.plan import Move, Plan
from lineup.plan_file import move_to_dict
from lineup.season import Entry, Seat
from lineup.stop_model.crew_chance import CrewChances, Work, chance_above_zero
from lineup.study import Study
from lineup.tariff import Crew

GUESSES, STOPS_A_GUESS = 256, 32
MOST_FORBIDDEN = 40  # forbidden swaps told of one seat


@dataclass(frozen=True, slots=True)
class Swap:
    """One change of a seat.

    Attributes
    ----------
    gain_s : weighted seconds of the whole plan, everything priced; below zero: the swap costs that much.
    per_stop_s : seconds that an average stop of the seat's car becomes shorter by in this race.
    per_race_s : the same over all its expected stops in the race.
    chance : that the gain is real, given how much the grades tell.
    reasons : why it is not allowed, with what would allow it; empty where it is.
    """

    seat: Seat
    moves: Moves
    gain_s: float
    per_stop_s: float
    per_race_s: float
    chance: float
    allowed: bool
    reasons: tuple[str, ...] = ()


def find_swaps(study: Study, plan: Plan, seat: Seat | None = None, most: int = 25) -> tuple[Swap, ...]:
    """Return the swaps of one seat, or the best of the whole plan, best first and forbidden ones last.

    Parameters
    ----------
    seat : a seat of the plan; `None` looks at single replacements and exchanges of every seat.
    most : how many allowed swaps to return.
    """
    lineup = Lineup(study.pricer, plan)
    chances = new_chances(study)
    if seat is not None:
        return _ranked(lineup, chances, dict.fromkeys(of_seat(study, lineup, seat), seat), most)
    return _ranked(lineup, chances, _of_plan(study, lineup), most, with_forbidden=False)


def new_chances(study: Study) -> CrewChances:
    """Return the comparison of crews under many guesses at the athletes' true skills, in the plan's own currency."""
    return CrewChances(
        study.season, study.estimates, study.settings.seed, guesses=GUESSES, stops=STOPS_A_GUESS,
        tail=study.pricer.tail, tail_share=study.season.weights.tail_share,
    )  # fmt: skip


def chance_real(lineup: Lineup, chances: CrewChances, change: Change) -> float:
    """Return the chance that a change gains anything in truth; what does not depend on skills counts as certain."""
    drawn = chances.seconds(_work(lineup, change.before)) - chances.seconds(_work(lineup, change.after))
    value = lineup.pricer.entry_value
    stops_s = sum(value(e, c) for e, c in change.before.items()) - sum(value(e, c) for e, c in change.after.items())
    return chance_above_zero(drawn + (change.gain_s - stops_s))


def chance_quicker(lineup: Lineup, chances: CrewChances, entry: Entry, before: Crew, after: Crew) -> float:
    """Return the chance that the stops of one entry really become shorter with another crew."""
    value = lineup.pricer.entry_value
    gain_s = value(entry, before) - value(entry, after)
    return chance_real(lineup, chances, Change((), gain_s, {entry: before}, {entry: after}, ()))


def _work(lineup: Lineup, crews: Mapping[Entry, Crew]) -> list[Work]:
    pricer = lineup.pricer
    return [
        Work(bank.service, bank.tire, crew, pricer.priority[entry.car] * count)
        for entry, crew in crews.items()
        for bank, count in pricer.services(entry.race)
    ]


def swap_to_dict(swap: Swap) -> dict[str, Any]:
    """Return the JSON form of a swap."""
    return {
        **asdict(swap.seat),
        "moves": [move_to_dict(move) for move in swap.moves],
        "gain_s": swap.gain_s,
        "per_stop_s": swap.per_stop_s,
        "per_race_s": swap.per_race_s,
        "chance": swap.chance,
        "allowed": swap.allowed,
        "reasons": list(swap.reasons),
    }


def _ranked(
    lineup: Lineup, chances: CrewChances, found: dict[Moves, Seat], most: int, with_forbidden: bool = True
) -> tuple[Swap, ...]:
    cheap = sorted(((lineup.change(moves, with_rules=False), seat) for moves, seat in found.items()), key=_by_gain)
    allowed: list[Swap] = []
    forbidden: list[Swap] = []
    for change, seat in cheap:
        wanted = with_forbidden and len(forbidden) < MOST_FORBIDDEN and len(change.moves) <= 2
        if len(allowed) >= most and not wanted:
            continue
        breaches = lineup.with_breaches(change).breaches
        if breaches and wanted:
            forbidden.append(_swap(lineup, chances, change, seat, reasons(lineup.pricer.season, breaches)))
        elif not breaches and len(allowed) < most:
            allowed.append(_swap(lineup, chances, change, seat, ()))
    return (*allowed, *forbidden)


def _swap(lineup: Lineup, chances: CrewChances, change: Change, seat: Seat, why: tuple[str, ...]) -> Swap:
    pricer, entry = lineup.pricer, seat.entry
    weight = pricer.priority[seat.car]
    race_s = (pricer.entry_value(entry, change.before[entry]) - pricer.entry_value(entry, change.after[entry])) / weight
    stops = sum(count for _, count in pricer.services(seat.race))
    chance = chance_real(lineup, chances, change)
    return Swap(seat, change.moves, change.gain_s, race_s / stops if stops else 0.0, race_s, chance, not why, why)


def _by_gain(item: tuple[Change, Seat]) -> tuple[float, str]:
    return -item[0].gain_s, str(item[0].moves)


def _of_plan(study: Study, lineup: Lineup) -> dict[Moves, Seat]:
    found: dict[Moves, Seat] = {}
    known: set[frozenset[Move]] = set()
    for seat in study.pricer.seats:
        for moves in (*replacements(study, lineup, seat, only_allowed=True), *exchanges(study, lineup, seat)):
            if frozenset(moves) not in known:
                known.add(frozenset(moves))
                found[moves] = seat
    return found
