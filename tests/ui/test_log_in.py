"""The pages behind a log-in: who sees what, who may take which step, and what nobody sees without one."""

from __future__ import annotations

import re
import time
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from lineup.read import read_season
from lineup.store import User, default_store, open_store, read_people
from tests.store.rosters import NOW, roster_plan
from tests.ui.conftest import ROOT, WAIT_S, words

ROLES = """\
login = true
[[person]]
id = "coach@example.org"
name = "The coach"
roles = ["coach"]
[[person]]
id = "director@example.org"
name = "The director"
roles = ["signer"]
[[person]]
id = "both@example.org"
roles = ["coach", "signer"]
[[person]]
id = "chief@example.org"
roles = ["crew_chief"]
cars = ["c1"]
[[person]]
id = "reader@example.org"
roles = ["reader"]
[[person]]
id = "a2@example.org"
name = "Athlete 2"
roles = ["athlete"]
athlete = "a2"
"""
AUTH = {"auth": {"client_id": "pages", "redirect_uri": "http://127.0.0.1/oauth2callback", "cookie_secret": "x" * 32}}
OF_THE_SEASON = ("Athlete", "Car 1", "Race 1", "w1", "Ana")


@pytest.fixture
def roles(folder: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = folder.with_name("roles.toml")
    path.write_text(ROLES)
    monkeypatch.setenv("LINEUP_ROLES", str(path))
    return path


def user(name: str, **claims: Any) -> dict[str, Any]:
    return {"is_logged_in": True, "email": f"{name}@example.org", "name": name, "email_verified": True, **claims}


def visit(who: dict[str, Any], page: str | None = None, **link: str) -> AppTest:
    """Open the pages as somebody with these claims."""
    at = AppTest.from_file(str(ROOT / "app.py"), default_timeout=WAIT_S)
    at.user = who
    at.secrets = AUTH
    for key, value in link.items():
        at.query_params[key] = value
    at.run()
    if page is not None:
        at.switch_page(f"lineup/ui/{page}.py")
        for key, value in link.items():
            at.query_params[key] = value
        at.run()
    assert not at.exception, at.exception
    return at


def labels(at: AppTest) -> list[str]:
    return [button.label for button in at.button]


def press(at: AppTest, label: str) -> None:
    next(button for button in at.button if button.label == label).click().run()


def keep_plan(folder: Path, roles: Path) -> int:
    """Keep a plan as the coach, propose it as such."""
    season, _ = read_season(folder)
    with open_store(default_store(folder), read_people(roles)) as kept:
        coach = User("coach@example.org", authenticated=True)
        return kept.save(roster_plan(season), season, reason="spring", by=coach, now=NOW).number


def assert_nothing_shown(at: AppTest) -> None:
    said = words(at) + " ".join(labels(at))
    for word in OF_THE_SEASON:
        assert not re.search(rf"\b{word}\b", said), word
    assert not at.selectbox
    assert not at.get("page_link")


def test_nothing_of_a_season_is_shown_before_a_log_in(folder: Path, roles: Path) -> None:
    for link in ({}, {"athlete": "a2"}, {"season": str(folder)}):
        at = visit({"is_logged_in": False}, **link)
        assert_nothing_shown(at)
        assert labels(at) == ["Log in"]


def test_somebody_unknown_sees_why_and_the_way_out(folder: Path, roles: Path) -> None:
    at = visit(user("stranger"))
    assert_nothing_shown(at)
    assert "stranger@example.org is not in the roles file" in at.error[0].value.replace("\\", "")
    assert labels(at) == ["Log out"]


def test_an_address_that_is_not_verified_is_nobody(folder: Path, roles: Path) -> None:
    at = visit(user("coach", email_verified=False))
    assert_nothing_shown(at)
    assert "has not verified the address coach@example.org" in at.error[0].value.replace("\\", "")


def test_a_log_in_of_yesterday_is_nobody_s(folder: Path, roles: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    yesterday = time.time() - 20 * 3600
    at = visit(user("coach", iat=yesterday))
    assert_nothing_shown(at)
    assert "more than 12 hours ago" in at.error[0].value
    assert labels(at) == ["Log out"]
    assert not visit(user("coach", iat=time.time() - 11 * 3600)).error
    monkeypatch.setenv("LINEUP_LOGIN_HOURS", "24")
    assert not visit(user("coach", iat=yesterday)).error
    monkeypatch.setenv("LINEUP_LOGIN_HOURS", "a day")
    assert "set it to a number" in visit(user("coach")).error[0].value


def test_a_log_in_without_a_usable_roles_file_shows_nothing(
    folder: Path, roles: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    roles.write_text("person = 5")
    at = visit(user("coach"))
    assert_nothing_shown(at)
    assert "The roles file cannot be used" in at.error[0].value
    monkeypatch.delenv("LINEUP_ROLES")
    at = visit(user("coach"))
    assert_nothing_shown(at)
    assert "no roles file" in at.error[0].value


def test_roles_that_ask_for_a_log_in_show_nothing_without_one(folder: Path, roles: Path) -> None:
    at = AppTest.from_file(str(ROOT / "app.py"), default_timeout=WAIT_S).run()
    assert_nothing_shown(at)
    assert "asks for a log-in, and none is set up" in at.error[0].value.replace("\\", "")


@pytest.mark.parametrize("address", ["0.0.0.0", "", "pages.example.org", "::"])
def test_without_a_log_in_the_pages_stay_on_this_computer(
    folder: Path, monkeypatch: pytest.MonkeyPatch, address: str
) -> None:
    from lineup.ui import door

    real = door.st.get_option
    monkeypatch.setattr(door.st, "get_option", lambda key: address if key == "server.address" else real(key))
    at = AppTest.from_file(str(ROOT / "app.py"), default_timeout=WAIT_S).run()
    assert_nothing_shown(at)
    assert "on this computer only" in at.error[0].value


def test_a_changed_roles_file_counts_at_once(folder: Path, roles: Path) -> None:
    assert [t.value for t in visit(user("reader")).title] == ["Block"]
    roles.write_text(ROLES.replace("reader@example.org", "other@example.org"))
    assert_nothing_shown(visit(user("reader")))


def test_the_id_is_matched_whatever_its_case(folder: Path, roles: Path) -> None:
    assert [t.value for t in visit(user("x", email="Coach@Example.org")).title] == ["Block"]


def test_a_reader_sees_pages_and_changes_nothing(folder: Path, roles: Path) -> None:
    at = visit(user("reader"))
    assert "reader (reader)" in words(at).replace("@example.org", "")
    assert "Keep as a revision" not in labels(at)
    keep_plan(folder, roles)
    at = visit(user("reader"), "sign", weekend="w1")
    assert "Proposing it is for a coach." in words(at)
    steps = {"Propose it for signature", "Sign revision 1", "Take it back", "Give your word", "Put it in force now"}
    assert not steps & set(labels(at))
    assert "lineup/ui/season_data.py" not in str([link.proto for link in at.get("page_link")])


def test_only_a_coach_opens_the_season_data(folder: Path, roles: Path) -> None:
    def pages(name: str) -> str:
        return str([link.proto for link in visit(user(name)).get("page_link")])

    assert "Season data" in pages("coach")
    for name in ("reader", "director", "chief"):
        assert "Season data" not in pages(name), "it tells the kind of an absence"


def test_the_signer_is_not_the_proposer_and_the_coach_is_no_signer(folder: Path, roles: Path) -> None:
    number = keep_plan(folder, roles)
    link = {"weekend": "w1", "step": "travel_list"}
    press(visit(user("both"), "sign", **link), "Propose it for signature")
    at = visit(user("both"), "sign", **link)
    assert f"Sign revision {number}" not in labels(at)
    assert "it takes a second person" in words(at)
    at = visit(user("coach"), "sign", **link)
    assert f"Sign revision {number}" not in labels(at)
    assert "Only a signer can sign it" in words(at)
    at = visit(user("director"), "sign", **link)
    for box in at.checkbox:
        box.check()
    at.run()
    press(at, f"Sign revision {number}")
    assert not at.error, [e.value for e in at.error]
    with open_store(default_store(folder), read_people(roles)) as kept:
        mark = kept.state("w1")["travel_list"].signature
        assert mark is not None
        assert (mark.by, mark.authenticated) == ("director@example.org", True)
        assert kept.paper("w1", "travel_list").stamp.authenticated


def test_a_button_pressed_by_the_wrong_person_is_refused_by_the_library(
    folder: Path, roles: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # a page that forgot to hide its buttons: the store still says no
    keep_plan(folder, roles)
    monkeypatch.setattr("lineup.ui.door.may", lambda *_: True)
    at = visit(user("reader"), "sign", weekend="w1")
    press(at, "Propose it for signature")
    assert "needs the role coach" in at.error[0].value
    with open_store(default_store(folder)) as kept:
        assert kept.state("w1")["travel_list"].status == "open"


def test_a_crew_chief_has_a_word_on_the_own_car_only(folder: Path, roles: Path) -> None:
    keep_plan(folder, roles)
    press(visit(user("coach"), "sign", weekend="w1", step="travel_list"), "Propose it for signature")
    at = visit(user("chief"), "sign", weekend="w1", step="travel_list")
    assert "Give your word" in labels(at)
    assert next(box for box in at.selectbox if box.label == "Car").options == ["Car 1"]


def test_an_athlete_sees_the_own_weekends_whatever_the_link_says(folder: Path, roles: Path) -> None:
    season, _ = read_season(folder)
    for link in ({}, {"athlete": "a2"}):
        at = visit(user("a2"), **link)
        assert [t.value for t in at.title] == ["My weekends"]
        assert not at.error
        assert not at.get("page_link")
    at = visit(user("a2"), athlete="a3")
    assert "somebody else" in at.error[0].value
    assert season.athletes["a3"].name not in words(at)
    for page in ("block", "crews", "athlete", "sign", "season_data"):
        with pytest.raises(ValueError, match=page):
            visit(user("a2"), page)


def test_staff_may_look_at_any_athletes_weekends(folder: Path, roles: Path) -> None:
    at = visit(user("reader"), "mine", athlete="a3")
    assert not at.error
    assert "No roster has been given out yet" in words(at)


def test_only_the_seasons_of_the_server_are_shown(
    folder: Path, roles: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = tmp_path / "autumn"
    other.mkdir()
    for file in folder.rglob("*"):
        if file.is_file():
            (other / file.relative_to(folder)).parent.mkdir(exist_ok=True)
            (other / file.relative_to(folder)).write_bytes(file.read_bytes())
    at = visit(user("coach"), season=str(other))
    assert "does not show the season" in at.error[0].value
    assert [label for label in labels(at) if label != "Log out"] == [
        f"Open {tmp_path.name}/season".replace("_", "\\_").replace("-", "\\-")
    ]
    for around in (f"{folder}/../autumn", f"{folder}/../../", "/etc"):
        assert "does not show the season" in visit(user("coach"), season=around).error[0].value
    monkeypatch.setenv("LINEUP_SEASONS", str(other))
    at = visit(user("coach"), season=str(other))
    assert not at.error
    assert at.query_params["season"] in (str(other), [str(other)])
    assert len(next(box for box in at.selectbox if box.label == "Season").options) == 2
    assert not visit(user("coach"), "season_data").text_input, "no other folder can be typed in"


def test_who_wrote_an_absence_is_who_is_logged_in(folder: Path, roles: Path) -> None:
    assert not any(field.label == "Entered by" for field in visit(user("coach"), "hurt").text_input)
