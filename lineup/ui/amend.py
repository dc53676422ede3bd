"""Amending a roster at the track: one seat, who steps in, why; in force at once, ratified by a signer later."""

from __future__ import annotations

import streamlit as st

from lineup.explain.on_site import StepIn, step_ins, with_step_in
from lineup.plan import Plan
from lineup.report.party import car_name, name_of, position_name
from lineup.report.race_words import race_name
from lineup.season import Season, Seat
from lineup.store import Roster, Store
from lineup.ui import plans, show
from lineup.ui.act import taken
from lineup.ui.door import may, me
from lineup.ui.opened import Opened, now, study_of
from lineup.ui.remember import once, plan_name


def amend(found: Opened, kept: Store, season: Season, roster: Roster) -> None:
    """Offer to change the starting crews in force, one seat at a time."""
    if not may("coach", "signer", "crew_chief"):
        return
    plan = kept.plan(roster.revision)
    with st.expander("Amend at the track: in force at once, ratified later", icon=":material/emergency:"):
        show.note(
            f"Changes revision {roster.revision}, the one in force. Take this step when somebody is lost at the track; "
            "the tool clears nobody, and no reason of health belongs into the record."
        )
        seat = ask_seat(season, plan, roster.weekend)
        if seat is None:
            return
        study = study_of(found, season, plan.weekends)
        asked = ("step ins", found.mark, found.pins, plan_name(plan), seat)
        with st.spinner("Looking who is there and may step in"):
            ways = once(asked, lambda: step_ins(study, plan, seat))
        if not ways:
            st.warning("Nobody at the track may step into this seat under the rules of the season.")
            return
        with st.form(f"amend_{roster.revision}"):  # what was filled in for another revision counts no more
            way = ask_way(season, ways, roster.revision)
            reason = st.text_input("Why, without a diagnosis", max_chars=300, placeholder="unavailable since noon")
            if st.form_submit_button("Put it in force now", type="primary", icon=":material/bolt:"):

                def put_in_force() -> None:
                    after = with_step_in(study, plan, way)
                    audit = plans.auditor(found)
                    kept.amend(roster, after, season, audit, reason=reason, by=me(), now=now())

                if taken(put_in_force):
                    st.rerun()


def ask_seat(season: Season, plan: Plan, weekend: str) -> Seat | None:
    """Ask which seat is lost: those that somebody works this weekend."""
    races = [race.id for race in season.races_of((weekend,))]
    seats = sorted(
        (seat for seat in plan.by_seat if seat.race in races), key=lambda s: (races.index(s.race), s.car, s.position)
    )
    if not seats:
        return None
    words = {
        seat: f"{race_name(season, seat.race)} · {car_name(season, seat.car)} · "
        f"{position_name(season, seat.position)} · {name_of(season, plan.by_seat[seat])}"
        for seat in seats
    }
    return st.selectbox("Which seat is lost", seats, format_func=words.__getitem__, key=f"lost_{weekend}")


def ask_way(season: Season, ways: tuple[StepIn, ...], revision: int) -> StepIn:
    """Ask who steps in, the fewest people moved first, with everything that moves."""
    by_athlete = {way.athlete: way for way in ways}
    words = {a: show.plain(f"{name_of(season, a)}: {way.text}") for a, way in by_athlete.items()}
    key = f"step_in_{revision}"
    chosen = st.radio("Who steps in (only who is there and may)", list(words), format_func=words.__getitem__, key=key)
    return by_athlete[str(chosen)]
