"""Crosses the gap between two duties at the wheel: the hours it takes at least, and how rested the driver arrives.

A spell is what lies between two rests. Its room grows with each break up to a point, so hours are counted, not
simulated: so many rests, and the breaks that add most room.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from lineup.limits import DrivingRules
from lineup.rules.timeline import SAME_H

_HALVINGS = 40  # of the hours without a break: far below what is told
_DIGITS = 4  # of an hour: below a second, above what counts as the same


@dataclass(frozen=True, slots=True)
class Spell:
    """Hours since the last rest: at the wheel, in all, and on duty or at the wheel. A duty is a break from driving."""

    wheel_h: float = 0.0
    elapsed_h: float = 0.0
    worked_h: float = 0.0

    def then(self, wheel_h: float, wait_h: float, duty_h: float) -> Spell:
        """Go on without a rest."""
        worked_h = self.worked_h + wheel_h + duty_h
        return Spell(self.wheel_h + wheel_h, self.elapsed_h + wheel_h + wait_h + duty_h, worked_h)


@dataclass(frozen=True, slots=True)
class Road:
    """Driving to be done in a gap: hours at the wheel, hours that the gap has, and the rules that hold.

    `most_h` at the wheel in one spell.
    """

    wheel_h: float
    gap_h: float
    most_h: float
    rules: DrivingRules

    def needed_h(self, spell: Spell, stretch_h: float) -> float:
        """Hours that the gap must at least have when nobody drives longer than `stretch_h` without a break."""
        first, fresh = self._rooms(spell, stretch_h), self._rooms(Spell(), stretch_h)
        least, rests = math.inf, 0
        while rests * self.rules.off_hours + self.wheel_h < least:
            for breaks, room_h in enumerate(_sums([first, *[fresh] * rests])):
                if room_h >= self.wheel_h - SAME_H:
                    least = min(least, self._takes_h(rests, breaks))
                    break
            rests += 1
        return least

    def after(self, spell: Spell, stretch_h: float) -> Spell:
        """Spell that the next duty begins with, where the gap has the hours needed: rested as lately as possible."""
        first, fresh = self._rooms(spell, stretch_h), self._rooms(Spell(), stretch_h)
        best: Spell | None = None
        rests = 1
        while self._takes_h(rests, 0) <= self.gap_h + SAME_H:
            for breaks, room_h in enumerate(_sums([first, *[fresh] * (rests - 1)])):
                last_h = max(0.0, self.wheel_h - room_h)
                more = next((n for n, most_h in enumerate(fresh) if most_h >= last_h - SAME_H), None)
                if more is None or self._takes_h(rests, breaks + more) > self.gap_h + SAME_H:
                    continue
                if last_h <= SAME_H:
                    return Spell()
                if best is None or last_h < best.wheel_h:
                    best = Spell(last_h, last_h + more * self.rules.break_hours, last_h)
            rests += 1
        return best or spell.then(self.wheel_h, self.gap_h - self.wheel_h, 0.0)

    def unbroken_h(self, spell: Spell, due_h: float) -> float:
        """Hours without a break that cannot be avoided, where the gap is too short for a break after each `due_h`."""
        low, high = due_h, self.wheel_h
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            if self.needed_h(spell, middle) <= self.gap_h + SAME_H:
                high = middle
            else:
                low = middle
        return round(high, _DIGITS)

    def _takes_h(self, rests: int, breaks: int) -> float:
        return self.wheel_h + rests * self.rules.off_hours + breaks * self.rules.break_hours

    def _rooms(self, spell: Spell, stretch_h: float) -> list[float]:
        """Hours that may still be driven in a spell with no break, with one, and so on while that adds any."""
        found: list[float] = []
        while True:
            breaks = len(found)
            caps = [self.most_h - spell.wheel_h, stretch_h * (breaks + 1)]
            if self.rules.window_hours is not None:
                caps.append(self.rules.window_hours - spell.elapsed_h - breaks * self.rules.break_hours)
            if self.rules.worked_hours is not None:
                caps.append(self.rules.worked_hours - spell.worked_h)
            room_h = max(0.0, min(caps))
            if found and room_h <= found[-1] + SAME_H:
                return found
            found.append(room_h)


def _sums(rooms: Sequence[Sequence[float]]) -> Iterator[float]:
    """Room of some spells together with no break, with one where it adds most, and so on."""
    total_h = sum(spell[0] for spell in rooms)
    yield total_h
    for gain_h in sorted((b - a for spell in rooms for a, b in pairwise(spell)), reverse=True):
        total_h += gain_h
        yield total_h
