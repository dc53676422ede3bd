"""Decisions taken by hand on a seat: what seating somebody else would bring, pins set and lifted, planning again."""

from __future__ import annotations

from typing import get_args

import streamlit as st

from lineup import workflow
from lineup.errors import LineupError
from lineup.plan import Plan
from lineup.report.party import name_of
from lineup.season import Pin, PinKind, Season, Seat
from lineup.store import KeptPin
from lineup.store.checklist import pin_text
from lineup.study import Study
from lineup.ui import live, show
from lineup.ui.door import may, me
from lineup.ui.links import keep
from lineup.ui.opened import Opened, now, opened, store
from lineup.ui.remember import name_of as plan_name

KINDS: dict[PinKind, str] = {
    "must": "must work this seat",
    "never": "never works this seat",
    "pair": "works the same car as",
    "apart": "never the same car as",
}


def why_not(found: Opened, study: Study, plan: Plan, seat: Seat, others: list[str]) -> None:
    """Seat somebody by hand in thought, plan everything else again, and tell what that would bring."""
    season = study.season
    athlete = st.selectbox("Seat somebody by hand, in thought", others, format_func=lambda a: name_of(season, a))
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
        for row in in_force:
            lift(season, row, found)
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
                job = live.start_plan(pinned, pinned.season, plan.weekends, "with the pins of now", plan.assignments)
                st.session_state.pop("pick_plan", None)
                keep("plan", job)
                st.rerun(scope="app")


def set_pin(found: Opened, pin: Pin) -> None:
    """Keep a pin in the store."""
    desk = store(found.path, make=True)
    assert desk is not None
    if pin.kind in ("pair", "apart") and pin.other in (None, pin.athlete):
        st.error("Name the other one.")
        return
    try:
        desk.keep_pin(pin, by=me(), now=now())
    except LineupError as error:
        st.error(show.plain(str(error)))
        return
    st.rerun(scope="app")


def lift(season: Season, row: KeptPin, found: Opened) -> None:
    """Show a pin with a button that lifts it."""
    left, right = st.columns([5, 1])
    why = f"({row.pin.reason}, by {row.by})"
    left.html(f"<p>{show.safe(pin_text(season, row.pin))} <small>{show.safe(why)}</small></p>")
    if may("coach") and right.button("Lift", key=f"lift_{row.number}"):
        desk = store(found.path)
        assert desk is not None
        try:
            desk.lift_pin(row.number, reason="lifted on the page", by=me(), now=now())
        except LineupError as error:
            st.error(show.plain(str(error)))
        else:
            st.rerun(scope="app")
