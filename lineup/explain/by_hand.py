"""A lineup made by hand: its price and its audit at once, and what each pin costs."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from lineup.audit import Audit, audit
from lineup.explain import words
from lineup.optimize.run import OnProgress, Stop
from lineup.optimize.solve import Outcome, solve
from lineup.pins import pin_place
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
    costs_s : weighted seconds that the best plan found without the pin is cheaper by than the best found with it.
    at_most_s : the pin cannot cost more than this (bound of the plans without it); None where nobody knows.
    status : "proven" where both plans are, else "best_so_far".
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
    settings = study.settings
    checked = audit(study.season, plan, study.weekends, study.model, tail=settings.tail, estimates=study.estimates)
    return ByHand(study.pricer.price(plan.assignments), checked)


def pin_prices(
    study: Study,
    plan: Plan,
    settings: Settings | None = None,
    on_progress: OnProgress | None = None,
    stop: Stop | None = None,
) -> tuple[PinPrice, ...]:
    """Say what each pin of the season costs, dearest first.

    The block is planned again with all pins, beginning at the plan, and from there without each of them; pins left when
    `stop` says so are left out.

    Parameters
    ----------
    settings : effort of each solve; there is one per pin, and one more.
    """
    if not study.season.pins or (stop is not None and stop()):
        return ()
    effort = settings or study.settings.replace(time_s=EACH_S, work=None)
    kept = solve(study.problem, effort, on_progress=on_progress, stop=stop, start=plan.assignments)
    found = []
    for number in range(len(study.season.pins)):
        if kept.value_s is None or (stop is not None and stop()):
            break
        found.append(_price(study, number, kept, effort, on_progress, stop))
    return tuple(sorted(found, key=lambda price: -price.costs_s))


def _price(
    study: Study, number: int, kept: Outcome, effort: Settings, on_progress: OnProgress | None, stop: Stop | None
) -> PinPrice:
    pins = study.season.pins
    free = study.with_season(study.season.replace(pins=(*pins[:number], *pins[number + 1 :])))
    outcome = solve(free.problem, effort, on_progress=on_progress, stop=stop, start=kept.assignments)
    value = free.pricer.value(kept.assignments)
    saved = max(0.0, value - outcome.value_s) if outcome.value_s is not None else 0.0
    most = None if outcome.bound_s is None else max(saved, value - outcome.bound_s)
    proven = kept.status == outcome.status == "proven"
    text = _text(study.season, pins[number], saved, most, proven)
    return PinPrice(pins[number], saved, most, outcome.status if kept.status == "proven" else kept.status, text)


def pin_price_to_dict(price: PinPrice) -> dict[str, Any]:
    """Return the JSON form of a pin's price."""
    return asdict(price)


def _text(season: Season, pin: Pin, costs_s: float, at_most_s: float | None, proven: bool) -> str:
    who = words.listing([words.name(season, a) for a in (pin.athlete, pin.other) if a])
    where = words.plain(season, pin_place(season, pin))
    most = "" if proven or at_most_s is None else f", and cannot cost more than {words.seconds(at_most_s)}"
    return f"Pin {pin.kind}, {who}, {where} ({pin.reason}): {words.costs(costs_s)}{most}."
