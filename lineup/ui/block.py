"""Block: athletes by weekends, the cars' stops and limits, priorities moved between cars, two plans compared."""

from __future__ import annotations

from typing import TYPE_CHECKING

import streamlit as st

from lineup.explain.words import count
from lineup.plan import Plan
from lineup.report.car_rows import CarRow, car_rows, main_stops
from lineup.report.charts import before_after, car_stops
from lineup.report.limit_rows import SIGNS, limit_rows
from lineup.report.party import car_name, name_of, position_name
from lineup.report.race_words import race_name
from lineup.report.roster import RosterCell, RosterRow, roster
from lineup.season import Season, Seat
from lineup.ui import live, plans, show
from lineup.ui.links import keep
from lineup.ui.opened import Opened, require_season, study_of
from lineup.ui.plans import Chosen
from lineup.ui.remember import once, plan_name

if TYPE_CHECKING:
    from lineup.store import Difference
    from lineup.study import Study

TINTS = ("", "other", "third", "fourth")
LOAD = ("Starts", "In a row", "Nights", "Travel")


def page() -> None:
    """Show the block of one plan at a glance, then what a director may want to move."""
    show.head("Block", "Who works, rests and travels on every weekend, and how each car’s stops come out.")
    found, season = require_season()
    chosen = plans.require_plan(found, season)
    plans.strip(chosen)
    live.running_elsewhere()
    cars(season, chosen.plan)
    matrix(found, season, chosen.plan)
    limits(found, season, chosen.plan)
    priorities(found, season, chosen.plan)
    compare(found, season, chosen)
    plans.keep_draft(found, season, chosen)
    show.foot()


def cars(season: Season, plan: Plan) -> None:
    """Show each car's forecast stops over the block and what holds them up."""
    st.header("Stops, car by car", anchor=False)
    rows = car_rows(season, plan)
    if not rows:
        st.markdown("This plan carries no forecast yet. Open the weekend crews to forecast its stops.")
        return
    left, right = st.columns([5, 4], gap="large")
    with left:
        show.table(
            "Forecast over the block, the most important car first",
            ["Car", "Mean stop", "Most usual stop, median: best and worst race", "Mostly held up by"],
            [_car(season, row) for row in rows],
        )
    with right:
        points = [(e.car, e.race, e.median_s, e.p90_s) for e in main_stops(season, plan)]
        show.picture(car_stops(points, season), "car_stops")


def _car(season: Season, row: CarRow) -> list[str]:
    held = ", ".join(f"{position_name(season, p).lower()} {share:.0%}" for p, share in row.held_up_by[:2])
    best, worst = (show.safe(race_name(season, e.race)) for e in (row.best, row.worst))
    return [
        f"{show.safe(car_name(season, row.car))}<br><small>priority {season.cars[row.car].priority:g}</small>",
        f"{row.mean_s:.2f} s<br><small>{row.stops:g} stops of all kinds, {count(row.races, 'race')}</small>",
        f"{row.best.median_s:.1f} s <small>{best}</small><br>{row.worst.median_s:.1f} s <small>{worst}</small>",
        show.safe(held),
    ]


def matrix(found: Opened, season: Season, plan: Plan) -> None:
    """Show who works, travels, rests or is out, weekend by weekend, with each athlete's load."""
    st.header("Who works when", anchor=False)
    rows = once(("roster", found.mark, found.pins, plan_name(plan)), lambda: roster(season, plan))
    tints = {car: TINTS[i % len(TINTS)] for i, car in enumerate(season.cars)}
    columns = ["Athlete", *(_weekend(season, weekend) for weekend in plan.weekends), *LOAD]
    heads = "".join(f'<th scope="col">{column}</th>' for column in columns)
    body, last = [], None
    for row in rows:
        if row.position != last:
            last = row.position
            title = show.safe(position_name(season, last) if last else "No clearance")
            body.append(f'<tr class="group"><th scope="rowgroup" colspan="{len(columns)}">{title}</th></tr>')
        body.append(_row(season, row, tints))
    st.html(
        '<div class="scroll" tabindex="0" role="region" aria-label="Roster of the block">'
        '<table class="sheet matrix"><caption>A car’s name: works it. Reserve: travels without a seat. '
        "–: rests. ✕ out: unavailable. Nights and hours of travel are those of the block; "
        "! marks who is over a limit, at a price or not."
        f"</caption><thead><tr>{heads}</tr></thead><tbody>{''.join(body)}</tbody></table></div>"
    )
    over = [line for row in rows for line in row.beyond]
    if over:
        with st.expander(f"Over a limit: {len(over)}"):
            show.lines(over)


def _weekend(season: Season, weekend: str) -> str:
    label, _, days = show.weekend_title(season, weekend).partition(" · ")
    return f"{show.safe(label)}<br><small>{show.safe(days)}</small>"


def _row(season: Season, row: RosterRow, tints: dict[str, str]) -> str:
    cells = "".join(f"<td>{_cell(season, row, cell, tints)}</td>" for cell in row.cells)
    warn = ' <span class="tag hot" title="over a limit">!</span>' if row.beyond else ""
    load = (str(row.starts), str(row.longest_run), str(row.nights_away), f"{row.travel_h:.0f} h")
    loads = "".join(f'<td><span class="num">{value}</span></td>' for value in load)
    return f'<tr><th scope="row">{show.safe(name_of(season, row.athlete.id))}{warn}</th>{cells}{loads}</tr>'


def _cell(season: Season, row: RosterRow, cell: RosterCell, tints: dict[str, str]) -> str:
    if cell.kind == "works":
        words = " + ".join(_seat(season, row, seat) for seat in cell.seats)
        return f'<span class="cell works {tints[cell.seats[0].car]}">{words}</span>'
    words = {"travels": "reserve", "out": "✕ out", "rests": "–", "no_race": ""}[cell.kind]
    return f'<span class="cell {cell.kind}">{words}</span>'


def _seat(season: Season, row: RosterRow, seat: Seat) -> str:
    car = show.safe(car_name(season, seat.car))
    other = seat.position != row.position
    return f"{car} <small>{show.safe(position_name(season, seat.position))}</small>" if other else car


def limits(found: Opened, season: Season, plan: Plan) -> None:
    """Show the limits that are broken, cost something or are at the edge."""
    st.header("Limits", anchor=False)
    audit = live.later(
        ("audit", found.mark, found.pins, plan_name(plan)),
        "Checking every limit",
        lambda: plans.audited(found, season, plan),
    )
    if audit is None:
        return
    rows = limit_rows(audit)
    tight = [row for row in rows if row.state != "kept"]
    st.markdown(f"{len(rows) - len(tight)} of {len(rows)} limits are kept with room to spare.")
    if not tight:
        return
    show.table(
        "The others. ✕ broken; § broken at a price; ! at the edge: kept, a tenth or less is left",
        ["", "Limit", "Tightest place", "Costs"],
        [
            [
                f"{SIGNS[row.state]} {row.state}",
                show.safe(row.name),
                show.safe(row.text),
                f"{row.cost_s:.1f} s" if row.cost_s else "",
            ]
            for row in tight
        ],
    )


def priorities(found: Opened, season: Season, plan: Plan) -> None:
    """Let priority be moved between cars and the block be planned again."""
    st.header("Move priority between cars", anchor=False)
    with st.form("priorities"):
        st.markdown("A car’s priority weighs the seconds of its stops. The plan that follows is a draft to compare.")
        fields = st.columns(max(1, len(season.cars)))
        wanted = {}
        for field, car in zip(fields, season.cars.values(), strict=True):
            with field:
                wanted[car.id] = st.number_input(
                    show.plain(car.name or car.id), 0.1, 100.0, float(car.priority), step=0.5, key=f"priority_{car.id}"
                )
        if st.form_submit_button("Plan again with these", icon=":material/route:"):
            moved = ", ".join(f"{car_name(season, car)} {value:g}" for car, value in wanted.items())
            begun = live.start_priorities(found, season, plan, wanted, f"priorities {moved}")
            st.session_state["priority_job"] = begun
            keep("job", begun)
    job_id = str(st.session_state.get("priority_job") or st.query_params.get("job") or "")
    if job_id and live.jobs().get(job_id) is not None:
        job = live.watch(job_id)
        if job is not None and job.state in ("done", "stopped"):
            st.success("The draft is ready: compare it below.")
            st.session_state.setdefault("compare_with", job_id)


def compare(found: Opened, season: Season, chosen: Chosen) -> None:
    """Compare the plan that is looked at with another one."""
    others = plans.others(found, season, chosen)
    if not others:
        return
    st.header("Compare two plans", anchor=False)
    keys = list(others)
    if st.session_state.get("compare_with") not in keys:
        st.session_state["compare_with"] = keys[0]
    other_key = st.selectbox("With which plan", keys, format_func=lambda k: others[k], key="compare_with")
    other = plans.find(other_key, found, season)
    if other is None:
        return
    show_difference(found, season, chosen.plan, other.plan)


def compared(study: Study, before: Plan, after: Plan) -> Difference:
    """Return what differs between two plans; the solvers' libraries are loaded here, not when the page opens."""
    from lineup import workflow

    return workflow.compare_plans(study, before, after)


def show_difference(found: Opened, season: Season, before: Plan, after: Plan) -> None:
    """Show what changes from one plan to another, first for the cars, then seat by seat."""
    old, new = ({row.car: row.mean_s for row in car_rows(season, plan)} for plan in (before, after))
    pairs = [(car_name(season, car), old[car], new[car]) for car in old if car in new]
    left, right = st.columns(2, gap="large")
    with left:
        if pairs:
            show.picture(before_after(pairs), "compare_cars")
    with right:
        told = live.later(
            ("difference", found.mark, found.pins, plan_name(before), plan_name(after)),
            "Pricing both on the same sampled stops",
            lambda: compared(study_of(found, season, before.weekends), before, after),
        )
        if told is None:
            return
        moves = len(told.seats) + len(told.trips)
        seats, trips = count(len(told.seats), "seat"), count(len(told.trips), "trip")
        st.markdown(f"**{seats} and {trips} differ**")
        show.lines(told.texts(season)[moves:])
    with st.expander("Seat by seat"):
        show.lines(told.texts(season)[:moves])


page()
