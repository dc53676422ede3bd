"""What is left of a sign-off: the documents to print and send, and the history that can be verified."""

from __future__ import annotations

import streamlit as st

from lineup.errors import LineupError
from lineup.explain.words import count
from lineup.report.sheet import too_long_sheets
from lineup.season import Season
from lineup.store import Store, Verification
from lineup.ui import show
from lineup.ui.act import taken
from lineup.ui.documents import weekend_documents, weekend_sheets
from lineup.ui.opened import now
from lineup.ui.remember import once


def documents(kept: Store, season: Season, weekend: str) -> None:
    """Offer sheets, workbook and calendars of the weekend as it stands in the store."""
    if all(step.newest is None for step in kept.state(weekend).steps.values()):
        return
    st.header("Sheets, workbook and calendars", anchor=False)
    size = st.segmented_control("Paper", ["A4", "Letter"], default="A4", key="paper") or "A4"
    if not st.toggle("Make the documents", key="make_documents"):
        show.note(
            "Each sheet says whether its step is signed, and carries a check code. Crew sheets, workbook and calendars "
            "follow once the starting crews are proposed."
        )
        return
    mark = ("documents", kept.where, kept.head(), weekend, size)
    try:
        sheets = once(("sheets", *mark), lambda: weekend_sheets(kept, season, weekend, now(), size))
        packed = once(("packed", *mark), lambda: weekend_documents(kept, season, weekend, now(), size))
    except LineupError as error:
        st.error(show.plain(str(error)))
        return
    crews = kept.papers(weekend).crews
    for notice in () if crews is None else too_long_sheets(season, crews, weekend, paper=size):
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
        "Newest first, times in UTC; a sheet prints the check code of the newest line it knew",
        ["When", "Who", "What", "Check code"],
        rows,
    )
    with st.form("verify"):
        printed = st.text_input("Check code of a printed sheet (may stay empty)", max_chars=80)
        if st.form_submit_button("Verify the record", icon=":material/verified:"):
            taken(lambda: tell_verified(kept.verify(printed)))


def tell_verified(told: Verification) -> None:
    """Say whether the record is as it was written."""
    if told.ok:
        st.success(f"All is as it was written: {count(told.records, 'record')}.")
    else:
        st.error(show.plain(str(told.problem)))
