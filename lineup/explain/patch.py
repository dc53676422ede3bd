"""A plan mended as a coach would on the spot: each lost seat filled the best lawful way, one after the other."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from lineup.explain.change import Change, Lineup, Moves
from lineup.explain.ways import best_lawful, ways_into, with_one_more
from lineup.plan import Assignment, Plan
from lineup.season import Seat
from lineup.study import Study


def patched(
    absent: Study,
    plan: Plan,
    lost: Sequence[Seat],
    fewest: bool = True,
    without: Collection[str] = (),
    frozen: Collection[Seat] = (),
) -> tuple[Assignment, ...] | None:
    """Fill the lost seats of a plan; None where one has no lawful way.

    Parameters
    ----------
    absent : the block under the absences.
    fewest : fewest moves before least cost; else least cost alone.
    without : athletes who come in nowhere they are not already.
    frozen : seats that stay as they are.
    """
    left = tuple(a for a in plan.assignments if a.seat not in lost)
    for seat in lost:
        lineup = Lineup(absent.pricer, plan.replace(assignments=left))
        found = [moves for into in ways_into(absent, lineup, seat).values() for moves in into]
        ways = [lineup.change(moves) for moves in found if not _barred(moves, without, frozen)]
        best = (_best(ways) if fewest else best_lawful(ways)) or _longer(absent, lineup, ways, without, frozen)
        if best is None:
            return None
        left = lineup.assignments(best.after)
    return left


def _longer(
    absent: Study, lineup: Lineup, ways: Sequence[Change], without: Collection[str], frozen: Collection[Seat]
) -> Change | None:
    change = with_one_more(absent, lineup, ways)
    return None if change is None or _barred(change.moves, without, frozen) else change


def _barred(moves: Moves, without: Collection[str], frozen: Collection[Seat]) -> bool:
    return any((m.start is None and m.athlete in without) or m.start in frozen or m.end in frozen for m in moves)


def _best(ways: Sequence[Change]) -> Change | None:
    lawful = [change for change in ways if not change.breaches]
    return max(lawful, key=lambda change: (-len(change.moves), change.gain_s), default=None)
