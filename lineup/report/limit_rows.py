"""The audit's findings, the nearest to breaking first, in the words a director reads."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from lineup.limits import KNOWN_LIMITS

if TYPE_CHECKING:  # the audit brings libraries that a page which only shows its findings need not wait for
    from lineup.audit import Audit, Check

State = Literal["broken", "broken at a price", "at the edge", "kept"]
STATES: Final[tuple[State, ...]] = ("broken", "broken at a price", "at the edge", "kept")
SIGNS: Final = {"broken": "✕", "broken at a price": "§", "at the edge": "!", "kept": "✓"}
EDGE_SHARE: Final = 0.1  # a kept limit is at the edge when this share of it, or less, is left
NAMES: Final = {
    "filled": "every seat that must be filled is",
    "clearance": "clearance",
    "availability": "availability",
    "pin": "pins",
    "one_seat": "nobody is in two places at once",
    "slowest": "slowest stop a car may have",
    "cover_moves": "who steps in may work that seat",
    "costs": "the plan’s own figures",
    "proof": "the plan’s proof",
}


@dataclass(frozen=True, slots=True)
class LimitRow:
    """One limit: where it stands, its name in words, and the finding behind it."""

    state: State
    name: str
    text: str
    source: str
    cost_s: float


def limit_rows(audit: Audit) -> tuple[LimitRow, ...]:
    """Return a row per check: what is broken first, what is kept with room last."""
    rows = [LimitRow(state_of(c), limit_name(c.rule), c.text, c.source, c.cost_s) for c in audit.checks]
    return tuple(sorted(rows, key=lambda row: STATES.index(row.state)))


def state_of(check: Check) -> State:
    """Return where a check stands; a limit that is no number is kept or broken."""
    if not check.kept:
        return "broken at a price" if check.priced else "broken"
    if check.figure is None or check.limit is None:
        return "kept"
    return "at the edge" if abs(check.limit - check.figure) <= EDGE_SHARE * abs(check.limit) else "kept"


def limit_name(rule: str) -> str:
    """Return a limit in words: what it counts, never its key in a file."""
    if rule in NAMES:
        return NAMES[rule]
    return KNOWN_LIMITS[rule][0] if rule in KNOWN_LIMITS else rule.replace("_", " ")
