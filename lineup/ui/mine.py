"""My weekend: where an athlete has to be, when, on which car and position, and with whom; nothing else."""

from __future__ import annotations

import streamlit as st

from lineup.report.duties import Duty, duties_of
from lineup.season import Season
from lineup.ui import plans, show
from lineup.ui.door import person
from lineup.ui.opened import opened


def page() -> None:
    """Show the duties of the athlete that the link names; after a log-in, of the one who is logged in."""
    st.title("My weekends", anchor=False)
    athlete = whose()
    found = opened()
    season = found.season
    if season is None or athlete not in season.athletes:
        st.markdown("This link names nobody. Ask your coach for your own link.")
        return
    told = plans.in_force(found, season)
    if not told:
        st.markdown("No roster has been given out yet.")
        return
    st.html(f"<p><strong>{show.safe(season.athletes[athlete].name)}</strong></p>")
    mine = [duty for weekend, plan in told.items() for duty in duties_of(season, plan, weekend, athlete)]
    if not mine:
        st.markdown("You have no duty on the weekends given out so far.")
    for duty in mine:
        show_duty(season, duty)


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
    report, start, released = (season.local(t, race.site) for t in (race.report, race.start, race.released))
    rows = [
        ("Where", season.sites[race.site].name),
        ("Report", f"{report:%A} {report.day} {report:%B}, {report:%H:%M}"),
        ("Race", f"{start:%H:%M}"),
        ("Released", f"about {released:%H:%M}"),
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
