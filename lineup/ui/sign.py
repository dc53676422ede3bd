"""Sign-off: what changed since the last signature, who pinned what, what the audit found; sign it, print it."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from lineup.errors import LineupError
from lineup.report.limit_rows import SIGNS, limit_rows
from lineup.report.sheet import too_long_sheets
from lineup.season import Season
from lineup.store import STEPS, Checklist, Roster, StepState, Store
from lineup.store.checklist import pin_text
from lineup.store.weekend import STATUS_WORDS, STEP_NAMES, Step, Verdict
from lineup.ui import plans, show
from lineup.ui.amend import amend
from lineup.ui.documents import weekend_documents, weekend_sheets
from lineup.ui.door import may, me, people, person
from lineup.ui.links import pick
from lineup.ui.opened import Opened, now, require_season, store
from lineup.ui.remember import once

STATE_SIGNS = {"open": "○", "proposed": "◐", "signed": "✓", "amended": "!", "withdrawn": "✕"}
KINDS = {
    "change": "Changes since the last signature",
    "pin": "Pinned by hand",
    "limit": "Limits passed over at a price",
    "breach": "Breaches, after the fact",
    "objection": "Objections",
    "late": "Late",
}


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
    weekend = pick("weekend", "Weekend", weekends, lambda w: show.plain(show.weekend_title(season, w)))
    step = pick("step", "Step", list(STEPS), lambda s: STEP_NAMES[s].capitalize())
    state = kept.state(weekend)[step]  # type: ignore[index]
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
        rows.append(("Sign before", f"{deadline:%d %b %H:%M} UTC", ""))
    show.figures(rows)
    for review in state.reviews.values():
        said = "acknowledges" if review.verdict == "acknowledged" else f"objects: {review.mark.reason}"
        st.markdown(show.plain(f"{kept.name_of(review.mark.by)} {said} (car {review.car})"))


def next_step(found: Opened, kept: Store, season: Season, weekend: str, state: StepState) -> None:
    """Offer what can be done now: propose, review, sign or ratify, take back."""
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
    taken = mark or state.signature
    if taken is not None and may("coach", "signer"):
        with st.expander("Take it back"), st.form("withdraw"):
            reason = st.text_input("Why", max_chars=300)
            if st.form_submit_button("Take it back", icon=":material/undo:"):
                back = Roster(weekend, state.step, taken.revision)
                act(lambda: kept.withdraw(back, reason=reason, by=me(), now=now()))


def checklist(found: Opened, kept: Store, season: Season, roster: Roster) -> Checklist:
    """Show what the audit found and return what must be acknowledged."""
    plan = kept.plan(roster.revision)
    with st.spinner("Checking every limit"):
        audit = plans.audited(found, season, plan)
        told = kept.checklist(roster, season, lambda s, p: plans.audited(found, s, p), now=now())
    st.subheader("The audit’s ticks", anchor=False)
    rows = [
        [f"{SIGNS[row.state]} {row.state}", show.safe(row.name), show.safe(row.text), show.safe(row.source)]
        for row in limit_rows(audit)
    ]
    kept_count = sum(check.kept for check in audit.checks)
    st.markdown(f"{kept_count} of {len(audit.checks)} checks are kept, worked out again from season and plan alone.")
    with st.expander("Every check", expanded=not audit.passed):
        show.table("Every check with its tightest place", ["", "Limit", "Tightest place", "From"], rows)
    pins = kept.pins()
    if pins:
        st.subheader("Pins kept on these pages", anchor=False)
        show.lines(
            f"{pin_text(season, p.pin)} ({p.pin.reason}), by {kept.name_of(p.by)}, {p.at:%d %b %Y}" for p in pins
        )
    return told


def signing(found: Opened, kept: Store, season: Season, roster: Roster, told: Checklist, *, ratify: bool) -> None:
    """Let every item be acknowledged, then sign."""
    verb = "Ratify" if ratify else "Sign"
    st.subheader(f"To acknowledge before you {verb.lower()}", anchor=False)
    for warning in told.warnings:
        st.warning(show.plain(warning))
    if told.blocks:
        st.error("This cannot be signed:")
        show.lines(told.blocks)
        changed_inputs(found, kept, season, roster)
        return
    done = []
    for kind, title in KINDS.items():
        items = [item for item in told.items if item.kind == kind]
        if items:
            st.markdown(f"**{title}** ({len(items)})")
            done += [i.id for i in items if st.checkbox(show.plain(i.text), key=f"ack_{roster.revision}_{i.id}")]
    refusal = why_not_sign(kept, roster, verb)
    if refusal:
        show.note(refusal)
        return
    missing = told.missing(done)
    show.note(
        "Everything is acknowledged." if not missing else f"{len(missing)} of {len(told.items)} still to acknowledge."
    )
    if st.button(f"{verb} revision {roster.revision}", type="primary", disabled=bool(missing), icon=":material/draw:"):
        step = kept.ratify if ratify else kept.sign
        act(lambda: step(roster, season, lambda s, p: plans.audited(found, s, p), done, by=me(), now=now()))


def why_not_sign(kept: Store, roster: Roster, verb: str) -> str:
    """Say why the one who is logged in is not the one to sign; "" where nothing stands against it."""
    who = person()
    if who is None:
        return ""
    if "signer" not in who.roles:
        return f"To {verb.lower()} it is for a signer."
    state = kept.state(roster.weekend)[roster.step]
    made = state.amendment if verb == "Ratify" else state.proposal
    makers = {kept.revision(roster.revision).author.casefold(), made.by.casefold() if made else ""}
    return "You made or proposed it: it takes a second person." if who.id.casefold() in makers else ""


def changed_inputs(found: Opened, kept: Store, season: Season, roster: Roster) -> None:
    """Where only the inputs changed, let the coach have the same lineup checked anew."""
    revision = kept.revision(roster.revision)
    if dict(revision.fingerprints) == dict(season.fingerprints) or not may("coach"):
        return
    with st.form("anew"):
        st.markdown("If the same lineup still holds, it can be checked anew and proposed again.")
        reason = st.text_input("Why it still holds", max_chars=300)
        if st.form_submit_button("Check the same lineup anew"):
            audit = plans.audited(found, season, kept.plan(roster.revision))
            act(lambda: kept.check_anew(roster.revision, season, audit, reason=reason, by=me(), now=now()))


def review(kept: Store, season: Season, roster: Roster) -> None:
    """Take a crew chief's word on a car; of somebody logged in, only on the own cars."""
    who = person()
    cars = sorted({a.car for a in kept.plan(roster.revision).assignments if who is None or a.car in who.cars})
    if not cars or not may("crew_chief"):
        return
    with st.expander("Crew chief: acknowledge or object"), st.form("review"):
        car = st.selectbox("Car", cars, format_func=lambda c: season.cars[c].name or c if c in season.cars else c)
        verdict = st.radio("Your word", ["acknowledged", "objected"], horizontal=True)
        reason = st.text_input("Reason, for an objection", max_chars=300)
        if st.form_submit_button("Give your word"):
            word: Verdict = "objected" if verdict == "objected" else "acknowledged"
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
    act(lambda: kept.tick(weekend, reminder, by=me(), now=now(), done=bool(st.session_state[key])), again=False)


def documents(kept: Store, season: Season, weekend: str) -> None:
    """Offer sheets, workbook and calendars of the weekend as it stands in the store."""
    if kept.state(weekend)["starting_crews"].newest is None:
        return
    st.header("Sheets, workbook and calendars", anchor=False)
    size = st.segmented_control("Paper", ["A4", "Letter"], default="A4", key="paper") or "A4"
    if not st.toggle("Make the documents", key="make_documents"):
        show.note("Each sheet says whether it is signed, and shows the head of the record to verify it by.")
        return
    mark = ("documents", kept.where, kept.head(), weekend, size)
    try:
        sheets = once(("sheets", *mark), lambda: weekend_sheets(kept, season, weekend, now(), size))
        packed = once(("packed", *mark), lambda: weekend_documents(kept, season, weekend, now(), size))
    except LineupError as error:
        st.error(show.plain(str(error)))
        return
    for notice in too_long_sheets(season, kept.paper(weekend), weekend, paper=size):
        st.warning(show.plain(notice[:1].upper() + notice[1:]))
    with st.container(horizontal=True):
        st.download_button("Everything (.zip)", packed, f"{weekend}.zip", "application/zip", type="primary")
        for name, data in sheets.items():
            st.download_button(name, data, name, "application/pdf", key=f"sheet_{name}")


def history(kept: Store, weekend: str) -> None:
    """Show what happened to the weekend, and verify the record."""
    st.header("History", anchor=False)
    rows = [
        [f"{line.at:%Y-%m-%d %H:%M}", show.safe(kept.name_of(line.author)), show.safe(line.text), line.hash[:12]]
        for line in reversed(kept.history(weekend))
    ]
    show.table(
        "Newest first, times in UTC; the last column is the head a sheet prints", ["When", "Who", "What", "Head"], rows
    )
    with st.form("verify"):
        printed = st.text_input("Head printed on a sheet (may stay empty)", max_chars=80)
        if st.form_submit_button("Verify the record", icon=":material/verified:"):
            try:
                told = kept.verify(printed)
            except LineupError as error:
                st.error(show.plain(str(error)))
            else:
                words = f"All {told.records} records are as they were written." if told.ok else str(told.problem)
                (st.success if told.ok else st.error)(show.plain(words))


def act(step: Callable[[], object], *, again: bool = True) -> None:
    """Take a step; tell in one line why it is refused."""
    try:
        step()
    except LineupError as error:
        st.error(show.plain(str(error)))
        return
    if again:
        st.rerun()


page()
