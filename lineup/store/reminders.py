"""What a season wants done before each weekend: deadlines of the two steps, reminders to tick."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Final

from pydantic import BaseModel, ConfigDict, Field

from lineup.errors import InputError
from lineup.season import Season
from lineup.store.people import checked, read_toml
from lineup.store.weekend import STEPS, Step

# The reminders are common practice, no source; each season writes its own.
EXAMPLE: Final = """\
[deadlines]                  # hours before the first report of the weekend
travel_list = 96
starting_crews = 24

[[reminder]]
id = "wheels"
text = "Wheels prepared: studs and lug seats cleaned, lug nuts glued, pressures set"
step = "starting_crews"

[[reminder]]
id = "guns"
text = "Guns oiled, hoses and fittings checked"
step = "starting_crews"

[[reminder]]
id = "fuel-gear"
text = "Fuel can vented and leak-tested; fire suits, gloves and extinguishers looked over"
step = "starting_crews"

[[reminder]]
id = "kit"
text = "Kit packed: helmets, knee pads, gloves, radios"
step = "travel_list"
"""


@dataclass(frozen=True, slots=True)
class Reminder:
    """One thing to tick before a step counts as prepared."""

    id: str
    text: str
    step: Step


@dataclass(frozen=True, slots=True)
class Routine:
    """Deadlines, in hours before the first report of a weekend, and reminders. Empty: neither."""

    deadline_hours: Mapping[str, float] = field(default_factory=dict)
    reminders: tuple[Reminder, ...] = ()

    def deadline(self, season: Season, weekend: str, step: Step) -> datetime | None:
        """Return when a step should be signed (aware, UTC), None where the season sets no deadline."""
        hours = self.deadline_hours.get(step)
        races = season.races_of((weekend,))
        if hours is None or not races:
            return None
        return min(race.report for race in races) - timedelta(hours=hours)

    def of(self, step: Step) -> tuple[Reminder, ...]:
        """Return the reminders of one step."""
        return tuple(reminder for reminder in self.reminders if reminder.step == step)


class _Deadlines(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)
    travel_list: float | None = Field(default=None, ge=0, le=10_000)
    starting_crews: float | None = Field(default=None, ge=0, le=10_000)


class _Reminder(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)
    id: str = Field(min_length=1, max_length=80)
    text: str = Field(min_length=1, max_length=300)
    step: Step = "starting_crews"


class _RemindersFile(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)
    deadlines: _Deadlines = _Deadlines()
    reminder: tuple[_Reminder, ...] = ()


def read_routine(path: Path | str) -> Routine:
    """Read a reminders file (TOML; `EXAMPLE` shows one).

    Raises
    ------
    InputError
        When it cannot be read, a key is unknown or an id is there twice; every problem in one message.
    """
    file = checked(_RemindersFile, read_toml(path), path)
    ids = [reminder.id for reminder in file.reminder]
    twice = sorted({key for key in ids if ids.count(key) > 1})
    if twice:
        raise InputError(f"{path}: the reminder ids {', '.join(twice)} are there twice. Give each its own")
    hours = {step: getattr(file.deadlines, step) for step in STEPS}
    return Routine(
        {step: value for step, value in hours.items() if value is not None},
        tuple(Reminder(r.id, r.text, r.step) for r in file.reminder),
    )
