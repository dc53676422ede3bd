"""What a document must say about the sign-off it rests on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Self

from lineup.plan import Plan

UNAUTHENTICATED = "Unauthenticated: no log-in was checked, the names are taken on trust."


@dataclass(frozen=True, slots=True)
class Stamp:
    """State, revision and check code that a document prints.

    `step` is "travel list" or "starting crews", `words` the state as a heading says it, `signed` whether a
    signature stands behind exactly this revision. `head`, the check code, is the hash of record `head_number`.
    `reviews` maps a car to its crew chief's word; `reminders` are (text, ticked).
    """

    step: str = "starting crews"
    words: str = "draft, not kept"
    signed: bool = False
    revision: int | None = None
    head_number: int = 0
    head: str = ""
    proposed_by: str = ""
    signed_by: str = ""
    signed_at: datetime | None = None
    authenticated: bool = False
    late: bool = False
    amended_by: str = ""
    reviews: Mapping[str, str] = field(default_factory=dict)
    reminders: tuple[tuple[str, bool], ...] = ()

    @classmethod
    def draft(cls, step: str = "starting crews") -> Self:
        """Return the stamp of a plan that was never kept in a store."""
        return cls(step)

    @property
    def head_text(self) -> str:
        """The check code in groups of eight, as a sheet prints it and a verification reads it back."""
        return " ".join(self.head[i : i + 8] for i in range(0, len(self.head), 8))


@dataclass(frozen=True)
class Paper:
    """The plan a document shows, its stamp, and the plan that was signed before it (None: there was none)."""

    plan: Plan
    stamp: Stamp = field(default_factory=Stamp)
    earlier: Plan | None = None


@dataclass(frozen=True)
class Papers:
    """What is printed of a weekend; None: that step was not proposed yet, so it has no sheet."""

    crews: Paper | None
    travel: Paper | None

    @classmethod
    def draft(cls, plan: Plan) -> Self:
        """Return both steps of a plan that was never kept in a store."""
        return cls(Paper(plan, Stamp.draft()), Paper(plan, Stamp.draft("travel list")))
