"""Changes that may make a lineup possible again, least effort first, each tried before it is offered."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace
from itertools import islice

from lineup.explain.block import Block
from lineup.explain.grounds import Ground
from lineup.explain.repair_limits import cars_left_out, lifted_limits, more_places, slower_stops, taken_back_pins
from lineup.explain.repair_people import clearances, more_grades, newcomers, priced_heights, shorter_absences
from lineup.explain.repair_tools import ClashInHand, Offer, Possible, Prices

MOST_OF_A_KIND = 3

# least effort first: what was decided by hand, what was decided for all, what takes training, what takes healing,
# what takes hiring; a car stays out only when all else fails
KINDS = (
    taken_back_pins,
    more_places,
    lifted_limits,
    slower_stops,
    clearances,
    more_grades,
    priced_heights,
    shorter_absences,
    newcomers,
    cars_left_out,
)


def offers(block: Block, grounds: Collection[Ground], possible: Possible, prices: Prices) -> Iterator[Offer]:
    """Offer changes that were found to make a lineup possible, least effort first.

    Parameters
    ----------
    grounds : facts of one clash.
    prices : about what each athlete costs in each seat of the clash, seconds.
    """
    clash = ClashInHand(block, tuple(sorted(grounds)), possible, prices)
    for effort, maker in enumerate(KINDS):
        yield from (replace(offer, effort=effort) for offer in islice(maker(clash), MOST_OF_A_KIND))
