"""A plan as tables for a terminal: crews, forecasts, travel party, costs and proof."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from lineup.explain import words
from lineup.plan import Clash, EntryForecast, Plan
from lineup.report.cover_words import uncovered
from lineup.report.race_words import race_name, race_title
from lineup.season import Season

CAUTIONS = Text(
    "These are forecasts, not promises. Lifting, fuel, a return from injury and driving while tired hurt people: "
    "the sanctioning body's rules, local codes and licensed practice come first. This tool clears nobody to compete.",
    style="italic",
)


def new_table(title: str, *columns: str, numbers: int = 0) -> Table:
    """Return an empty table whose last `numbers` columns hold figures."""
    table = Table(title=title, title_justify="left", title_style="bold", header_style="bold", box=None, pad_edge=False)
    for place, column in enumerate(columns):
        table.add_column(column, justify="right" if place >= len(columns) - numbers else "left")
    return table


def crews(season: Season, plan: Plan) -> RenderableType:
    """Return the starting crews, one table per race, a row per car and a column per position."""
    tables: list[RenderableType] = []
    for race in season.races_of(plan.weekends):
        positions = season.positions_of(race.id)
        table = new_table(
            f"{race.weekend} · {race_title(season, race)}", "car", *(season.positions[p].name for p in positions)
        )
        for car in season.cars_in[race.id]:
            crew = plan.crew(race.id, car)
            names = (season.athletes[crew[p]].name if p in crew else "—" for p in positions)
            table.add_row(season.cars[car].name or car, *names)
        tables += [table, Text("")]
    return Group(*tables)


def forecasts(season: Season, entries: Sequence[EntryForecast]) -> Table:
    """Return the forecast stops: a row per race and car, a column per service, what mostly holds up the slowest."""
    services = list(dict.fromkeys(entry.service for entry in entries))
    names = [season.choreographies[service].name for service in services]
    table = new_table(
        "Forecast stops, seconds: mean (9 in 10 under)", "race", "car", *names, "slowest held up by", "clean"
    )
    crews: dict[tuple[str, str], dict[str, EntryForecast]] = {}
    for entry in entries:
        crews.setdefault((entry.race, entry.car), {})[entry.service] = entry
    for (race, car), by_service in crews.items():
        slowest = max(by_service.values(), key=lambda entry: entry.mean_s)
        table.add_row(
            race_name(season, race),
            season.cars[car].name or car,
            *(_stop(by_service.get(service)) for service in services),
            _held_up_by(season, slowest),
            f"{slowest.clean_share:.0%}",
        )
    return table


def _stop(entry: EntryForecast | None) -> str:
    return "—" if entry is None else f"{entry.mean_s:.2f} ({entry.p90_s:.2f})"


def _held_up_by(season: Season, entry: EntryForecast) -> str:
    shares = sorted(entry.critical_share.items(), key=lambda item: -item[1])[:2]
    return ", ".join(f"{season.positions[p].name if p in season.positions else p} {share:.0%}" for p, share in shares)


def travel_party(season: Season, plan: Plan) -> RenderableType:
    """Return who travels as reserve, and the seats that nobody on site could cover."""
    table = new_table("Reserves", "race", "travels as reserve")
    for race in season.races_of(plan.weekends):
        names = [season.athletes[r.athlete].name for r in plan.reserves if r.race == race.id]
        table.add_row(race.name or race.id, ", ".join(names) or "nobody")
    holes = uncovered(season, plan)
    if not holes:
        return Group(
            table, Text(f"Every seat that must be filled has somebody on site to step in: {_cover_words(plan)}.")
        )
    shown = "; ".join(words.place(season, seat) for seat in holes[:6])
    more = f" and {len(holes) - 6} more" if len(holes) > 6 else ""
    return Group(table, Text(f"Nobody on site could step in for: {shown}{more}."))


def _cover_words(plan: Plan) -> str:
    known = {"proven": "the reserves are proven the cheapest", "best_so_far": "the reserves may not be the cheapest"}
    return known.get(plan.cover_status or "", "nothing is proven about the reserves")


def costs(items: Mapping[str, float], value_s: float | None) -> Table:
    """Return what the plan costs, item by item, in weighted seconds."""
    table = new_table("What the plan costs (weighted seconds)", "item", "seconds", numbers=1)
    for name, seconds in items.items():
        if name == "stops" or abs(seconds) >= 0.005:
            table.add_row(words.cost(name), f"{seconds:,.2f}")
    if value_s is not None:
        table.add_row(Text("all together", style="bold"), Text(f"{value_s:,.2f}", style="bold"))
    return table


def proof(plan: Plan) -> Text:
    """Return in words how good the plan is known to be."""
    if plan.value_s is None or plan.bound_s is None or plan.gap is None:
        return Text("Nothing is proven about this plan.")
    words = {
        "proven": "Proven: within the tolerance of the best possible",
        "best_so_far": "Best plan so far: not within the tolerance yet",
    }
    text = (
        f"{words.get(plan.status, plan.status)}. No plan costs less than {plan.bound_s:,.2f} s; this one costs "
        f"{plan.value_s:,.2f} s, a gap of {plan.gap:.2%} (tolerance {plan.tolerance or 0:.2%}, "
        f"{plan.scenarios:,} sampled stops per service, seed {plan.seed})."
    )
    if plan.fresh_value_s is not None and plan.se_s is not None:
        text += f" On stops sampled afresh it costs {plan.fresh_value_s:,.2f} s, give or take {plan.se_s:.2f} s."
    return Text("\n".join((text, *plan.notes)))


def no_plan(plan: Plan) -> RenderableType:
    """Return in words why there is no plan."""
    if plan.status == "not_found":
        return Text("No plan was found in the time given. That does not mean there is none: give it more time.")
    return Text("\n".join((f"No plan exists for {', '.join(plan.weekends)}.", *clash_lines(plan.clash))))


def clash_lines(clashes: Sequence[Clash]) -> Iterator[str]:
    """Tell line by line which facts cannot all hold, and what would mend each clash."""
    for number, clash in enumerate(clashes, start=1):
        yield f"\nClash {number}: these facts cannot all hold."
        yield from (f"  - {fact.text}" for fact in clash.facts)
        if clash.repairs:
            yield "  What would mend it, cheapest first (each was tried):"
            yield from (f"  * {repair.text}" for repair in clash.repairs)
