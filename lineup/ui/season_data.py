"""Season data: open a season, see every problem next to its row, mend small things in place and lose no edit."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from pathlib import Path

import pandas as pd
import streamlit as st

from lineup.errors import InputError, Problem, Report
from lineup.explain.words import count
from lineup.read.drafts import (
    check_drafts,
    drafts_of,
    drop_draft,
    files_of,
    put_in_place,
    save_draft,
    text_of,
)
from lineup.read.grid import is_grid, to_grid, to_text
from lineup.season import Season
from lineup.ui import show
from lineup.ui.act import taken
from lineup.ui.door import may
from lineup.ui.grid import edited
from lineup.ui.links import pick
from lineup.ui.opened import Opened, choose_season, opened, seasons_shown
from lineup.ui.remember import once

COLUMNS = ("File", "Row", "Column", "Value", "What, and the mend")
ROW, PROBLEM = "row", "what is wrong here"


def page() -> None:
    """Show what is loaded, what is wrong with it, and one file to edit."""
    show.head("Season data", "Everything the plans rest on: open a season, see what is wrong, mend small things here.")
    found = opened()
    if not may("coach"):
        st.stop()
    open_another(found)
    if not found.path.is_dir():
        problems(found.report)
        st.info("A workbook is read only here. Mend it in a spreadsheet, then load this page again.")
        return
    drafts = drafts_of(found.path)
    report = found.report
    if drafts:
        key = ("drafts", str(found.path), found.mark, tuple(sorted(drafts.items())))
        report = once(key, lambda: check_drafts(found.path))
        waiting(found.path, sorted(drafts), report)
    problems(report)
    if found.season is not None:
        contents(found.season)
    edit(found.path, report)


def open_another(found: Opened) -> None:
    """Tell which season is open, and open another folder or workbook."""
    st.html(f"<p>Open now: <code>{show.safe(str(found.path))}</code></p>")
    if seasons_shown() is not None:
        return  # those of this server are chosen above
    with st.expander("Open another season"):
        with st.form("open_season"):
            path = st.text_input("Season folder or .xlsx workbook on this computer", str(found.path))
            if st.form_submit_button("Open"):
                choose_season(path.strip())
                st.rerun()
        given = st.file_uploader("Or load a workbook (.xlsx) into this session", type="xlsx")
        if given is not None and st.button("Look at this workbook"):
            place = Path(tempfile.mkdtemp()) / "season.xlsx"
            place.write_bytes(given.getvalue())
            choose_season(str(place))
            st.rerun()


def waiting(folder: Path, names: Sequence[str], report: Report) -> None:
    """Tell of drafts that are kept but not in place yet."""
    with st.container(border=True):
        st.markdown(
            f"**Drafts of {count(len(names), 'file')} are kept**, not in place yet: {show.plain(', '.join(names))}"
        )
        left, right, _ = st.columns([2, 2, 4])
        put = left.button("Put them in place", type="primary", disabled=bool(report.problems), icon=":material/check:")
        if put and taken(lambda: put_in_place(folder)):
            forget_editors()
            st.rerun()
        if right.button("Let the drafts go", icon=":material/undo:"):
            for name in names:
                drop_draft(folder, name)
            forget_editors()
            st.rerun()
        if report.problems:
            st.markdown("They cannot be put in place while the season would have a problem:")


def problems(report: Report) -> None:
    """Show every problem and warning with its row, value and mend."""
    st.header("Problems", anchor=False)
    if not report.problems and not report.warnings:
        st.markdown("✓ Nothing is wrong with this season.")
        return
    st.markdown(f"✕ {len(report.problems)} to mend, ! {len(report.warnings)} odd but possible")
    if report.problems:
        show.table("What is wrong, next to its row", COLUMNS, [_row(p) for p in report.problems])
    if report.warnings:
        with st.expander(f"! Odd but possible: {len(report.warnings)}"):
            show.table("Odd, but nothing stops for it", COLUMNS, [_row(p) for p in report.warnings])


def _row(found: Problem) -> list[str]:
    mend = f"{found.message}. {found.mend}"
    cells = (found.file, str(found.row or ""), found.column or "", found.value or "", mend)
    return [show.safe(cell) for cell in cells]


def contents(season: Season) -> None:
    """Tell in one line what the season holds."""
    show.figures(
        (
            ("Athletes", str(len(season.athletes)), ""),
            ("Cars", str(len(season.cars)), ""),
            ("Races", str(len(season.races)), count(len(season.weekends), "weekend")),
            ("Graded tasks", f"{len(season.grades):,}", ""),
            ("Timed stops", f"{len(season.stops):,}", ""),
            ("Pins", str(len(season.pins)), "those kept on these pages included"),
        )
    )


def edit(folder: Path, report: Report) -> None:
    """Edit one file; every change is kept as a draft at once."""
    st.header("Mend in place", anchor=False)
    names = files_of(folder)
    wrong = {p.file for p in report.problems}
    first = next((name for name in names if name in wrong), "availability.csv")
    name = pick("file", "File", names, lambda n: f"{n} ✕" if n in wrong else n, first, many=True)
    try:
        text = text_of(folder, name)
    except InputError as error:
        st.error(show.plain(str(error)))
        return
    if name.endswith(".toml") or not is_grid(text, (ROW, PROBLEM)):
        key = f"text_{folder}_{name}"
        st.session_state.setdefault(key, text)
        st.text_area(name, key=key, height=420, on_change=keep_text, args=(folder, name, key))
    else:
        edit_table(folder, name, text, [p for p in (*report.problems, *report.warnings) if p.file == name])
    show.note(
        "Every change is kept as a draft at once, also when you leave this page. It counts once it is put in place."
    )


def edit_table(folder: Path, name: str, text: str, wrong: Sequence[Problem]) -> None:
    """Edit a table as a grid; rows with a problem say so in their first column."""
    key, base_key = f"grid_{folder}_{name}", f"base_{folder}_{name}"
    if key not in st.session_state or base_key not in st.session_state:
        st.session_state[base_key] = text
    base = to_grid(st.session_state[base_key])
    notes: dict[int, str] = {}
    for found in wrong:
        if found.row is not None:
            notes[found.row] = f"{notes[found.row]}; {found.message}" if found.row in notes else found.message
    frame = pd.DataFrame([list(row) for row in base.rows], columns=list(base.header), dtype="str")
    numbers = range(2, len(frame) + 2)
    frame.insert(0, ROW, [str(number) for number in numbers])
    frame.insert(1, PROBLEM, [notes.get(number, "") for number in numbers])
    st.data_editor(
        frame, key=key, num_rows="dynamic", width="stretch", hide_index=True, disabled=[ROW, PROBLEM],
        on_change=keep_grid, args=(folder, name, key, base_key), alt=f"Editable table {name}",
    )  # fmt: skip


def keep_grid(folder: Path, name: str, key: str, base_key: str) -> None:
    """Keep what was typed into a grid as a draft."""
    base = to_grid(st.session_state[base_key])
    save_draft(folder, name, to_text(base.header, edited(base.header, base.rows, st.session_state[key])))


def keep_text(folder: Path, name: str, key: str) -> None:
    """Keep an edited text as a draft."""
    save_draft(folder, name, str(st.session_state[key]))


def forget_editors() -> None:
    """Begin every editor anew from what is in place or kept as a draft."""
    for key in list(st.session_state):
        if str(key).startswith(("grid_", "base_", "text_")):
            del st.session_state[key]


page()
