"""What a drill found: records, their JSON form, and the sheet a coach reads."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

from lineup.explain import words
from lineup.explain.cross_training import CrossTraining
from lineup.season import Season

FORMAT = "lineup-drill/1"
MOST_SAVERS = 5
CAUTION = (
    "A drill on paper: it clears nobody to compete. Whoever steps in must be fit, trained and cleared by those whose "
    "say it is."
)


@dataclass(frozen=True, slots=True)
class Loss:
    """What losing somebody costs.

    Attributes
    ----------
    seats : seats of the plan that are lost.
    status : "nothing lost", "proven", "best_so_far", "impossible" or "not_found" of the best plan without them.
    cost_s : weighted seconds that it costs more than the plan; None where there is none. Below zero where the plan
        itself was not the best.
    sure_to_s : no plan without them costs less than this many weighted seconds more than the plan.
    changes : seats that change hands in it.
    saved_by : by athlete who had no seat in a race and comes in: weighted seconds that mending the plan by hand
        would cost more without him.
    only_with : those without whom it cannot be mended by hand at all.
    lapsed : pins that nobody could keep.
    facts, repairs : where no plan exists: the facts that cannot all hold, and what would mend it, cheapest first.
    """

    athletes: tuple[str, ...]
    seats: int
    status: str
    cost_s: float | None = None
    sure_to_s: float | None = None
    changes: int = 0
    saved_by: Mapping[str, float] = field(default_factory=dict)
    only_with: tuple[str, ...] = ()
    lapsed: tuple[str, ...] = ()
    facts: tuple[str, ...] = ()
    repairs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Saver:
    """What one athlete saves, over the losses of one athlete each in which he would step in.

    `needed` of those losses could not be mended by hand without him; they are not in `saves_s`.
    """

    athlete: str
    saves_s: float
    losses: int
    needed: int = 0


@dataclass(frozen=True, slots=True)
class Drill:
    """All losses, those without a plan first and the dearest next; what was not tried; who and what saves most."""

    losses: tuple[Loss, ...]
    undone: tuple[tuple[str, ...], ...] = ()
    savers: tuple[Saver, ...] = ()
    clearances: tuple[CrossTraining, ...] = ()
    caution: str = CAUTION


def drill_to_dict(found: Drill) -> dict[str, Any]:
    """Return the JSON form of a drill."""
    return {"format": FORMAT, **asdict(found)}


def drill_lines(season: Season, found: Drill) -> Iterator[str]:
    """Tell a drill line by line, the gravest first."""
    cheaper = min((loss.cost_s or 0.0 for loss in found.losses), default=0.0)
    if cheaper < -words.NOTHING_S:
        yield (
            f"The plan is not the best there is: one found here costs {words.seconds(cheaper)} less. Plan again before "
            "you trust what a loss costs."
        )
    yield from (loss_text(season, loss) for loss in found.losses if loss.seats)
    free = [words.name(season, a) for loss in found.losses if not loss.seats for a in loss.athletes]
    if free:
        yield f"Cost nothing, having no seat: {words.listing(list(dict.fromkeys(free)))}."
    yield from (_saver_text(season, saver) for saver in found.savers[:MOST_SAVERS])
    yield from (advice.text for advice in found.clearances)
    if found.undone:
        groups = [" with ".join(words.name(season, a) for a in group) for group in found.undone]
        yield f"Left undone: {words.listing(groups)}."
    yield found.caution


def _saver_text(season: Season, saver: Saver) -> str:
    who, losses = words.name(season, saver.athlete), words.count(saver.losses, "loss")
    needed = f"; without, {words.count(saver.needed, 'loss')} could not be mended by hand" if saver.needed else ""
    return f"{who} would step in for {losses} and saves {words.seconds(saver.saves_s)} so{needed}."


def loss_text(season: Season, loss: Loss) -> str:
    """Return one loss as a sentence or two."""
    who = words.listing([words.name(season, a) for a in loss.athletes])
    seats = words.count(loss.seats, "seat")
    pins = "".join(f" {text}" for text in loss.lapsed)
    if loss.status == "impossible":
        mend = f" Cheapest repair: {loss.repairs[0]}." if loss.repairs else ""
        return f"Can't be lost: {who} ({seats}). No plan is left: {'; '.join(loss.facts)}.{mend}{pins}"
    if loss.cost_s is None:
        return f"{who} ({seats}): no plan was found in the time given.{pins}"
    least = loss.sure_to_s if loss.status != "proven" else None
    proof = f", at least {words.seconds(least)} for sure" if least is not None and least > words.NOTHING_S else ""
    return f"Losing {who} ({seats}) {words.costs(loss.cost_s)}{proof}; {words.hands(loss.changes)}.{pins}"
