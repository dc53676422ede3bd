"""A lineup made by hand: its price and its audit at once, and what each pin costs."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from lineup.audit import Audit, audit
from lineup.eligibility import pin_place
from lineup.explain import words
from lineup.optimize.run import OnProgress, Stop
from lineup.optimize.solve import solve
from lineup.plan import Plan
from lineup.price import Priced
from lineup.season import Pin, Season
from lineup.settings import Settings
from lineup.study import Study

EACH_S = 10.0


@dataclass(frozen=True, slots=True)
class ByHand:
    """What a lineup made by hand costs, and which limits it keeps."""

    priced: Priced
    audit: Audit


@dataclass(frozen=True, slots=True)
class PinPrice:
    """What a pin costs.

    Attributes
    ----------
    costs_s : weighted seconds that the best plan found without the pin is cheaper by; never below zero.
    at_most_s : the pin cannot cost more than this (bound of the plans without it); None where nobody knows.
    status : of the plan without the pin: "proven" or "best_so_far".
    """

    pin: Pin
    costs_s: float
    at_most_s: float | None
    status: str
    text: str


def by_hand(study: Study, plan: Plan) -> ByHand:
    """Price a lineup, partly filled or whole, and check it against every limit.

    Raises
    ------
    PlanFileError, InputError
        As `Pricer.price` does: a name the block does not have, somebody without any clearance.
    """
    return ByHand(study.pricer.price(plan.assignments), audit(study.season, plan, study.weekends, study.model))


def pin_prices(
    study: Study,
    plan: Plan,
    settings: Settings | None = None,
    on_progress: OnProgress | None = None,
    stop: Stop | None = None,
) -> tuple[PinPrice, ...]:
    """Say what each pin of the season costs a plan that keeps them all, dearest first.

    The block is planned again without the pin, beginning at the plan; pins left when `stop` says so are left out.

    Parameters
    ----------
    settings : effort of each solve; there is one per pin.
    """
    effort = settings or study.settings.replace(time_s=EACH_S, work=None)
    found = []
    for number, pin in enumerate(study.season.pins):
        if stop is not None and stop():
            break
        others = tuple(other for place, other in enumerate(study.season.pins) if place != number)
        free = study.with_season(study.season.replace(pins=others))
        outcome = solve(free.problem, effort, on_progress=on_progress, stop=stop, start=plan.assignments)
        now = free.pricer.value(plan.assignments)
        saved = max(0.0, now - outcome.value_s) if outcome.value_s is not None else 0.0
        most = None if outcome.bound_s is None else max(saved, now - outcome.bound_s)
        text = _text(study.season, pin, saved, most, outcome.status == "proven")
        found.append(PinPrice(pin, saved, most, outcome.status, text))
    return tuple(sorted(found, key=lambda price: -price.costs_s))


def pin_price_to_dict(price: PinPrice) -> dict[str, Any]:
    """Return the JSON form of a pin's price."""
    return asdict(price)


def _text(season: Season, pin: Pin, costs_s: float, at_most_s: float | None, proven: bool) -> str:
    who = words.listing([words.name(season, a) for a in (pin.athlete, pin.other) if a])
    where = words.plain(season, pin_place(season, pin))
    most = "" if proven or at_most_s is None else f", and cannot cost more than {words.seconds(at_most_s)}"
    return f"Pin {pin.kind}, {who}, {where} ({pin.reason}): {words.costs(costs_s)}{most}."
