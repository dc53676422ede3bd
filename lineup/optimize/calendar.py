"""Which weekend follows which: ISO weeks of the races of a block, and the runs of weekends athletes come with."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from lineup.optimize.frame import Frame, Ints


@dataclass(frozen=True, eq=False)
class Calendar:
    """ISO weeks of a block's races, and of the duties before it."""

    frame: Frame

    @cached_property
    def week(self) -> tuple[int, ...]:
        """Number of each race's ISO week; the week after it has the next number."""
        duties = self.frame.problem.rules.duties
        return tuple(duties[race.id].week for race in self.frame.problem.races)

    @cached_property
    def run_before(self) -> Ints:
        """Consecutive weekends with a duty before the block that a first duty in a race would add to.

        Shape (athletes, races). A duty before the block in the race's own week is not counted.
        """
        table = np.zeros((len(self.frame.athletes), len(self.week)), dtype=np.intp)
        for a, athlete in enumerate(self.frame.athletes):
            past = {duty.week for duty in self.frame.problem.rules.past(athlete)}
            for r, week in enumerate(self.week):
                run = 0
                while week - 1 - run in past:
                    run += 1
                table[a, r] = run
        return table
