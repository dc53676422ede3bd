"""Who can step into a seat at the track, at once: people who are there, every rule kept, each with all moves."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from lineup.eligibility import may_fill
from lineup.explain import words
from lineup.explain.change import Change, Lineup, Moves
from lineup.optimize.cover_ways import OnSite
from lineup.plan import Move, Plan
from lineup.season import Seat
from lineup.study import Study


@dataclass(frozen=True, slots=True)
class StepIn:
    """One lawful way to put somebody else into a seat.

    Attributes
    ----------
    athlete : who takes the seat.
    moves : everybody who moves.
    cost_s : weighted seconds that the plan becomes dearer by.
    """

    athlete: str
    moves: Moves
    cost_s: float
    text: str


def step_ins(study: Study, plan: Plan, seat: Seat) -> tuple[StepIn, ...]:
    """Return who can take a seat at the track, each by the way that moves fewest people; fewest first, then cheapest.

    Looks at the race's reserves, at who works another race there that day, and at the race's own starters: from a
    seat that may stay empty, in exchange with the seat's holder, or with a reserve behind them. A way that breaks a
    rule the plan keeps is left out; pins of who leaves the seat do not count, since it is lost.
    """
    lineup, site = Lineup(study.pricer, plan), OnSite(study.pricer, plan)
    holder = plan.athlete_in(seat)
    lapsed = {pin.athlete for pin in study.season.pins if holder in (pin.athlete, pin.other)}
    best: dict[str, Change] = {}
    for moves in _moves(site, plan, seat):
        if not all(may_fill(study.season, m.athlete, m.end).allowed for m in moves if m.end is not None):
            continue
        change = lineup.change(moves)
        known = best.get(moves[0].athlete)
        broken = [b for b in change.breaches if not (b.rule == "pin" and b.athlete in lapsed)]
        if not broken and (known is None or _effort(change) < _effort(known)):
            best[moves[0].athlete] = change
    ways = sorted(best.items(), key=lambda item: (*_effort(item[1]), item[0]))
    return tuple(StepIn(athlete, c.moves, -c.gain_s, _text(study, c)) for athlete, c in ways)


def with_step_in(study: Study, plan: Plan, way: StepIn) -> Plan:
    """Return the plan with the moves made and priced: who steps in is no reserve any more, cover that is void is gone.

    Nothing was proven of the changed lineup, so it carries no bound.
    """
    lineup = Lineup(study.pricer, plan)
    assignments = tuple(sorted(lineup.assignments(lineup.apply(way.moves))))
    races = {seat.race for move in way.moves for seat in (move.start, move.end) if seat is not None}
    after = plan.replace(assignments=assignments)
    seated = {(a.race, a.athlete) for a in assignments}
    priced = study.pricer.price(assignments)
    touched = {move.athlete for move in way.moves}
    cover = tuple(
        c
        for c in plan.cover
        if c.seat.race not in races
        or (plan.athlete_in(c.seat) == after.athlete_in(c.seat) and not touched & {m.athlete for m in c.moves})
    )
    return after.replace(
        status="best_so_far", bound_s=None, gap=None, fresh_value_s=None, se_s=None, cover=cover,
        reserves=tuple(r for r in plan.reserves if (r.race, r.athlete) not in seated), cover_costs={},
        entries=priced.entries, costs=priced.costs, value_s=priced.value_s, seed=study.settings.seed,
        scenarios=study.settings.scenarios, tail=study.settings.tail,
        notes=(*plan.notes, f"changed at the track: {way.text}"),
    )  # fmt: skip


def _effort(change: Change) -> tuple[int, float]:
    """Return what a change asks at the track: people moved, then seconds."""
    return len(change.moves), -change.gain_s


def _moves(site: OnSite, plan: Plan, seat: Seat) -> Iterator[Moves]:
    """Yield moves that put somebody who is there into the seat; the first one is his."""
    holder = plan.athlete_in(seat)
    bench = _bench(site, plan, seat.race)
    for athlete in bench:
        yield (Move(athlete, None, seat),)
    for athlete, own in site.seat_in[seat.race].items():
        if athlete == holder:
            continue
        step = Move(athlete, own, seat)
        yield (step,)
        if holder is not None:
            yield step, Move(holder, seat, own)
        for other in bench:
            yield step, Move(other, None, own)


def _bench(site: OnSite, plan: Plan, race: str) -> tuple[str, ...]:
    """Return who is there without a seat in the race."""
    reserves = (r.athlete for r in plan.reserves if r.race == race)
    return tuple(dict.fromkeys((*reserves, *site.around(race))))


def _text(study: Study, change: Change) -> str:
    return f"{words.moves(study.season, change.moves)}; it {words.costs(-change.gain_s)}"
