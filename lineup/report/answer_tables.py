"""Answers about a plan as tables for a terminal: audit, swaps, why, depth, re-plans, practice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace
from typing import Any

from rich.console import Group, RenderableType
from rich.text import Text

from lineup.audit import Audit
from lineup.eligibility import shown_day
from lineup.explain import words
from lineup.explain.better import Better
from lineup.explain.depth import DepthChart
from lineup.explain.injury import Replan, option_text
from lineup.explain.swaps import Swap, swap_to_dict
from lineup.explain.training import PracticePlan
from lineup.explain.why import SeatAnswer
from lineup.explain.why_not import WhyNot
from lineup.optimize.solve import Progress
from lineup.plan_changes import SeatChange
from lineup.report.limit_rows import limit_rows
from lineup.report.plan_tables import clash_lines, new_table
from lineup.season import Season


def audit_document(found: Audit) -> dict[str, Any]:
    """Return the JSON form of an audit."""
    return {
        "passed": found.passed,
        "checks": [asdict(replace(check, measures=())) for check in found.checks],
        "costs": None if found.costs is None else dict(found.costs),
        "value_s": found.value_s,
        "notes": list(found.notes),
    }


def audit_table(found: Audit, only_summary: bool = False) -> RenderableType:
    """Return every limit with its tightest place; or one line, with the broken ones."""
    kept = sum(check.kept for check in found.checks)
    hard = sum(not check.kept and not check.priced for check in found.checks)
    priced = len(found.checks) - kept - hard
    verdict = "passed" if found.passed else "FAILED"
    line = Text(
        f"Audit {verdict}: {kept} of {len(found.checks)} limits kept, {priced} broken at a price, {hard} broken."
    )
    rows = [row for row in limit_rows(found) if not only_summary or row.state.startswith("broken")]
    table = new_table("Limits, the nearest to breaking first", "", "limit", "tightest place", "from")
    for row in rows:
        table.add_row(row.state.upper() if row.state == "broken" else row.state, row.name, row.text, row.source)
    return Group(line, table, *(Text(note) for note in found.notes)) if rows else line


def swaps_document(swaps: Sequence[Swap]) -> list[dict[str, Any]]:
    """Return the JSON form of swaps."""
    return [swap_to_dict(swap) for swap in swaps]


def swaps_table(season: Season, swaps: Sequence[Swap]) -> RenderableType:
    """Return swaps, best first, with what forbids those that are not allowed."""
    table = new_table(
        "Next-best swaps", "seat", "who moves", "allowed", "a stop", "whole plan", "a gain is real", numbers=3
    )
    for swap in swaps:
        table.add_row(
            words.place(season, swap.seat),
            words.moves(season, swap.moves),
            "yes" if swap.allowed else f"no: {'; '.join(swap.reasons)}",
            signed(-swap.per_stop_s),
            signed(-swap.gain_s),
            f"{swap.chance:.0%}",
        )
    return Group(
        table,
        Text(
            "Minus is quicker or cheaper. A stop: the car's average stop in that race. Whole plan: weighted seconds of "
            "everything the plan counts."
        ),
    )


def why_text(season: Season, answer: SeatAnswer) -> RenderableType:
    """Return an explained seat."""
    table = new_table(answer.text, "athlete", "why not")
    for reason in answer.reasons:
        table.add_row(words.name(season, reason.athlete), reason.text)
    return table


def why_not_text(season: Season, answer: WhyNot) -> RenderableType:
    """Return what seating somebody would bring."""
    parts: list[RenderableType] = [Text(answer.text)]
    if answer.changes:
        table = new_table("Seats that change hands", "seat", "now", "then")
        for change in in_order(season, answer.changes):
            names = [words.name(season, a) if a else "nobody" for a in (change.before, change.after)]
            table.add_row(words.place(season, change.seat), *names)
        parts.append(table)
    if answer.costs:
        table = new_table("What that costs (weighted seconds)", "item", "difference", numbers=1)
        for item, amount in answer.costs.items():
            table.add_row(words.cost(item), signed(amount))
        parts.append(table)
    return Group(*parts, *(Text(line) for line in answer.smallest))


def depth_text(season: Season, chart: DepthChart) -> RenderableType:
    """Return a depth chart, a table per seat, with holes and the dearest losses."""
    parts: list[RenderableType] = []
    for one in chart.seats:
        columns = ("", "athlete", "clearance", "a stop", "sure", "graded lately", "note")
        table = new_table(words.place(season, one.seat), *columns)
        for row in one.rows:
            order = f"{row.place}." if row.place else "—"
            slower = "" if row.place == 1 else signed(row.per_stop_s)
            sure = "" if row.place == 1 else f"{row.chance_slower:.0%} slower"
            note = row.refused or row.spoken_for
            who = words.name(season, row.athlete)
            lately = str(row.recent) if row.last_graded is None else f"{row.recent}, last {shown_day(row.last_graded)}"
            table.add_row(order, who, row.level, slower, sure, lately, note)
        parts.append(table)
        parts.append(Text(f"  steps in on site: {one.on_site or 'nobody'}"))
    for title, lines in (("Holes", chart.holes), ("Where one loss hurts most", chart.hurts)):
        parts += [Text(title, style="bold"), *(Text(f"  {line}") for line in lines or ("none",))]
    return Group(*parts)


def replan_text(season: Season, found: Replan) -> RenderableType:
    """Return the options after an absence, with the seats that change hands in each."""
    parts: list[RenderableType] = [Text(note) for note in found.notes]
    for option in found.options:
        parts.append(Text(option_text(season, option), style="bold"))
        for change in in_order(season, option.changes):
            before, after = (words.name(season, a) if a else "nobody" for a in (change.before, change.after))
            parts.append(Text(f"  {words.place(season, change.seat)}: {before} → {after}"))
    parts += [Text(line) for line in clash_lines(found.clash)]
    return Group(*parts, Text(found.caution, style="italic"))


def practice_text(season: Season, found: PracticePlan, most: int = 5) -> RenderableType:
    """Return practice priorities by athlete and by crew."""
    table = new_table("Practice, most important first", "who", "what")
    for athlete, ideas in found.athletes.items():
        for place, idea in enumerate(ideas[:most]):
            table.add_row(words.name(season, athlete) if place == 0 else "", idea.text)
    for car, ideas in found.crews.items():
        for place, idea in enumerate(ideas[:most]):
            table.add_row(f"crew of {season.cars[car].name or car}" if place == 0 else "", idea.text)
    return Group(table, Text(found.caution, style="italic"))


def cross_text(clearances: Sequence[str], candidates: Sequence[str]) -> RenderableType:
    """Return who should learn what, and where candidates would start."""
    parts = [Text("Who should learn what, most saved per practice hour first", style="bold")]
    parts += [Text(f"  {line}") for line in clearances] or [Text("  No clearance would lower the cost of absences.")]
    if candidates:
        parts += [Text("Where candidates would start", style="bold"), *(Text(f"  {line}") for line in candidates)]
    return Group(*parts)


def better_text(found: Better) -> RenderableType:
    """Return what would have to give for a car to gain."""
    return Group(Text(found.text, style="bold"), *(Text(f"  {give.text}") for give in found.gives))


def in_order(season: Season, changes: Sequence[SeatChange]) -> list[SeatChange]:
    """Return seat changes in order of time, then car and position."""
    races, cars, positions = list(season.races), list(season.cars), list(season.positions)

    def place(change: SeatChange) -> tuple[int, int, int]:
        seat = change.seat
        return races.index(seat.race), cars.index(seat.car), positions.index(seat.position)

    return sorted(changes, key=place)


def progress_line(progress: Progress) -> str:
    """Return "12.3 s  value 2,554.10 s  bound 2,551.90 s  gap 0.09 %  (search)"."""
    value = "—" if progress.value_s is None else f"{progress.value_s:,.2f} s"
    bound = "—" if progress.bound_s is None else f"{progress.bound_s:,.2f} s"
    gap = "—" if progress.gap is None else f"{progress.gap:.2%}"
    return f"{progress.seconds:6.1f} s   value {value}   bound {bound}   gap {gap}   ({progress.phase})"


def signed(seconds: float) -> str:
    """Return seconds with a sign and two digits; no minus before zero."""
    return f"{seconds:+.2f} s" if abs(seconds) >= 0.005 else "0.00 s"
