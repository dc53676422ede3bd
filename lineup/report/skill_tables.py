"""A season and its skills as tables for a terminal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from lineup.report.plan_tables import new_table
from lineup.season import Season
from lineup.skills import AthleteProfile, SplitProfile


def season_summary(season: Season) -> Table:
    """Return how much of everything a season holds."""
    table = new_table("The season", "what", "how many", numbers=1)
    counts = {
        "athletes": len(season.athletes),
        "positions": len(season.positions),
        "cars": len(season.cars),
        "weekends": len(season.weekends),
        "races": len(season.races),
        "services": len(season.choreographies),
        "graded tasks": len(season.grades),
        "whole stops": len(season.stops),
        "absences": len(season.absences),
        "pins": len(season.pins),
        "limits": len(season.limits.by_name),
    }
    for what, count in counts.items():
        table.add_row(what, f"{count:,}")
    return table


def skills(season: Season, rows: Sequence[Mapping[str, Any]]) -> Table:
    """Return skill estimates, one row per athlete, position and split."""
    table = new_table(
        "Skills: clean split times in a race, seconds", "athlete", "position", "split", "misses per task",
        "median", "90 % sure between", "stop to stop", "grades", numbers=4,
    )  # fmt: skip
    for row in rows:
        athlete = season.athletes.get(row["athlete"])
        position = season.positions.get(row["position"])
        misses = ", ".join(
            f"{season.misses[m].name if m in season.misses else m} {rate:.1%}" for m, rate in row["misses"].items()
        )
        table.add_row(
            athlete.name if athlete else "car and driver",
            position.name if position else "",
            row["split"],
            misses,
            f"{row['median_s']:.2f}",
            f"{row['low90_s']:.2f} – {row['high90_s']:.2f}",
            f"{row['spread']:.2f}",
            f"{row['grades']:.0f}",
        )
    return table


def profile_text(season: Season, found: AthleteProfile) -> RenderableType:
    """Return one athlete's profile, position by position."""
    parts: list[RenderableType] = [Text(season.label("athletes", found.athlete), style="bold")]
    for position in found.positions:
        table = new_table(
            season.positions[position.position].name, "split", "against the pool", "trend",
            "median", "pool", "stop to stop", "grades", numbers=4,
        )  # fmt: skip
        for split in position.splits:
            table.add_row(*_split_row(split))
        parts.append(table)
        for miss in position.misses:
            name = season.misses[miss.estimate.miss].name
            parts.append(Text(f"  {name}: {miss.estimate.rate:.1%} of tasks (others {miss.others:.1%})"))
        parts += [Text(f"  {line}") for line in position.unknown]
    return Group(*parts)


def _split_row(split: SplitProfile) -> tuple[str, ...]:
    trend = split.trend
    moved = "—" if trend is None else f"{trend.change_s:+.2f} s lately, {trend.chance_faster:.0%} sure it is quicker"
    return (
        split.estimate.split,
        f"{split.place} of {split.of}, {split.against_pool_s:+.2f} s",
        moved,
        f"{split.estimate.median_s:.2f}",
        f"{split.estimate.median_s - split.against_pool_s:.2f}",
        f"{split.consistency:.0%} of the pool's",
        f"{split.estimate.grades:.0f}",
    )
