"""Decisions taken by hand on a seat: what seating somebody else would bring, pins set and lifted, planning again."""

from __future__ import annotations

from typing import get_args

import streamlit as st

from lineup import workflow
from lineup.plan import Plan
from lineup.report.party import name_of
from lineup.season import Pin, PinKind, Season, Seat
from lineup.store import KeptPin, Store
from lineup.store.checklist import pin_text
from lineup.study import Study
from lineup.ui import live, show
from lineup.ui.act import taken
from lineup.ui.door import may, me
from lineup.ui.links import keep
from lineup.ui.opened import Opened, made_store, now, opened, store
from lineup.ui.remember import plan_name

KINDS: dict[PinKind, str] = {
    "must": "must work this seat",
    "never": "never works this seat",
    "pair": "works the same car as",
    "apart": "never the same car as",
}


def why_not(found: Opened, study: Study, plan: Plan, seat: Seat, others: list[str]) -> None:
    """Seat somebody by hand as a trial, plan everything else again, and tell what that would bring."""
    season = study.season
    athlete = st.selectbox("Seat somebody by hand, as a trial", others, format_func=lambda a: name_of(season, a))
    asked = (found.mark, found.pins, plan_name(plan), seat, athlete)
    if st.button("Plan the rest around them", icon=":material/person_search:"):
        st.session_state["why_not"] = asked
    if st.session_state.get("why_not") != asked:
        return
    told = live.later(
        ("why not", *asked),
        "Planning everything else again",
        lambda: workflow.explain_not(study, plan, seat, str(athlete)),
    )
    if told is None:
        return
    st.html(f"<p><strong>{show.safe(told.text)}</strong></p>")
    show.lines(told.reasons)
    if told.smallest:
        st.markdown("**The smallest changes that would make it right, each tried**")
        show.lines(told.smallest)


def pins(found: Opened, season: Season, plan: Plan, seat: Seat) -> None:
    """Set a pin on this seat, lift one, and plan again with them."""
    kept = store(found.path)
    in_force = kept.pins() if kept is not None else ()
    with st.expander(f"Pins: decided by hand ({len(in_force)} kept on these pages)"):
        if kept is not None:
            for row in in_force:
                lift(season, row, kept)
        if not may("coach"):
            return
        with st.form("pin"):
            athlete = st.selectbox("Athlete", list(season.athletes), format_func=lambda a: name_of(season, a))
            kind = st.selectbox("Decision", get_args(PinKind), format_func=lambda k: KINDS[k])
            other = st.selectbox(
                "The other one (for a pair or apart)", ["", *season.athletes],
                format_func=lambda a: name_of(season, a) if a else "–",
            )  # fmt: skip
            whole = st.checkbox("In every race of the block, not in this race alone")
            reason = st.text_input("Reason, which stays in the record", max_chars=300)
            if st.form_submit_button("Pin it", icon=":material/push_pin:"):
                race = None if whole else seat.race
                on_seat = kind in ("must", "never")
                pin = Pin(
                    kind, str(athlete), reason, None if on_seat else other or None, race,
                    seat.car if on_seat else None, seat.position if on_seat else None,
                )  # fmt: skip
                set_pin(found, pin)
        if in_force and st.button("Plan again with the pins", icon=":material/route:"):
            pinned = opened()
            if pinned.season is not None:
                job = live.start_plan(pinned, pinned.season, plan.weekends, "with the pins in force", plan.assignments)
                st.session_state.pop("pick_plan", None)
                keep("plan", job)
                st.rerun(scope="app")


def set_pin(found: Opened, pin: Pin) -> None:
    """Keep a pin in the store."""
    if pin.kind in ("pair", "apart") and pin.other in (None, pin.athlete):
        st.error("Name the other one.")
    elif taken(lambda: made_store(found.path).keep_pin(pin, by=me(), now=now())):
        st.rerun(scope="app")


def lift(season: Season, row: KeptPin, kept: Store) -> None:
    """Show a pin, and let a coach lift it with a reason."""
    why = f"({row.pin.reason}, by {kept.name_of(row.by)})"
    st.html(f"<p>{show.safe(pin_text(season, row.pin))} <small>{show.safe(why)}</small></p>")
    if not may("coach"):
        return
    with st.form(f"lift_{row.number}", border=False):
        left, right = st.columns([5, 1], vertical_alignment="bottom")
        reason = left.text_input("Why it is lifted, which stays in the record", max_chars=300)
        if right.form_submit_button("Lift") and taken(
            lambda: kept.lift_pin(row.number, reason=reason, by=me(), now=now())
        ):
            st.rerun(scope="app")
