"""The door of the pages: who has come in, by which log-in or on trust, and what this person may see and do."""

from __future__ import annotations

import os
import time
from ipaddress import ip_address
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import streamlit as st

from lineup.errors import InputError, NotAllowed
from lineup.ui.show import plain, safe
from lineup.ui.variables import number

if TYPE_CHECKING:  # the store brings its database libraries: only pages that need them wait
    from lineup.store import People, Person, User
    from lineup.store.people import Role

# of a log-in: the browser keeps it for weeks, and a computer at the track has many users
LOGIN_HOURS = 12.0

# A log-in ends on the first page whatever link began it; the browser's tab remembers that link meanwhile. Its origin
# is always the pages' own, so a made-up link leads nowhere else.
REMEMBER_LINK = "<script>sessionStorage.setItem('lineup-link', location.pathname + location.search)</script>"
OPEN_LINK = """<script>{
const link = sessionStorage.getItem('lineup-link');
sessionStorage.removeItem('lineup-link');
const first = location.pathname.endsWith('/');
if (link && first && link !== location.pathname) location.replace(location.origin + link);
}</script>"""


def enter() -> Person | None:
    """Let in who may see something, and tell everybody else why not.

    Returns the person of the roles file who is logged in; None where no log-in is set up: then whoever sits at this
    computer comes in, and nobody else can.
    """
    roles = _read_roles()
    if not login_set_up():
        if roles is not None and roles.login:
            refuse("The roles file asks for a log-in, and none is set up on this server: see the README.")
        if not _only_here():
            refuse(
                "Without a log-in these pages are shown on this computer only: set server.address to 127.0.0.1, "
                "or set up a log-in (see the README)."
            )
        return None
    if not st.user.is_logged_in:
        _ask_to_log_in()
    if roles is None:
        refuse("A log-in is set up, but no roles file: set LINEUP_ROLES, so that it is known who may see what.")
    try:
        hours = number("LINEUP_LOGIN_HOURS", LOGIN_HOURS)
    except InputError as error:
        refuse(str(error))
    if _logged_in_hours() > hours:
        refuse(f"You logged in more than {hours:g} hours ago. Log out, then log in again.")
    if st.user.get("email_verified") is False:
        refuse(f"The log-in has not verified the address {st.user.get('email')}: nothing is shown to it.")
    try:
        known = roles.person(me())
    except NotAllowed as error:
        refuse(f"{error}. Nothing is shown until then.")
    _go_on_to_the_link()
    return known


def _go_on_to_the_link() -> None:
    """Open the link that was asked for before the log-in, once."""
    if "came_in" not in st.session_state:
        st.session_state["came_in"] = True
        st.html(OPEN_LINK, unsafe_allow_javascript=True)


def login_set_up() -> bool:
    """Whether the secrets of this server name a log-in."""
    return hasattr(st.user, "is_logged_in")


def _logged_in_hours() -> float:
    """Hours since the log-in: OpenID Connect Core 1.0, section 2, has `iat` in every identity, seconds since 1970."""
    issued = st.user.get("iat")
    return (time.time() - float(issued)) / 3600 if isinstance(issued, int | float) else 0.0


def _only_here() -> bool:
    """Whether this server listens on a loopback address alone."""
    address = str(st.get_option("server.address") or "")
    try:
        return address == "localhost" or ip_address(address).is_loopback
    except ValueError:
        return False


def _ask_to_log_in() -> NoReturn:
    st.html(REMEMBER_LINK, unsafe_allow_javascript=True)
    st.title("Lineup", anchor=False)
    st.markdown("Log in to see anything of a season.")
    section = st.secrets.get("auth", {})
    providers = [name for name in section if hasattr(section[name], "keys") and "client_id" in section[name]]
    if "client_id" in section:
        st.button("Log in", type="primary", icon=":material/login:", on_click=st.login)
    for name in providers:
        st.button(f"Log in with {plain(name)}", icon=":material/login:", on_click=st.login, args=(name,))
    st.stop()


def refuse(why: str) -> NoReturn:
    """End the page with one line that says why it shows nothing."""
    st.title("Lineup", anchor=False)
    st.error(plain(why), icon=":material/lock:")
    if login_set_up() and st.user.is_logged_in:
        st.button("Log out", icon=":material/logout:", on_click=st.logout)
    st.stop()


def bar(who: Person) -> None:
    """Show who is logged in, with the way out."""
    from lineup.store.people import ROLE_NAMES, ROLES

    held = ", ".join(ROLE_NAMES[role] for role in ROLES if role in who.roles)
    with st.container(horizontal=True, horizontal_alignment="right", vertical_alignment="center", key="door"):
        st.html(f'<p class="note">{safe(f"{who.name} ({held})")}</p>', width="content")
        st.button("Log out", icon=":material/logout:", on_click=st.logout, type="tertiary")


def _read_roles() -> People | None:
    try:
        return people()
    except InputError as error:
        refuse(f"The roles file cannot be used. {error}")


def people() -> People | None:
    """Return the roles of LINEUP_ROLES, read anew when the file changes; None where one local user may do all."""
    file = os.environ.get("LINEUP_ROLES")
    return _people((file, roles_mark())) if file else None


def roles_mark() -> int:
    """Return a number that changes with the roles file; 0 where there is none."""
    file = os.environ.get("LINEUP_ROLES")
    try:
        return Path(file).stat().st_mtime_ns if file else 0
    except OSError:
        return 0


@st.cache_resource(max_entries=4, show_spinner=False)
def _people(state: tuple[str, int]) -> People:
    """Read a roles file in the state that its mark names."""
    from lineup.store import read_people

    return read_people(state[0])


def me() -> User:
    """Return who acts: the checked log-in, else the name chosen on the sign-off page, else the local user."""
    from lineup.store import LOCAL, User

    if getattr(st.user, "is_logged_in", False):
        email = str(st.user.get("email") or st.user.get("sub") or "")
        return User(email, str(st.user.get("name") or email), authenticated=True)
    roles = people()
    chosen = str(st.session_state.get("acting_as") or "")
    if roles is not None and chosen in roles.by_id:
        return User(roles.by_id[chosen].id, roles.by_id[chosen].name)
    return LOCAL


def person() -> Person | None:
    """Return the person who is logged in; None where names are taken on trust."""
    known, user = people(), me()
    return known.person(user) if known is not None and user.authenticated else None


def may(*roles: Role) -> bool:
    """Whether to offer a step for these roles. The step itself checks again; names on trust learn it only there."""
    who = person()
    return who is None or bool(who.roles & set(roles))


def require(roles: tuple[Role, ...], step: str) -> None:
    """Refuse a step outside the store to who lacks these roles; raises NotAllowed."""
    known = people()
    if known is not None:
        known.require(me(), roles, step)
