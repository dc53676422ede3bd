"""What an audit finds: one check per limit, with the figures behind it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from lineup.limits import Limit, counted
from lineup.season import Seat

HAIR = 1e-6  # units of a limit that are nothing: of hours, 4 ms


@dataclass(frozen=True, slots=True)
class Measure:
    """One figure held against one limit: whose, where, and whether it is kept.

    `excess` counts the units beyond the limit (negative: room left), `cost_s` what they cost where they are priced.
    """

    text: str
    kept: bool
    athlete: str | None = None
    race: str | None = None
    car: str | None = None
    position: str | None = None
    figure: float | None = None
    limit: float | None = None
    excess: float = 0.0
    cost_s: float | None = None


@dataclass(frozen=True, slots=True)
class Check:
    """One limit as the audit found it.

    Attributes
    ----------
    rule : name of the limit; limits that always hold have names too (clearance, one_seat, filled, …).
    priced : passing it over only costs; `cost_s` says how much.
    figure, limit : the worst figure and the number it is held against; None where the limit is no number.
    text : the finding in words, with who and where.
    source : where the number comes from.
    broken : everything beyond the limit.
    measures : every figure that was held against the limit.
    """

    rule: str
    kept: bool
    priced: bool
    text: str
    figure: float | None = None
    limit: float | None = None
    unit: str = ""
    source: str = ""
    cost_s: float = 0.0
    broken: tuple[Measure, ...] = ()
    measures: tuple[Measure, ...] = field(default=(), repr=False)


@dataclass(frozen=True, slots=True)
class Audit:
    """Every limit, kept, broken or priced, and the costs as the audit makes them.

    `costs` and `value_s` are None where there were no sampled stops to price with, or where a seat is filled by
    someone who has none.
    """

    checks: tuple[Check, ...]
    costs: Mapping[str, float] | None = None
    value_s: float | None = None
    notes: tuple[str, ...] = field(default=())

    @property
    def passed(self) -> bool:
        """Whether no hard limit is broken."""
        return all(check.kept or check.priced for check in self.checks)

    def check(self, rule: str) -> Check:
        """Return the check of one limit; KeyError where it does not bind."""
        for check in self.checks:
            if check.rule == rule:
                return check
        raise KeyError(rule)


def held(
    limit: Limit,
    athlete: str | None,
    race: str | None,
    text: str,
    figure: float,
    bound: float,
    *,
    least: bool = False,
    seat: Seat | None = None,
) -> Measure:
    """Hold a figure against a limit: kept within a hair, else priced by the unit where that is priced.

    Parameters
    ----------
    bound : the number that the figure should not pass, or with `least` should reach.
    """
    excess = bound - figure if least else figure - bound
    kept = excess <= HAIR
    cost_s = None if kept or limit.price_s is None else limit.price_s * excess
    car, position = (None, None) if seat is None else (seat.car, seat.position)
    return Measure(text, kept, athlete, race, car, position, figure, bound, excess, cost_s)


def all_of(number: int, things: str, said: str) -> str:
    """Say what holds of all things: "all 3 pins are kept", "the 1 pin is kept", "there are no pins"."""
    if number == 0:
        return f"there are no {things}"
    if number == 1:
        return f"the {counted(1, things)} {said.replace('are', 'is', 1)}"
    return f"all {number} {things} {said}"


def summarise(
    rule: str, measures: Sequence[Measure], *, priced: bool = False, unit: str = "", source: str = "", fine: str = ""
) -> Check:
    """Sum up the figures of one limit: the worst is shown.

    Parameters
    ----------
    fine : what to say where there is no figure to show.
    """
    broken = tuple(measure for measure in measures if not measure.kept)
    numbered = [measure for measure in measures if measure.limit is not None]
    worst = max(broken or numbered, key=lambda measure: measure.excess, default=None)
    text = (fine or "nothing to measure") if worst is None else worst.text
    if len(broken) > 1:
        text += f" (and {len(broken) - 1} more)"
    return Check(
        rule,
        not broken,
        priced,
        text,
        None if worst is None else worst.figure,
        None if worst is None else worst.limit,
        unit,
        source,
        sum(measure.cost_s or 0.0 for measure in broken),
        broken,
        tuple(measures),
    )
