"""Depth chart: for every seat of a weekend its starter, who steps in, and the seats nobody could take over."""

from __future__ import annotations

import streamlit as st

from lineup.explain.words import count
from lineup.plan import Plan
from lineup.report.cover_words import cover_words, seat_words, uncovered
from lineup.report.party import car_name, name_of, position_name
from lineup.report.race_words import race_name, race_title
from lineup.season import Race, Season, Seat
from lineup.ui import live, plans, show
from lineup.ui.act import taken
from lineup.ui.door import may, me
from lineup.ui.links import keep, pick
from lineup.ui.opened import Opened, made_store, now, require_season

SHOWN_SEATS = 40


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
    st.subheader(show.plain(race_title(season, race)), anchor=False)
    cover = {c.seat: c for c in plan.cover if c.seat.race == race.id}
    cars = season.cars_in[race.id]

    def cell(seat: Seat) -> str:
        starter = plan.athlete_in(seat)
        if starter is None:
            return "<em>empty</em>"
        steps = cover_words(season, cover[seat]) if seat in cover else "nobody"
        lost = "✕ nobody on site" if steps == "nobody" else steps
        return f"<strong>{show.safe(name_of(season, starter))}</strong><br><small>if lost: {show.safe(lost)}</small>"

    rows = [
        [show.safe(position_name(season, p)), *(cell(Seat(race.id, car, p)) for car in cars)]
        for p in season.positions_of(race.id)
    ]
    show.table("Starter, and who steps in", ["Position", *(car_name(season, car) for car in cars)], rows)
    reserves = ", ".join(name_of(season, r.athlete) for r in plan.reserves if r.race == race.id)
    st.html(f'<p class="note"><strong>Travels as reserve:</strong> {show.safe(reserves or "nobody")}</p>')


def holes(season: Season, plan: Plan) -> None:
    """Name the seats of the whole block that nobody on site could take over."""
    bare = uncovered(season, plan)
    st.subheader("Over the whole block", anchor=False)
    if not bare:
        st.markdown("Every seat that must be filled has somebody on site to step in.")
        return
    st.markdown(f"✕ {count(len(bare), 'seat')} with nobody on site to step in:")
    left = len(bare) - SHOWN_SEATS
    show.lines(f"{race_name(season, s.race)}: {seat_words(season, s)}" for s in bare[:SHOWN_SEATS])
    if left > 0:
        show.note(f"and {count(left, 'more seat')}")


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
    live.watch(key, live.losses_so_far, "Stop the drill")
    if job.state == "running" or job.result is None:
        return
    from lineup.explain.drill_records import drill_lines, drill_to_dict

    show.lines(drill_lines(season, job.result))
    with st.container(horizontal=True):
        if st.button("Run the drill again"):
            keep("drill", live.start_drill(found, season, plan))
            st.rerun()
        if may("coach") and st.button("Keep it in the record"):
            kept, told = made_store(found.path), drill_to_dict(job.result)
            if taken(lambda: kept.keep_drill(job.title, told, season.fingerprints, by=me(), now=now())):
                st.success("Kept in the record")


page()
