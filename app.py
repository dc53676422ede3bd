"""Navigation between the pages, and what a page says that cannot go on. Run it with `streamlit run app.py`."""

import streamlit as st

from lineup.errors import LineupError
from lineup.ui.door import bar, enter, may
from lineup.ui.opened import choose_among_seasons
from lineup.ui.show import STYLE, plain

st.set_page_config(
    page_title="Lineup", page_icon="lineup/ui/mark.png", layout="wide", initial_sidebar_state="collapsed"
)
st.html(STYLE)

person = enter()
own_only = person is not None and not person.is_staff
MINE = st.Page("lineup/ui/mine.py", title="My weekend", url_path="mine", visibility="hidden", default=own_only)
DATA = st.Page("lineup/ui/season_data.py", title="Season data", icon=":material/table:", url_path="data")
PAGES = [
    st.Page("lineup/ui/block.py", title="Block", icon=":material/grid_on:", url_path="block", default=not own_only),
    st.Page("lineup/ui/crews.py", title="Weekend crews", icon=":material/groups:", url_path="crews"),
    st.Page("lineup/ui/hurt.py", title="Hurt on Thursday", icon=":material/healing:", url_path="hurt"),
    st.Page("lineup/ui/athlete.py", title="Athletes", icon=":material/person:", url_path="athlete"),
    st.Page("lineup/ui/depth.py", title="Depth chart", icon=":material/stacks:", url_path="depth"),
    st.Page("lineup/ui/sign.py", title="Sign-off", icon=":material/draw:", url_path="sign"),
    *([DATA] if may("coach") else []),
]
if own_only:
    PAGES = []

page = st.navigation([*PAGES, MINE], position="hidden" if own_only else "top")
if person is not None:
    bar(person)
if page == MINE:  # an athlete's own link leads nowhere else
    st.navigation([*PAGES, MINE], position="hidden")
else:
    # on a phone the links stand on the page itself: a menu that opens over it would have to be closed each time
    with st.container(horizontal=True, gap="small", key="phone_links"):
        for target in PAGES:
            st.page_link(target)
    choose_among_seasons()
try:
    page.run()
except LineupError as error:  # a damaged store, an unusable plan file: one line, like every refusal
    st.error(plain(str(error)), icon=":material/error:")
