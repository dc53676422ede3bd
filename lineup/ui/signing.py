"""What a signer sees before signing: the audit, what must be acknowledged, and why it may not be signed yet."""

from __future__ import annotations

import streamlit as st

from lineup.report.limit_rows import SIGNS, limit_rows
from lineup.season import Season
from lineup.store import Checklist, Roster, Store
from lineup.store.checklist import pin_text
from lineup.ui import plans, show
from lineup.ui.act import taken
from lineup.ui.door import may, me, person
from lineup.ui.opened import Opened, now

KINDS = {
    "change": "Changes since the last signature",
    "pin": "Pinned by hand",
    "limit": "Limits broken at a price",
    "breach": "Limits broken by the amendment",
    "objection": "Objections",
    "late": "Late",
}


def checklist(found: Opened, kept: Store, season: Season, roster: Roster) -> Checklist:
    """Show what the audit found and return what must be acknowledged."""
    plan = kept.plan(roster.revision)
    with st.spinner("Checking every limit"):
        audit = plans.audited(found, season, plan)
        told = kept.checklist(roster, season, plans.auditor(found), now=now())
    st.subheader("What the audit found", anchor=False)
    rows = [
        [f"{SIGNS[row.state]} {row.state}", show.safe(row.name), show.safe(row.text), show.safe(row.source)]
        for row in limit_rows(audit)
    ]
    kept_count = sum(check.kept for check in audit.checks)
    st.markdown(f"{kept_count} of {len(audit.checks)} limits are kept, checked again from season and plan alone.")
    with st.expander("Every limit", expanded=not audit.passed):
        show.table("Every limit with its tightest place", ["", "Limit", "Tightest place", "From"], rows)
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
        if taken(lambda: step(roster, season, plans.auditor(found), done, by=me(), now=now())):
            st.rerun()


def why_not_sign(kept: Store, roster: Roster, verb: str) -> str:
    """Say why the one who is logged in is not the one to sign; "" where nothing stands against it."""
    who = person()
    if who is None:
        return ""
    if "signer" not in who.roles:
        return f"Only a signer can {verb.lower()} it."
    state = kept.state(roster.weekend)[roster.step]
    made = state.amendment if verb == "Ratify" else state.proposal
    makers = {kept.revision(roster.revision).author.casefold(), made.by.casefold() if made else ""}
    return "You made or proposed it: it takes a second person." if who.id.casefold() in makers else ""


def changed_inputs(found: Opened, kept: Store, season: Season, roster: Roster) -> None:
    """Where the season changed since the plan was made, let the coach have the same lineup checked anew."""
    revision = kept.revision(roster.revision)
    if dict(revision.fingerprints) == dict(season.fingerprints) or not may("coach"):
        return
    with st.form("anew"):
        st.markdown("If the same lineup still holds, it can be checked anew and proposed again.")
        reason = st.text_input("Why it still holds", max_chars=300)
        if st.form_submit_button("Check the same lineup anew"):
            audit = plans.audited(found, season, kept.plan(roster.revision))
            if taken(lambda: kept.check_anew(roster.revision, season, audit, reason=reason, by=me(), now=now())):
                st.rerun()
