"""Which plan the pages look at: a draft of this server, a kept revision, or the plan file beside the season."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import streamlit as st

from lineup.errors import LineupError
from lineup.plan import Plan
from lineup.plan_file import read_plan
from lineup.season import Season
from lineup.ui import live
from lineup.ui.act import taken
from lineup.ui.door import may, me
from lineup.ui.links import keep, pick
from lineup.ui.opened import Opened, made_store, now, store, study_of, warm
from lineup.ui.remember import once, plan_name
from lineup.ui.show import STATUS, clashes, figures, lines

if TYPE_CHECKING:
    from lineup.audit import Audit

NEWEST = "newest"
BESIDE = "file"
PLAN_FILE = "plan.json"


@dataclass(frozen=True, eq=False)
class Chosen:
    """A plan with where it comes from; `revision` None: not kept in the store."""

    key: str
    plan: Plan
    label: str
    revision: int | None = None


def newest(found: Opened, season: Season) -> Chosen | None:
    """Return the newest kept revision, else the plan file beside the season; None where there is neither."""
    kept = store(found.path)
    revisions = kept.revisions() if kept is not None else ()
    if kept is not None and revisions:
        last = revisions[-1]
        return Chosen(f"r{last.number}", kept.plan(last.number), f"Revision {last.number}: {last.reason}", last.number)
    beside = found.path.with_name(PLAN_FILE)
    if beside.is_file():
        key = ("plan file", str(beside), beside.stat().st_mtime_ns, found.mark)
        return Chosen(BESIDE, once(key, lambda: read_plan(beside, season)), "The plan file beside the season")
    return None


def find(key: str, found: Opened, season: Season) -> Chosen | None:
    """Return the plan that a link names, the newest where it names none; None where it is no longer there."""
    if key.startswith("r") and key[1:].isdigit():
        kept = store(found.path)
        try:
            plan = kept.plan(int(key[1:])) if kept is not None else None
        except LineupError:
            plan = None
        return None if plan is None else Chosen(key, plan, f"Revision {key[1:]}", int(key[1:]))
    job = live.jobs().get(key)
    if job is not None and isinstance(job.result, Plan):
        return Chosen(key, job.result, f"Draft: {job.title}")
    return newest(found, season)


def options(found: Opened, season: Season) -> dict[str, str]:
    """Return every plan there is to look at, newest first: key and words."""
    last = newest(found, season)
    rows = {job.id: f"Draft: {job.title}" for job in live.plans()}
    if last is not None:
        rows[NEWEST] = last.label if last.revision is None else f"Newest, now revision {last.revision}"
    kept = store(found.path)
    for revision in reversed(kept.revisions() if kept is not None else ()):
        rows[f"r{revision.number}"] = f"Revision {revision.number}: {revision.reason}"
    return rows


def require_plan(found: Opened, season: Season) -> Chosen:
    """Let a plan be chosen and return it; where there is none yet, make one in the background and show how it goes."""
    rows = options(found, season)
    asked = st.query_params.get("plan") or st.session_state.get("last_plan") or NEWEST
    if live.jobs().get(asked) is not None and asked not in rows:
        live.watch(asked)
        st.stop()
    if not rows:
        _first_plan(found, season)
    if len(rows) == 1:
        keep("plan", next(iter(rows)))
        key = next(iter(rows))
    else:
        with st.columns([2, 3])[0]:
            key = pick("plan", "Plan", list(rows), lambda row: rows[row], NEWEST, many=True)
    chosen = find(key, found, season)
    if chosen is None:
        st.error("That plan is no longer there. Choose another one.")
        st.stop()
    if told := st.session_state.pop("told", None):  # not a toast: a toast is a dialog without a name
        st.success(told)
    if not chosen.plan.assignments:
        _no_lineup(chosen)
    warm(found, chosen.plan.weekends or season.weekends)
    return chosen


def _first_plan(found: Opened, season: Season) -> None:
    st.info("There is no plan of this season yet. It is being made now; the page shows it as soon as there is one.")
    job = live.start_plan(found, season, season.weekends, "first plan of the block")
    keep("plan", job)
    live.watch(job)
    st.stop()


def _no_lineup(chosen: Chosen) -> None:
    plan = chosen.plan
    if plan.status == "not_found":
        st.warning("No plan was found in the time given. That does not mean there is none: give it more time.")
        st.stop()
    st.error("No plan keeps every rule.")
    clashes(plan.clash)
    st.stop()


def strip(chosen: Chosen) -> None:
    """Show how good a plan is known to be."""
    plan = chosen.plan
    sign, word, meaning = STATUS[plan.status]
    rows = [("Plan", f"{sign} {word}", meaning)]
    if plan.value_s is not None:
        told = "seconds of stops by priority, and of what else the season prices"
        if plan.fresh_value_s is not None:
            told += f"; {plan.fresh_value_s:,.1f} s ± {plan.se_s or 0:.1f} on stops sampled afresh"
        rows.append(("Costs", f"{plan.value_s:,.1f} s", told))
    if plan.bound_s is not None:
        rows.append(("No plan costs less than", f"{plan.bound_s:,.1f} s", "proven on the sampled stops"))
    if plan.gap is not None:
        told = f"so much better another plan could be at most; {plan.tolerance or 0:.2%} counts as proven"
        rows.append(("Gap", f"{plan.gap:.2%}", told))
    figures(rows)
    if plan.notes:
        with st.expander("Notes of the search"):
            lines(plan.notes)


def others(found: Opened, season: Season, chosen: Chosen) -> dict[str, str]:
    """Return every plan but the one that is looked at, under whatever name: key and words."""
    last = newest(found, season)
    same = {chosen.key, NEWEST} if last is not None and last.key == chosen.key else {chosen.key}
    return {key: words for key, words in options(found, season).items() if key not in same}


def audited(found: Opened, season: Season, plan: Plan) -> Audit:
    """Return the audit of a plan, worked out once."""
    from lineup import workflow

    study = study_of(found, season, plan.weekends)
    return once(("audited", found.mark, found.pins, plan_name(plan)), lambda: workflow.audit_plan(study, plan))


def auditor(found: Opened) -> Callable[[Season, Plan], Audit]:
    """Return how the store has a plan audited; each audit is worked out once."""
    return lambda season, plan: audited(found, season, plan)


def keep_draft(found: Opened, season: Season, chosen: Chosen) -> None:
    """Offer to keep a draft as a revision, so that it can be proposed."""
    if chosen.revision is not None or not may("coach"):
        return
    with st.form("keep_draft", border=True):
        st.markdown("**This plan is a draft.** Keep it as a revision, so that it can be proposed and signed.")
        reason = st.text_input("Why this plan", placeholder="Plan of the block", max_chars=300)
        if st.form_submit_button("Keep as a revision", type="primary"):
            _keep(found, season, chosen, reason)


def _keep(found: Opened, season: Season, chosen: Chosen, reason: str) -> None:
    kept, last = made_store(found.path), newest(found, season)
    parent = None if last is None else last.revision
    if taken(lambda: kept.save(chosen.plan, season, reason=reason, by=me(), now=now(), parent=parent)):
        st.session_state["pick_plan"] = NEWEST
        keep("plan", NEWEST)
        st.session_state["told"] = f"Kept as revision {kept.revisions()[-1].number}"
        st.rerun()
