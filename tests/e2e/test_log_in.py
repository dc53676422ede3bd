"""The log-in from the pages to a provider and back, with the roles that follow from it, in a real browser."""

from __future__ import annotations

from collections.abc import Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

from lineup.store import default_store, open_store, read_people
from tests.e2e.browser import Visit, free_port, lacking, serving
from tests.e2e.conftest import visiting
from tests.e2e.test_journeys import acknowledge_and_sign, keep
from tests.ui.test_log_in import OF_THE_SEASON, ROLES

if find_spec("authlib") is None or find_spec("cryptography") is None:
    lacking("Authlib", "pip install -e '.[login]'")

from tests.e2e.provider import CLIENT, SECRET, Provider, providing

SECRETS = """\
[auth]
redirect_uri = "{address}/oauth2callback"
cookie_secret = "a secret of this test that is long enough"
client_id = "{client}"
client_secret = "{secret}"
server_metadata_url = "{provider}/.well-known/openid-configuration"
"""
NO_SUCH_PAGE = "does not seem to exist"  # for this person
NAMES = ("coach", "director", "reader", "a2", "stranger", "unverified")


@pytest.fixture
def provider() -> Iterator[Provider]:
    """A provider that knows everybody of the roles file and two more."""
    people: dict[str, dict[str, Any]] = {f"{name}@example.org": {"name": name.capitalize()} for name in NAMES}
    people["unverified@example.org"]["email_verified"] = False
    with providing(Provider(people)) as served:
        yield served


@pytest.fixture
def pages(chromium: Any, tiny_folder: Path, provider: Provider) -> Iterator[str]:
    """The pages on the tiny season, behind the provider's log-in."""
    port = free_port()
    address = f"http://127.0.0.1:{port}"
    provider.redirects.add(f"{address}/oauth2callback")
    (tiny_folder.with_name("roles.toml")).write_text(
        ROLES + '[[person]]\nid = "unverified@example.org"\nroles = ["coach"]\n'
    )
    secrets = tiny_folder.with_name("secrets.toml")
    secrets.write_text(SECRETS.format(address=address, client=CLIENT, secret=SECRET, provider=provider.address))
    environment = {"LINEUP_ROLES": str(tiny_folder.with_name("roles.toml")), "LINEUP_SCENARIOS": "64"}
    with serving(tiny_folder, "--secrets.files", str(secrets), port=port, LINEUP_SECONDS="3", **environment) as served:
        yield served


@pytest.fixture
def visit(chromium: Any, pages: str, provider: Provider) -> Iterator[Visit]:
    """Somebody at a desk who has not logged in."""
    yield from visiting(chromium, pages, "desktop-light", (provider.address,))


def log_in(visit: Visit, name: str, link: str = "") -> None:
    """Go from the door to the provider, say who it is, and come back to the link."""
    visit.open(link)
    visit.page.get_by_role("button", name="Log in", exact=True).click()
    visit.page.get_by_role("heading", name="Who are you?").wait_for()
    visit.page.get_by_role("link", name=f"{name}@example.org").click()
    visit.page.wait_for_url(f"{visit.address}/{link}")
    visit.page.get_by_test_id("stApp").wait_for()
    visit.settle()


def log_out(visit: Visit) -> None:
    """Leave by the button, and be back at the door."""
    visit.page.get_by_role("button", name="Log out").click()
    visit.page.get_by_role("button", name="Log in", exact=True).wait_for()
    visit.settle()


def text_of(visit: Visit) -> str:
    return str(visit.page.get_by_test_id("stApp").inner_text())


def assert_nothing_shown(visit: Visit) -> None:
    text = text_of(visit)
    for word in OF_THE_SEASON:
        assert word not in text, word


def cookies(visit: Visit) -> dict[str, Any]:
    return {cookie["name"]: cookie for cookie in visit.page.context.cookies() if "user" in cookie["name"]}


def test_a_weekend_is_signed_by_two_people_who_logged_in(visit: Visit, provider: Provider, tiny_folder: Path) -> None:
    for link in ("", "crews?weekend=w1", "mine?athlete=a2", "data", "sign"):
        visit.open(link)
        visit.says("Log in to see anything")
        assert_nothing_shown(visit)
    assert visit.accessibility_faults() == []
    assert not cookies(visit)
    log_in(visit, "coach")
    visit.says("The coach (coach)")
    assert provider.asked[-1]["client_id"] == CLIENT
    assert provider.refused == []
    (cookie,) = [c for name, c in cookies(visit).items() if not name.endswith("tokens")]
    assert (cookie["httpOnly"], cookie["sameSite"]) == (True, "Lax")
    keep(visit, "plan of the spring")
    visit.go("Sign-off")
    visit.press("Propose it for signature")
    visit.says("Only a signer can sign it.")
    assert visit.page.get_by_role("button", name="Sign revision").count() == 0
    assert visit.accessibility_faults() == []
    visit.page.reload()  # the cookie carries the log-in
    visit.settle()
    visit.says("The coach (coach)")
    log_out(visit)
    assert provider.ended == 1
    assert not cookies(visit)
    assert_nothing_shown(visit)
    log_in(visit, "director", "sign")
    visit.page.get_by_role("heading", name="Sign-off", level=1).wait_for()
    visit.settle()
    acknowledge_and_sign(visit)
    visit.says("signed the travel list")
    roles = read_people(tiny_folder.with_name("roles.toml"))
    with open_store(default_store(tiny_folder), roles) as kept:
        state = kept.state("w1")["travel_list"]
        assert state.signature is not None
        assert (state.signature.by, state.signature.authenticated) == ("director@example.org", True)
        proposed = next(line for line in kept.history("w1") if line.kind == "proposed")
        assert (proposed.author, proposed.authenticated) == ("coach@example.org", True)
        stamp = kept.paper("w1", "travel_list").stamp
        assert (stamp.signed_by, stamp.proposed_by, stamp.authenticated) == ("The director", "The coach", True)


def test_a_link_outlives_the_log_in_and_is_opened_once(visit: Visit) -> None:
    log_in(visit, "reader", "depth?weekend=w2")
    visit.page.get_by_role("heading", name="Depth chart", level=1).wait_for()
    visit.says("Race 2")
    assert "weekend=w2" in visit.page.url
    visit.settle()
    visit.page.goto(f"{visit.address}/")
    visit.page.get_by_role("heading", name="Block", level=1).wait_for()  # a link is opened once
    visit.settle()


def test_a_reader_reads(visit: Visit, tiny_folder: Path) -> None:
    log_in(visit, "reader")
    visit.says("reader@example.org (reader)")
    assert visit.page.get_by_role("button", name="Keep as a revision").count() == 0
    assert visit.page.get_by_role("link", name="Season data").count() == 0
    assert not default_store(tiny_folder).exists()
    # the page of the season's files is not there for a reader who types its address either
    visit.expected = (NO_SUCH_PAGE,)
    visit.page.goto(f"{visit.address}/data")
    visit.settle()
    assert "Mend in place" not in text_of(visit)
    assert "availability.csv" not in text_of(visit)


def test_an_athlete_sees_the_own_weekends_alone(visit: Visit, tiny_folder: Path) -> None:
    log_in(visit, "a2")
    visit.page.get_by_role("heading", name="My weekends", level=1).wait_for()
    visit.expected = (NO_SUCH_PAGE,)
    for link in ("mine?athlete=a3", "block", "sign", "athlete?athlete=a3", "data"):
        visit.page.goto(f"{visit.address}/{link}")
        visit.settle()
        visit.page.get_by_role("heading", name="My weekends", level=1).wait_for()
        assert "Athlete 3" not in text_of(visit)
    visit.page.goto(f"{visit.address}/mine?athlete=a3")
    visit.says("somebody else")
    visit.settle()


@pytest.mark.parametrize(
    ("name", "words"),
    [("stranger", "stranger@example.org is not in the roles file"), ("unverified", "has not verified the address")],
)
def test_who_may_not_come_in_is_told_why(visit: Visit, name: str, words: str) -> None:
    log_in(visit, name)
    visit.says(words)
    assert_nothing_shown(visit)
    assert visit.accessibility_faults() == []
    log_out(visit)


@pytest.mark.parametrize("fault", ["signature", "nonce", "audience", "issuer", "expired"])
def test_a_forged_identity_opens_nothing(visit: Visit, provider: Provider, fault: str) -> None:
    provider.fault = fault
    log_in(visit, "coach")
    visit.says("Log in to see anything")
    assert_nothing_shown(visit)
    assert not cookies(visit)


def test_a_cookie_that_was_made_up_opens_nothing(visit: Visit) -> None:
    visit.page.context.add_cookies([{"name": "_streamlit_user", "value": "coach@example.org", "url": visit.address}])
    visit.open()
    visit.says("Log in to see anything")
    assert_nothing_shown(visit)
