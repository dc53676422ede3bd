"""How pages write names, figures and tables: everything that comes from a file is escaped here, once."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from html import escape
from pathlib import Path
from typing import Final

import streamlit as st

from lineup.plan import Clash
from lineup.report.charts import Picture
from lineup.report.plain import one_line
from lineup.season import Season

STYLE: Final = Path(__file__).with_name("style.css")
CAUTION: Final = (
    "Forecasts, not promises. Lifting, fuel, a return from injury and driving while tired hurt people: the sanctioning "
    "body’s rules, local codes and licensed practice come first. This tool clears nobody to compete."
)
STATUS: Final = {
    "proven": ("✓", "Proven", "within the tolerance of the best possible"),
    "best_so_far": ("◐", "Best so far", "not within the tolerance yet"),
    "impossible": ("✕", "Impossible", "no plan keeps every rule"),
    "not_found": ("?", "Not found", "no plan was found in the time given"),
}
_MARKDOWN: Final = re.compile(r"([\\`*_{}\[\]()#+\-.!|<>~$:@&^=])")


def plain(text: str) -> str:
    """Return a text that Markdown shows letter by letter."""
    return _MARKDOWN.sub(r"\\\1", one_line(text))


def safe(text: str) -> str:
    """Return a text that HTML shows letter by letter."""
    return escape(one_line(text))


def head(title: str, lead: str) -> None:
    """Begin a page: its name and one line of what it is for."""
    st.title(title, anchor=False)
    st.html(f'<p class="lead">{safe(lead)}</p>')


def foot() -> None:
    """End a page with the cautions."""
    st.html(f'<p class="caution"><strong>Caution.</strong> {CAUTION}</p>')


def picture(found: Picture, key: str) -> None:
    """Show a chart with its words beneath, which say the same to those who cannot see it."""
    st.altair_chart(found.chart, width="stretch", alt=found.words, key=key)
    st.html(f'<p class="words">{safe(found.words)}</p>')


def table(caption: str, columns: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Show a table whose cells are HTML already; `columns` and `caption` are plain text."""
    heads = "".join(f'<th scope="col">{safe(column)}</th>' for column in columns)
    body = "".join(
        f'<tr><th scope="row">{row[0]}</th>{"".join(f"<td>{cell}</td>" for cell in row[1:])}</tr>' for row in rows
    )
    st.html(
        f'<div class="scroll" tabindex="0" role="region" aria-label="{safe(caption)}"><table class="sheet">'
        f"<caption>{safe(caption)}</caption><thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def note(text: str) -> None:
    """Show a small line of plain text."""
    st.html(f'<p class="note">{safe(text)}</p>')


def figures(pairs: Iterable[tuple[str, str, str]]) -> None:
    """Show a few figures in a row: (what, figure, in words)."""
    cells = "".join(
        f"<div><dt>{safe(what)}</dt><dd>{safe(figure)}<small>{safe(note)}</small></dd></div>"
        for what, figure, note in pairs
    )
    st.html(f'<dl class="figures">{cells}</dl>')


def lines(items: Iterable[str], kind: str = "") -> None:
    """Show plain sentences as a list."""
    st.html(f'<ul class="lines {kind}">{"".join(f"<li>{safe(item)}</li>" for item in items)}</ul>')


def clashes(found: Sequence[Clash]) -> None:
    """Show which facts cannot all hold, and what would mend each clash."""
    for number, clash in enumerate(found, start=1):
        st.markdown(f"**Clash {number}: these facts cannot all hold**")
        lines(fact.text for fact in clash.facts)
        if clash.repairs:
            st.markdown("**What would mend it, cheapest first; each was tried**")
            lines(repair.text for repair in clash.repairs)


def weekend_title(season: Season, weekend: str) -> str:
    """Return a weekend with the days of its first and last race."""
    races = season.races_of((weekend,))
    if not races:
        return weekend
    first, last = (season.local(race.start, race.site) for race in (races[0], races[-1]))
    days = f"{first.day} {first:%b}"
    if first.date() != last.date():
        days = f"{first.day if first.month == last.month else days}–{last.day} {last:%b}"
    return f"{weekend} · {days}"


def spoken(key: str) -> str:
    """Return an id that has no name of its own as words."""
    return key.replace("-", " ").replace("_", " ").capitalize()


def signed(seconds: float, digits: int = 2) -> str:
    """Return seconds with their sign, a true minus for what is below zero."""
    return f"{seconds:+.{digits}f}\u00a0s".replace("-", "−")
