"""The hidden true skills of the demo season: what the estimates should find, within their stated doubt."""

from __future__ import annotations

import math
import random
from collections.abc import Mapping
from dataclasses import dataclass, field

from data_demo.choreography import MISSES, SERVICES, UNLINED, Piece
from data_demo.people import PEOPLE, STANDING, Person

GROUP_LEVEL = {"lead": -0.035, "regular": 0.0, "developing": 0.03, "candidate": 0.04}  # on ln seconds
SECOND_POSITION = 0.03  # slower in a position that is not the main one
ATHLETE_SD, SPLIT_SD = 0.015, 0.025  # on ln seconds
EARLY_SD = 0.04  # seconds

# Stop-to-stop spread of a typical athlete: on ln seconds, or in seconds for tasks that may begin early.
SPREAD = {
    "reach": 0.08, "place": 0.07, "carry-right": 0.10, "nuts-off": 0.08, "pull": 0.11, "index": 0.12, "nuts-on": 0.08,
    "cross": 0.05, "lift": 0.09, "set": 0.13, "drop": 0.12, "fetch": 0.11, "clear": 0.12, "carry-left": 0.11,
    "return": 0.14, "stage": 0.12, "catch": 0.14, "plug": 0.13, "swap": 0.11, "unplug": 0.14, "hand": 0.14,
    "flow-can": 0.05, "flow-rest": 0.06, "flow-part": 0.06, "launch": 0.15,
}  # fmt: skip

# The unlined tire against the lined one, which is the reference: on ln seconds; carry-right in seconds.
TIRE = {"pull": -0.06, "set": -0.07, "fetch": -0.06, "clear": -0.05, "carry-left": -0.06, "return": -0.05,
        "stage": -0.04, "catch": -0.05, "carry-right": -0.04}  # fmt: skip
SETTING = {"race": 0.0, "practice": -0.02, "tryout": 0.015}  # on each split's own scale

MISS_RATE = {  # a typical athlete's expected count per execution of a task that lists the miss
    "restrike": 0.10, "switch-missed": 0.035, "wheel-hung": 0.04, "second-stroke": 0.03, "plug-missed": 0.04,
    "can-fumbled": 0.05, "over-too-soon": 0.002, "tire-loose": 0.0025, "loose-wheel": 0.001,
}  # fmt: skip
LOSS = {"restrike": 0.32, "switch-missed": 0.78, "wheel-hung": 0.55, "second-stroke": 0.62, "plug-missed": 0.72,
        "can-fumbled": 0.48}  # fmt: skip
LOSS_SPREAD = 0.15  # on ln seconds
PACE_MEAN, PACE_SD = 1.03, 0.02  # factor on an athlete's later own times in a stop, after a miss that costs time

# Developing athletes who were this much slower (ln seconds) half a year before the block.
TREND = {"wyatt-szabolcsi": 0.05, "leilani-drost": 0.06, "bridget-nkemelu": 0.04}
TREND_DAYS = 180


@dataclass(frozen=True)
class Truth:
    """Hidden values: median (mean on the plain scale) and spread per athlete, position, split; rates and paces."""

    median: Mapping[tuple[str, str, str], float]
    spread: Mapping[tuple[str, str, str], float]
    rate: Mapping[tuple[str, str, str], float]
    pace: Mapping[str, float]
    early: frozenset[tuple[str, str]] = field(default_factory=frozenset)


def splits_of(position: str) -> dict[str, Piece]:
    """Each split of a position ("" is the car), with the first task that draws on it."""
    found: dict[str, Piece] = {}
    for _, pieces in SERVICES.values():
        for piece in pieces:
            if piece.who == position:
                found.setdefault(piece.split, piece)
    return found


def misses_of(position: str) -> tuple[str, ...]:
    """Every miss that some task of a position lists, in the order of misses.csv."""
    listed = {m for _, pieces in SERVICES.values() for p in pieces if p.who == position for m in p.misses}
    return tuple(miss for miss, *_ in MISSES if miss in listed)


def make_truth(seed: str) -> Truth:
    """Draw everybody's true skills; every athlete has a stream of random numbers of his own."""
    median, spread, rate, pace = {}, {}, {}, {}
    for person in PEOPLE:
        draw = random.Random(f"{seed} truth {person.id}")
        own = GROUP_LEVEL[person.group] + draw.gauss(0, ATHLETE_SD)
        pace[person.id] = max(1.0, draw.gauss(PACE_MEAN, PACE_SD))
        for cleared in person.clearances:
            position = cleared.position
            level = own + (0.0 if position == person.main else SECOND_POSITION) + _standing_bonus(person, position)
            for split, piece in splits_of(position).items():
                key = (person.id, position, split)
                spread[key] = SPREAD[split] * math.exp(draw.gauss(level * 2, 0.15))
                if piece.early:
                    median[key] = piece.seconds + level + draw.gauss(0, EARLY_SD)
                else:
                    median[key] = piece.seconds * math.exp(level + draw.gauss(0, SPLIT_SD))
            for miss in misses_of(position):
                rate[person.id, position, miss] = MISS_RATE[miss] * math.exp(level * 8 + draw.gauss(0, 0.35))
    for split, piece in splits_of("").items():
        median["", "", split], spread["", "", split] = piece.seconds, SPREAD[split]
    early = frozenset((p.who, p.split) for _, pieces in SERVICES.values() for p in pieces if p.early)
    return Truth(median, spread, rate, pace, early)


def _standing_bonus(person: Person, position: str) -> float:
    """Whoever stands in a crew has earned it: a little quicker than the group, on Slate and Otter a little less."""
    crew = STANDING[position]
    if person.id not in crew:
        return 0.0
    return (-0.02, -0.012, -0.02, -0.012)[crew.index(person.id)]


def truth_rows(truth: Truth) -> list[tuple[str, ...]]:
    """Rows of truth.csv."""
    return [(*key, f"{truth.median[key]:.4f}", f"{truth.spread[key]:.4f}") for key in truth.median]


def miss_rows(truth: Truth) -> list[tuple[str, ...]]:
    """Rows of truth_misses.csv."""
    return [(*key, f"{rate:.5f}") for key, rate in truth.rate.items()]


def effects_toml(truth: Truth) -> str:
    """Text of truth.toml: the effects that all athletes share, and each one's pace after a miss."""
    tables = {
        "tire": TIRE,
        "setting": SETTING,
        "loss_s": LOSS,
        "pace": {athlete: round(factor, 4) for athlete, factor in truth.pace.items()},
        "trend": TREND,
    }
    notes = {
        "tire": f"split -> the {UNLINED} tire against the lined one: on ln seconds; carry-right in seconds",
        "setting": "against a race: on ln seconds; in seconds for the tasks that may begin early",
        "loss_s": "median seconds that one miss of the kind costs",
        "pace": "factor on later own times of the stop after a miss that costs time (tasks that begin early excepted)",
        "trend": f"ln seconds slower {TREND_DAYS} days before the block, linear in time; truth.csv is at the block",
    }
    lines = ["# The true effects behind the demo season's grades."]
    for name, table in tables.items():
        lines += ["", f"# {notes[name]}", f"[{name}]", *(f"{key} = {value}" for key, value in table.items())]
    return "\n".join(lines) + "\n"
