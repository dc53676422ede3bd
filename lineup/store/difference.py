"""The difference of two plans: who moved, what it costs, what it gains and how sure, limits newly close."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, Protocol

from lineup.explain.words import cost
from lineup.plan import Assignment, Plan
from lineup.plan_changes import SeatChange, seat_changes
from lineup.report.limit_rows import EDGE_SHARE
from lineup.season import Season
from lineup.store.changes import TripChange, change_texts, races_of, trip_changes

FIXED: Final = ("height",)  # figures that no lineup moves: kept or broken, never close
MOST_CLOSE: Final = 12  # lines about limits that a difference tells before it counts the rest
SMALLEST_S: Final = 0.005  # a cost that moves by less than this does not show at two digits


class PricedPlan(Protocol):
    """What a lineup costs."""

    @property
    def value_s(self) -> float:
        """Sum of the costs, seconds."""

    @property
    def costs(self) -> Mapping[str, float]:
        """Cost by name, seconds."""


class PlanPricer(Protocol):
    """Prices any lineup on the same scenarios."""

    def price(self, assignments: Sequence[Assignment], /) -> PricedPlan:
        """Return value and costs."""


class LimitMeasure(Protocol):
    """One figure held against one limit; `limit` None where it is no count."""

    @property
    def text(self) -> str:
        """The finding in words."""

    @property
    def kept(self) -> bool:
        """Whether the figure keeps the limit."""

    @property
    def athlete(self) -> str | None:
        """Whose figure it is."""

    @property
    def race(self) -> str | None:
        """The race it belongs to."""

    @property
    def car(self) -> str | None:
        """The car it belongs to."""

    @property
    def position(self) -> str | None:
        """The position it belongs to."""

    @property
    def limit(self) -> float | None:
        """The number the figure is held against."""

    @property
    def excess(self) -> float:
        """Units beyond the limit; below zero: room left."""


class LimitCheck(Protocol):
    """One limit as an audit found it."""

    @property
    def rule(self) -> str:
        """Name of the limit."""

    @property
    def measures(self) -> Sequence[LimitMeasure]:
        """Every figure that was held against it."""


class LimitAudit(Protocol):
    """Every limit, kept or broken."""

    @property
    def checks(self) -> Sequence[LimitCheck]:
        """One check per limit."""


Chance = Callable[[Plan, Plan], float | None]


@dataclass(frozen=True, slots=True)
class Difference:
    """What changes from one plan to another.

    `costs` maps each cost that moves to (before, after), in seconds; `gain_s` is how much the value falls, None
    where the two cannot be compared; `chance` that the gain is real, None where nobody computed it. `close`: per
    athlete (or car) and limit the figure that had room to spare in the plan before and has none, or hardly any, after.
    """

    seats: tuple[SeatChange, ...]
    trips: tuple[TripChange, ...]
    costs: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    gain_s: float | None = None
    chance: float | None = None
    close: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    def texts(self, season: Season) -> tuple[str, ...]:
        """Return the difference as plain sentences, the moves first."""
        lines = list(change_texts(season, (*self.seats, *self.trips))) or ["nobody moves"]
        if self.gain_s is not None:
            told = f"gains {self.gain_s:.2f} s" if self.gain_s >= 0 else f"costs {-self.gain_s:.2f} s more"
            sure = "" if self.chance is None else f", {self.chance:.0%} likely to be real"
            lines.append(f"the whole plan {told}{sure}")
        lines += [
            f"{cost(name)}: {b:.2f} s before, {a:.2f} s after ({a - b:+.2f} s)" for name, (b, a) in self.costs.items()
        ]
        lines += [f"limit now at the edge, or broken: {text}" for text in self.close[:MOST_CLOSE]]
        if len(self.close) > MOST_CLOSE:
            lines.append(f"and {len(self.close) - MOST_CLOSE} more limits now at the edge, or broken")
        return (*lines, *self.notes)


def difference(
    season: Season,
    before: Plan,
    after: Plan,
    *,
    pricer: PlanPricer | None = None,
    chance: Chance | None = None,
    audits: tuple[LimitAudit, LimitAudit] | None = None,
    weekend: str | None = None,
) -> Difference:
    """Compare two plans.

    Parameters
    ----------
    pricer : prices both on the same scenarios; without one the plans' own figures are used, if they come from the
        same inputs, seed and scenarios.
    chance : called with both plans, returns how likely the gain is real.
    audits : of the plan before and the plan after.
    weekend : tells only who moves in this weekend; costs are always those of the whole block.
    """
    races: Collection[str] | None = None if weekend is None else races_of(season, weekend)
    seats, trips = seat_changes(before, after, races), trip_changes(before, after, races)
    figures, notes = _figures(before, after, pricer)
    costs: dict[str, tuple[float, float]] = {}
    gain = None
    if figures is not None:
        (old_value, old), (new_value, new) = figures
        gain = old_value - new_value
        pairs = {name: (old.get(name, 0.0), new.get(name, 0.0)) for name in dict.fromkeys((*old, *new))}
        costs = {name: (b, a) for name, (b, a) in pairs.items() if abs(a - b) >= SMALLEST_S}
    sure = chance(before, after) if chance is not None and gain is not None else None
    return Difference(seats, trips, costs, gain, sure, newly_close(audits) if audits else (), notes)


def newly_close(audits: tuple[LimitAudit, LimitAudit]) -> tuple[str, ...]:
    """Return what the second audit finds broken or close to its limit, and the first did not: one line per person.

    Each figure is compared with its own: that of the same athlete, race, car and seat under the same limit. Fresh
    ones of one athlete (of one car, where it is nobody's) under one limit share a line, which tells the tightest.
    The fullest limits come first, broken ones before all.
    """
    old, new = (_figures_by_place(audit) for audit in audits)
    groups: dict[Place, list[LimitMeasure]] = {}
    for place, measure in sorted(new.items(), key=lambda item: _fullness(item[1]), reverse=True):
        if _state(place[0], measure) > (_state(place[0], old[place]) if place in old else 0):
            rule, athlete, _, car, *_ = place
            groups.setdefault((rule, athlete, None if athlete else car), []).append(measure)
    return tuple(
        group[0].text + (f" (and {len(group) - 1} more like it)" if len(group) > 1 else "") for group in groups.values()
    )


Place = tuple[str | float | None, ...]


def _figures_by_place(audit: LimitAudit) -> dict[Place, LimitMeasure]:
    """Return the tightest figure of each rule, athlete, race, car, position and limit."""
    rows = [(check.rule, m) for check in audit.checks for m in sorted(check.measures, key=_fullness)]
    return {(rule, m.athlete, m.race, m.car, m.position, m.limit): m for rule, m in rows}


def _fullness(measure: LimitMeasure) -> tuple[bool, float]:
    """Return how full a limit is: broken before kept, then by what is used beyond it, as a share of it."""
    return not measure.kept, measure.excess / abs(measure.limit) if measure.limit else measure.excess


def _state(rule: object, measure: LimitMeasure) -> int:
    """Return 0 for room to spare, 1 for close, 2 for broken; nobody gets closer to what never changes."""
    if not measure.kept:
        return 2
    if measure.limit is None or rule in FIXED:
        return 0
    return int(-measure.excess <= EDGE_SHARE * abs(measure.limit))


Figures = tuple[tuple[float, Mapping[str, float]], tuple[float, Mapping[str, float]]]


def _figures(before: Plan, after: Plan, pricer: PlanPricer | None) -> tuple[Figures | None, tuple[str, ...]]:
    if pricer is not None:
        old, new = pricer.price(before.assignments), pricer.price(after.assignments)
        return ((old.value_s, old.costs), (new.value_s, new.costs)), ()
    if before.value_s is None or after.value_s is None:
        return None, ("one of the two was never priced: seconds cannot be compared. Price it first",)
    if _basis(before) != _basis(after):
        return None, ("the two were forecast from different inputs or scenarios: price both anew to compare seconds",)
    return ((before.value_s, before.costs), (after.value_s, after.costs)), ()


def _basis(plan: Plan) -> tuple[object, ...]:
    return plan.seed, plan.scenarios, plan.weekends, tuple(sorted(plan.fingerprints.items()))
