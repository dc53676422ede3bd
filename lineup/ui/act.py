"""Takes a step that may be refused; the refusal is one line on the page."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from lineup.errors import LineupError
from lineup.ui.show import plain


def taken(step: Callable[[], object]) -> bool:
    """Take a step and return whether it was taken; where it is refused, say why and how to mend it."""
    try:
        step()
    except LineupError as error:
        st.error(plain(str(error)))
        return False
    return True
