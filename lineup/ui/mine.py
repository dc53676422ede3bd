"""My weekend: where an athlete has to be, when, on which car and position, and with whom; nothing else."""

from __future__ import annotations

import streamlit as st

from lineup.report.duties import Duty, duties_of
from lineup.report.race_words import duty_times
from lineup.season import Season
from lineup.ui import show
from lineup.ui.door import person
from lineup.ui.opened import opened, store

CARE = (
    "Lift as trained, gear on before fuel is handled, drive only rested. After an injury, work only what a licensed "
    "practitioner has cleared in writing. The sanctioning body’s rules, local codes and licensed practice come first; "
    "this page clears nobody to compete."
)


def page() -> None:
    """Show the duties of the athlete that the link names; after a log-in, of the one who is logged in."""
    st.title("My weekends", anchor=False)
    athlete = whose()
    found = opened()
    season = found.season
    if season is None or athlete not in season.athletes:
        st.markdown("This link names nobody. Ask your coach for your own link.")
        return
    kept = store(found.path)
    plan = None if kept is None else kept.in_force(season)
    if plan is None or not plan.weekends:
        st.markdown("No roster has been given out yet.")
        return
    st.html(f"<p><strong>{show.safe(season.athletes[athlete].name)}</strong></p>")
    given_out = [weekend for weekend in season.weekends if weekend in plan.weekends]
    mine = [duty for weekend in given_out for duty in duties_of(season, plan, weekend, athlete)]
    if not mine:
        st.markdown("You have no duty on the weekends given out so far.")
    for duty in mine:
        show_duty(season, duty)
    st.html(f'<p class="caution"><strong>Caution.</strong> {show.safe(CARE)}</p>')


def whose() -> str:
    """Return whose page it is: who is no staff sees the own one, whatever the link says."""
    asked, who = str(st.query_params.get("athlete") or ""), person()
    if who is None or (who.is_staff and asked):
        return asked
    if asked not in ("", who.athlete):
        st.error("This link is somebody else’s. Below are your own weekends.", icon=":material/lock:")
    return who.athlete or ""


def show_duty(season: Season, duty: Duty) -> None:
    """Show one duty as a card of words."""
    race = season.races[duty.race]
    rows = [
        ("Where", season.sites[race.site].name),
        *duty_times(season, race),
        ("Car", duty.car or "none: you travel as reserve"),
    ]
    if duty.position:
        rows.append(("Position", duty.position))
    rows.append(("With", ", ".join(duty.crew) or "–"))
    cells = "".join(f"<dt>{show.safe(what)}</dt><dd>{show.safe(text)}</dd>" for what, text in rows)
    st.html(
        f'<section class="duty"><h2>{show.safe(race.name or race.id)}</h2><dl>{cells}</dl>'
        f'<p class="note">Times are those at the track ({show.safe(season.sites[race.site].time_zone)}).</p></section>'
    )


page()
