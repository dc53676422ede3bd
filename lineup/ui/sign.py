"""Sign-off: what changed since the last signature, who pinned what, what the audit found; sign it, print it."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import streamlit as st

from lineup.report.party import car_name
from lineup.report.sheet_parts import clock
from lineup.season import Season
from lineup.store import STEPS, Roster, StepState, Store
from lineup.store.weekend import STATUS_WORDS, STEP_NAMES, VERDICTS, Step
from lineup.ui import show
from lineup.ui.act import taken
from lineup.ui.amend import amend
from lineup.ui.door import may, me, people, person
from lineup.ui.links import pick
from lineup.ui.opened import Opened, now, require_season, store
from lineup.ui.outcome import documents, history
from lineup.ui.signing import checklist, signing

STATE_SIGNS = {"open": "○", "proposed": "◐", "signed": "✓", "amended": "!", "withdrawn": "✕"}
USUAL_DEADLINE = timedelta(hours=24)  # before the first report, until somebody sets another


def page() -> None:
    """Show one step of one weekend and what it asks for next."""
    show.head("Sign-off", "What changed, what was decided by hand, what the audit says; then sign, print and send.")
    found, season = require_season()
    who()
    kept = store(found.path)
    if kept is None or not kept.revisions():
        st.info("Nothing is kept yet. Keep a plan as a revision first, on the page Block or Weekend crews.")
        st.page_link("lineup/ui/block.py", label="To the block", icon=":material/grid_on:")
        return
    weekends = [w for w in season.weekends if kept.revisions(w)]
    if not weekends:
        st.info("No kept revision is about a weekend of this season. Keep a plan of it first, on the page Block.")
        return
    weekend = pick("weekend", "Weekend", weekends, lambda w: show.plain(show.weekend_title(season, w)))
    step = pick("step", "Step", list(STEPS), lambda s: STEP_NAMES[s].capitalize())
    state = kept.state(weekend).steps[step]
    standing(kept, season, weekend, state)
    next_step(found, kept, season, weekend, state)
    reminders(kept, weekend, state.step)
    documents(kept, season, weekend)
    history(kept, weekend)
    show.foot()


def who() -> None:
    """Let somebody say who they are, where there are roles and no log-in."""
    roles = people()
    if roles is None:
        show.note("One local user does everything here, without a log-in; every sheet says so.")
    elif not me().authenticated:
        names = {key: row.name for key, row in roles.by_id.items()}
        st.selectbox("Acting as (taken on trust)", list(names), format_func=lambda k: names[k], key="acting_as")


def standing(kept: Store, season: Season, weekend: str, state: StepState) -> None:
    """Tell where the step stands: which revision, by whom, when, by when it should be signed."""
    rows = [("State", f"{STATE_SIGNS[state.status]} {STATUS_WORDS[state.status]}", "")]
    mark = state.newest
    if mark is not None:
        rows.append(("Revision", str(mark.revision), f"by {kept.name_of(mark.by)}, {mark.at:%d %b %Y %H:%M} UTC"))
    if state.signature is not None:
        late = ", after the deadline" if state.signature.late else ""
        signer = f"by {kept.name_of(state.signature.by)}, {state.signature.at:%d %b %Y %H:%M} UTC{late}"
        rows.append(("Last signed", f"revision {state.signature.revision}", signer))
    deadline = kept.deadline(season, weekend, state.step)
    if deadline is not None:
        rows.append(
            ("Sign before", clock(season, season.races_of((weekend,))[0], deadline), "by the clock of the track")
        )
    show.figures(rows)
    for review in state.reviews.values():
        said = "acknowledges" if review.verdict == "acknowledged" else f"objects: {review.mark.reason}"
        st.markdown(show.plain(f"{kept.name_of(review.mark.by)} {said} ({car_name(season, review.car)})"))


def next_step(found: Opened, kept: Store, season: Season, weekend: str, state: StepState) -> None:
    """Offer what can be done now: propose, review, sign or ratify, set a deadline, take back."""
    newest = kept.revisions(weekend)[-1]
    mark = state.amendment or state.proposal
    if state.amendment is not None:
        st.warning(
            "The starting crews were amended at the track and are in force as amended. A signer has to ratify them.",
            icon=":material/emergency:",
        )
    if mark is None and newest.number != state.in_force:
        roster = Roster(weekend, state.step, newest.number)
        st.markdown(show.plain(f"Revision {newest.number} ({newest.reason}) is the newest about this weekend."))
        if not may("coach"):
            show.note("Proposing it is for a coach.")
        elif st.button("Propose it for signature", type="primary", icon=":material/outgoing_mail:"):
            act(lambda: kept.propose(roster, by=me(), now=now()))
    if mark is not None:
        roster = Roster(weekend, state.step, mark.revision)
        told = checklist(found, kept, season, roster)
        signing(found, kept, season, roster, told, ratify=state.amendment is not None)
        review(kept, season, roster)
    if state.step == "starting_crews" and state.in_force is not None:
        amend(found, kept, season, Roster(weekend, state.step, state.in_force))
    set_deadline(kept, season, weekend, state)
    take_back(kept, weekend, state)


def set_deadline(kept: Store, season: Season, weekend: str, state: StepState) -> None:
    """Let it be set when this step should be signed, by the clock of the track."""
    if not may("coach", "signer"):
        return
    race = season.races_of((weekend,))[0]
    current = kept.deadline(season, weekend, state.step) or race.report - USUAL_DEADLINE
    with st.expander("Set when it should be signed"), st.form("deadline"):
        shown = season.local(current, race.site)
        left, right = st.columns(2)
        day = left.date_input("Sign before", shown.date(), format="YYYY-MM-DD")
        time = right.time_input(f"At ({season.sites[race.site].time_zone})", shown.time())
        if st.form_submit_button("Set it"):
            moment = datetime.combine(day, time, season.zone(race.site)).astimezone(UTC)
            act(lambda: kept.set_deadline(weekend, state.step, moment, by=me(), now=now()))


def take_back(kept: Store, weekend: str, state: StepState) -> None:
    """Let the newest proposal, amendment or signature be taken back, with a reason."""
    mark = state.newest
    if mark is None or not may(*(("coach", "signer") if mark == state.proposal else ("signer",))):
        return
    with st.expander("Take it back"), st.form("withdraw"):
        reason = st.text_input("Why", max_chars=300)
        if st.form_submit_button("Take it back", icon=":material/undo:"):
            back = Roster(weekend, state.step, mark.revision)
            act(lambda: kept.withdraw(back, reason=reason, by=me(), now=now()))


def review(kept: Store, season: Season, roster: Roster) -> None:
    """Take a crew chief's word on a car; of somebody logged in, only on the own cars."""
    who = person()
    entered = {car for race in season.races_of((roster.weekend,)) for car in season.cars_in[race.id]}
    crewed = entered & {a.car for a in kept.plan(roster.revision).assignments}
    cars = sorted(car for car in crewed if who is None or car in who.cars)
    if not cars or not may("crew_chief"):
        return
    with st.expander("Crew chief: acknowledge or object"), st.form("review"):
        car = st.selectbox("Car", cars, format_func=lambda c: car_name(season, c))
        word = st.radio("Your word", VERDICTS, horizontal=True)
        reason = st.text_input("Reason, for an objection", max_chars=300)
        if st.form_submit_button("Give your word"):
            act(lambda: kept.review(roster, str(car), word, by=me(), now=now(), reason=reason))


def reminders(kept: Store, weekend: str, step: Step) -> None:
    """Show the reminders of a step, to tick."""
    ticks = kept.ticks(weekend, step)
    if ticks:
        st.subheader("Reminders", anchor=False)
    for tick in ticks:
        key = f"tick_{weekend}_{tick.reminder.id}"
        st.session_state.setdefault(key, tick.by is not None)
        st.checkbox(
            show.plain(tick.reminder.text), key=key, on_change=_tick, args=(kept, weekend, tick.reminder.id, key),
            disabled=not may("coach", "crew_chief", "signer"),
        )  # fmt: skip


def _tick(kept: Store, weekend: str, reminder: str, key: str) -> None:
    taken(lambda: kept.tick(weekend, reminder, by=me(), now=now(), done=bool(st.session_state[key])))


def act(step: Callable[[], object]) -> None:
    """Take a step and draw the page anew."""
    if taken(step):
        st.rerun()


page()
