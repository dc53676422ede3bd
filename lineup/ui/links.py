"""Keeps what is chosen on a page in its link, and remembers it from page to page."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import streamlit as st


def pick(
    name: str, label: str, options: Sequence[str], show: Callable[[str], str], default: str = "", *, many: bool = False
) -> str:
    """Let one of some ids be chosen, kept in the link under `name`.

    Parameters
    ----------
    show : the words of an id; Markdown in them must be escaped where `many` is false.
    many : a list to search in instead of buttons in a row.
    """
    key = f"pick_{name}"
    if st.session_state.get(key) not in options:
        asked = st.query_params.get(name) or st.session_state.get(f"last_{name}") or default
        st.session_state[key] = asked if asked in options else options[0]
    if many:
        st.selectbox(label, options, format_func=show, key=key)
    else:
        st.segmented_control(label, options, format_func=show, key=key, required=True, wrap=True)
    return keep(name, str(st.session_state[key]))


def keep(name: str, value: str) -> str:
    """Put a choice into the link and remember it."""
    st.session_state[f"last_{name}"] = value
    if st.query_params.get(name) != value:
        st.query_params[name] = value
    return value


def drop(name: str) -> None:
    """Take a choice out of the link and forget it."""
    for key in (f"last_{name}", f"pick_{name}"):
        st.session_state.pop(key, None)
    if name in st.query_params:
        del st.query_params[name]
