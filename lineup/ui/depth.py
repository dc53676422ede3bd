"""Depth chart: for every seat of a weekend its starter, who steps in, and the seats nobody could take over."""

from __future__ import annotations

import streamlit as st

from lineup.errors import LineupError
from lineup.plan import Plan
from lineup.report.cover_words import cover_words, seat_words, uncovered
from lineup.report.party import car_name, name_of, position_name
from lineup.season import Race, Season, Seat
from lineup.ui import live, plans, show
from lineup.ui.door import may, me
from lineup.ui.links import keep, pick
from lineup.ui.opened import Opened, now, require_season, store


def page() -> None:
    """Show one weekend's depth, race by race."""
    show.head("Depth chart", "Who starts, who steps in with which moves, and where one loss would hurt.")
    found, season = require_season()
    chosen = plans.require_plan(found, season)
    plan = chosen.plan
    weekends = [w for w in season.weekends if w in plan.weekends]
    weekend = pick("weekend", "Weekend", weekends, lambda w: show.plain(show.weekend_title(season, w)))
    if not plan.cover and not plan.reserves:
        st.warning("This plan names no reserves and no cover yet.")
    for race in season.races_of((weekend,)):
        chart(season, plan, race)
    holes(season, plan)
    losses(found, season, plan)
    show.foot()


def chart(season: Season, plan: Plan, race: Race) -> None:
    """Show the seats of one race: starter, then who steps in."""
    st.subheader(show.plain(show.race_title(season, race)), anchor=False)
    cover = {c.seat: c for c in plan.cover if c.seat.race == race.id}
    cars = season.cars_in[race.id]

    def cell(seat: Seat) -> str:
        starter = plan.athlete_in(seat)
        if starter is None:
            return "<em>empty</em>"
        steps = cover_words(season, cover[seat]) if seat in cover else "✕ nobody on site"
        return f"<strong>{show.safe(name_of(season, starter))}</strong><br><small>if lost: {show.safe(steps)}</small>"

    rows = [
        [show.safe(position_name(season, p)), *(cell(Seat(race.id, car, p)) for car in cars)]
        for p in season.positions_of(race.id)
    ]
    show.table("Starter, and who steps in", ["Position", *(car_name(season, car) for car in cars)], rows)
    reserves = ", ".join(name_of(season, r.athlete) for r in plan.reserves if r.race == race.id)
    st.html(f'<p class="note"><strong>Travels as reserve:</strong> {show.safe(reserves or "nobody")}</p>')


def holes(season: Season, plan: Plan) -> None:
    """Name the seats of the whole block that nobody on site could take over."""
    open_seats = uncovered(plan)
    st.subheader("Over the whole block", anchor=False)
    if not open_seats:
        st.markdown("Every seat has somebody on site to step in.")
        return
    st.markdown(f"✕ {len(open_seats)} seats have nobody on site to step in:")
    show.lines(f"{season.races[s.race].name or s.race}: {seat_words(season, s)}" for s in open_seats[:40])


def losses(found: Opened, season: Season, plan: Plan) -> None:
    """Lose every starter in turn, on paper, and show where that hurts."""
    st.header("Where one loss would hurt", anchor=False)
    key = str(st.query_params.get("drill") or st.session_state.get("last_drill") or "")
    job = live.jobs().get(key)
    if job is None:
        st.markdown("A drill loses every athlete once, plans the block again each time, and tells what that costs.")
        if st.button("Run the drill", icon=":material/fitness_center:"):
            keep("drill", live.start_drill(found, season, plan))
            st.rerun()
        return
    keep("drill", key)
    live.watch_drill(key)
    if job.state == "running" or job.result is None:
        return
    from lineup.explain.drill_records import drill_lines, drill_to_dict

    show.lines(drill_lines(season, job.result))
    with st.container(horizontal=True):
        if st.button("Run it anew"):
            keep("drill", live.start_drill(found, season, plan))
            st.rerun()
        if may("coach") and st.button("Keep it in the record"):
            desk = store(found.path, make=True)
            assert desk is not None
            try:
                desk.keep_drill(job.title, drill_to_dict(job.result), season.fingerprints, by=me(), now=now())
            except LineupError as error:
                st.error(show.plain(str(error)))
            else:
                st.success("Kept")


page()
