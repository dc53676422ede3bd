"""Hurt on Thursday: mark somebody out, or coming back step by step; see the ways to go on, take one."""

from __future__ import annotations

from datetime import date, timedelta

import streamlit as st

from lineup.eligibility import shown_day
from lineup.errors import InputError
from lineup.explain.absences import Return, absence_of, return_of
from lineup.explain.injury import CAUTION, Option, Replan, option_text
from lineup.explain.words import count
from lineup.plan import Plan
from lineup.read.entered_absences import enter_absences
from lineup.report.party import car_name, name_of, position_name
from lineup.report.race_words import race_name
from lineup.season import Absence, Season
from lineup.ui import live, plans, show
from lineup.ui.act import taken
from lineup.ui.door import may, me, require
from lineup.ui.links import drop, keep
from lineup.ui.opened import Opened, require_season, store
from lineup.ui.plans import Chosen

SHOWN_NAMES = 4  # of those whose duties change; the table below names them all


def page() -> None:
    """Ask who is out and when, then show the ways to go on."""
    show.head("Hurt on Thursday", "Mark somebody out; the plan with the fewest changes comes first.")
    st.html(f'<p class="caution"><strong>Caution.</strong> {show.safe(CAUTION)}</p>')
    found, season = require_season()
    chosen = plans.require_plan(found, season)
    ask(found, season, chosen)
    key = str(st.query_params.get("replan") or st.session_state.get("last_replan") or "")
    if not key:
        return
    job = live.jobs().get(key)
    if job is None:
        drop("replan")
        st.info("That re-plan is no longer there: the server was restarted. Begin it again.")
        return
    keep("replan", key)
    live.watch(key)
    if isinstance(job.result, Replan):
        answers(found, season, chosen, job.result)


def ask(found: Opened, season: Season, chosen: Chosen) -> None:
    """Ask who is out, from when and until when."""
    plan = chosen.plan
    races = season.races_of(plan.weekends)
    looked_at = season.races_of((str(st.session_state.get("last_weekend") or ""),)) or races
    begins, ends = season.duty_days(races[0].id)[0], season.duty_days(races[-1].id)[1]
    people = [a for a in season.athletes if any(x.athlete == a for x in plan.assignments)]
    others = [a for a in season.athletes if a not in people]
    with st.form("hurt"):
        athlete = st.selectbox("Who is out", [*people, *others], format_func=lambda a: name_of(season, a))
        left, right = st.columns(2)
        earliest = begins - timedelta(days=7)
        usual = season.duty_days(looked_at[0].id)[0]
        first = left.date_input("From", usual, min_value=earliest, max_value=ends, format="YYYY-MM-DD")
        last = right.date_input(
            "Last day out (empty: no day of return yet)", value=None, min_value=earliest, format="YYYY-MM-DD"
        )
        names = {race.id: race_name(season, race.id) for race in races}
        on_site = st.multiselect(
            "Races where the crew is at the track already, so that only those who are there can step in",
            list(names), format_func=lambda race: names[race], placeholder="none",
        )  # fmt: skip
        steps = ask_return(earliest)
        if st.form_submit_button("Plan again", type="primary", icon=":material/healing:"):
            taken(lambda: begin(found, season, plan, out_of(season, plan, str(athlete), (first, last), steps), on_site))


Steps = tuple[date | None, date | None, date | None]


def ask_return(earliest: date) -> Steps:
    """Ask for the days of a return step by step: practice, cover, start; all None where nobody returns like that."""
    with st.expander("Coming back step by step, by the coach’s dates"):
        st.markdown(
            "These days come from the coach, after a licensed practitioner has cleared each step in writing. Nothing "
            "here clears anybody, and no reason is asked for. The last day out above stays empty."
        )
        labels = ("Practises from (may stay empty)", "May step in for somebody from (empty: with the start)")
        places = st.columns(3)
        practice, cover = (
            place.date_input(label, value=None, min_value=earliest, format="YYYY-MM-DD")
            for place, label in zip(places[:2], labels, strict=True)
        )
        start = places[2].date_input("May start from", value=None, min_value=earliest, format="YYYY-MM-DD")
    return practice, cover, start


def out_of(season: Season, plan: Plan, athlete: str, days: tuple[date, date | None], steps: Steps) -> Absence | Return:
    """Return the absence or the return that was asked for, checked; InputError where its days do not fit."""
    practice, cover, start = steps
    if not any(steps):
        return absence_of(season, plan.weekends, athlete, *days)
    if start is None:
        raise InputError("a return step by step needs the day of the first start")
    if days[1] is not None:
        raise InputError("give either the last day out or the steps of a return, not both")
    return return_of(season, plan.weekends, athlete, cover or start, start, practice, days[0])


def begin(found: Opened, season: Season, plan: Plan, out: Absence | Return, on_site: list[str]) -> None:
    """Begin the re-plan in the background; signed weekends stay as they are but for the seats of the absent."""
    kept = store(found.path)
    signed = [s.weekend for s in kept.states() if s["starting_crews"].in_force] if kept is not None else []
    keep("replan", live.start_replan(found, season, plan, out, signed, on_site))


def answers(found: Opened, season: Season, chosen: Chosen, told: Replan) -> None:
    """Show the ways to go on, and let one be taken."""
    who = ", ".join(f"{name_of(season, a.athlete)} ({days_of(a)})" for a in told.absences)
    st.header(show.plain(f"Without {who}"), anchor=False)
    if told.returns:
        ramp(season, told)
    if not told.lost:
        st.markdown("No seat of this plan is lost.")
        return
    st.markdown(f"{count(len(told.lost), 'seat')} lost:")
    show.lines((*lost_seats(season, told), *told.notes))
    if not told.options:
        show.clashes(told.clash)
        return
    show.table(
        "The ways to go on. Cost: weighted seconds more than the plan in force",
        ["Way", "Seats that change", "Whose duties change", "Costs", "How sure"],
        [option_row(season, option) for option in told.options],
    )
    labels = [option.label.capitalize() for option in told.options]
    index = labels.index(str(st.radio("Look at one", labels, horizontal=True, key="way")))
    option = told.options[index]
    st.html(f"<p>{show.safe(option_text(season, option))}</p>")
    changes(season, option)
    take(found, season, chosen, told, option)


def ramp(season: Season, told: Replan) -> None:
    """Show the days of a return, step by step, with what they do not say."""
    rows = []
    for back in told.returns:
        steps = [back.first, back.practice, back.cover, back.start]
        rows.append([show.safe(name_of(season, back.athlete)), *(day_text(day) for day in steps)])
    show.table("A return, by the coach’s dates", ["Athlete", "Out from", "Practises", "May cover", "May start"], rows)
    st.html(f'<p class="caution"><strong>Caution.</strong> {show.safe(told.caution)}</p>')


def day_text(day: date | None) -> str:
    """Return a day, or a dash where there is none."""
    return "–" if day is None else shown_day(day)


def lost_seats(season: Season, told: Replan) -> list[str]:
    """Return one line per seat that is lost, with its races in order of time."""
    races: dict[tuple[str, str], list[str]] = {}
    for seat in sorted(told.lost, key=lambda s: list(season.races).index(s.race)):
        races.setdefault((seat.car, seat.position), []).append(race_name(season, seat.race))
    return [
        f"{car_name(season, car)}, {position_name(season, position).lower()}: {', '.join(names)}"
        for (car, position), names in races.items()
    ]


def option_row(season: Season, option: Option) -> list[str]:
    """Return one way to go on as a row."""
    sign, word, _ = show.STATUS.get(option.status, ("◐", option.status, ""))
    names = [name_of(season, athlete) for athlete in option.touched]
    more = len(names) - SHOWN_NAMES
    people = ", ".join(names[:SHOWN_NAMES]) + (f" and {more} more" if more > 0 else "")
    return [
        show.safe(option.label.capitalize()),
        str(len(option.changes)),
        show.safe(people or "nobody"),
        show.signed(option.cost_s),
        f"{sign} {show.safe(word)}",
    ]


def changes(season: Season, option: Option) -> None:
    """Show every seat that changes hands, before and after."""
    rows = [
        [
            show.safe(race_name(season, c.seat.race)),
            show.safe(f"{car_name(season, c.seat.car)} · {position_name(season, c.seat.position)}"),
            show.safe(name_of(season, c.before)) if c.before else "<em>empty</em>",
            "→ " + (show.safe(name_of(season, c.after)) if c.after else "<em>empty</em>"),
        ]
        for c in option.changes
    ]
    show.table("Seat by seat", ["Race", "Seat", "Before", "After"], rows)


def take(found: Opened, season: Season, chosen: Chosen, told: Replan, option: Option) -> None:
    """Write the absence into the season and make the way a draft plan with reserves, cover and forecasts."""
    if not may("coach"):
        show.note("Taking a way is for a coach: it writes the absence into the season.")
        return
    with st.form("take"):
        st.markdown(
            "**Take this way.** The absence is written into the season’s availability (dates only, never a "
            "diagnosis); the plan becomes a draft with reserves and cover, to keep and propose."
        )
        if told.returns:
            st.markdown(
                "Availability can say who is out, not who may step in but not start: the days until the first step in "
                "are written. This plan holds back the first start to its day; a later plan does not know that day, so "
                "pin whoever comes back out of the seats before it."
            )
        author = me().name if me().authenticated else st.text_input("Entered by", max_chars=80, placeholder="coach")
        if st.form_submit_button("Take it", type="primary", icon=":material/check:"):
            if not taken(lambda: write(found, told, author)):
                return
            job = live.start_option(found, season, chosen.plan, told, option)
            drop("replan")
            st.session_state.pop("pick_plan", None)
            keep("plan", job)
            st.switch_page("lineup/ui/crews.py", query_params={"plan": job})


def write(found: Opened, told: Replan, author: str) -> None:
    """Write the absences into the season; NotAllowed for who is no coach, InputError where that is not possible."""
    require(("coach",), "writing an absence into the season")
    enter_absences(found.path, told.to_enter, author)


def days_of(absence: Absence) -> str:
    """Return the days of an absence in words."""
    last = "no day of return yet" if absence.last_day is None else f"until {shown_day(absence.last_day)}"
    return f"from {shown_day(absence.first_day)}, {last}"


page()
