"""Every page opens on a tiny season, says what it should, shows hostile names letter by letter, and takes its steps."""

from __future__ import annotations

import re
from datetime import date, time
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from lineup.read import read_season
from lineup.read.drafts import drafts_of, save_draft, text_of
from lineup.store import default_store, open_store
from tests.ui.conftest import HOSTILE, Open, job_of, words

PAGES = {
    "block": "Block",
    "crews": "Weekend crews",
    "hurt": "Hurt on Thursday",
    "athlete": "Athletes",
    "depth": "Depth chart",
    "sign": "Sign-off",
    "season_data": "Season data",
}


@pytest.mark.parametrize(("page", "title"), PAGES.items())
def test_every_page_opens_and_says_its_name(open_page: Open, page: str, title: str) -> None:
    at = open_page(page)
    assert not at.exception, at.exception
    assert not at.error, [e.value for e in at.error]
    assert [t.value for t in at.title] == [title]


@pytest.mark.parametrize("page", ["block", "crews", "hurt", "athlete", "depth"])
def test_names_are_shown_letter_by_letter(open_page: Open, page: str) -> None:
    at = open_page(page)
    said = words(at)
    assert "<b>Ana" not in said
    # whatever Streamlit reads as Markdown has its marks escaped
    markdown = "\n".join(str(part.value) for kind in ("markdown", "caption", "subheader") for part in getattr(at, kind))
    assert not re.search(r"(?<!\\)\[x\]\(", markdown)
    assert not re.search(r"(?<!\\):red\[", markdown)
    if page in ("block", "crews", "depth"):
        assert "&lt;b&gt;Ana&lt;/b&gt; *Lind* [x](http://example.org) :red[y] $z$" in said


@pytest.mark.parametrize("page", ["block", "crews", "athlete", "depth"])
def test_forecasts_come_with_the_cautions(open_page: Open, page: str) -> None:
    assert "clears nobody to compete" in words(open_page(page))


def test_a_link_names_weekend_car_and_position(open_page: Open) -> None:
    at = open_page("crews", weekend="w2", entry="r2/c2", position="p3")
    assert at.query_params["weekend"] in ("w2", ["w2"])
    assert at.query_params["entry"] in ("r2/c2", ["r2/c2"])
    assert "The p3’s seat" in [h.value for h in at.header]


def test_a_link_to_something_unknown_falls_back(open_page: Open) -> None:
    at = open_page("crews", weekend="w99", plan="r77", position="pilot")
    assert not at.exception
    assert at.query_params["weekend"] in ("w1", ["w1"])


def test_a_draft_is_kept_proposed_and_signed(open_page: Open, folder: Path) -> None:
    at = open_page("block")
    assert not default_store(folder).exists(), "looking writes nothing"
    at.text_input[0].input("plan of the spring")
    at.button(key="FormSubmitter:keep_draft-Keep as a revision").click().run()
    assert not at.error, [e.value for e in at.error]
    with open_store(default_store(folder)) as kept:
        assert [r.reason for r in kept.revisions()] == ["plan of the spring"]
    at = open_page("sign", weekend="w1", step="travel_list")
    _press(at, "Propose it for signature")
    for box in at.checkbox:
        box.check()
    at.run()
    _press(at, "Sign revision 1")
    assert not at.error, [e.value for e in at.error]
    with open_store(default_store(folder)) as kept:
        assert kept.state("w1")["travel_list"].status == "signed"
        assert kept.verify().ok
    assert "signed the travel list" in words(at)


def _press(at: AppTest, label: str) -> None:
    next(button for button in at.button if button.label == label).click().run()


def test_nothing_is_signed_before_everything_is_acknowledged(open_page: Open, folder: Path) -> None:
    at = open_page("block")
    at.text_input[0].input("first")
    at.button(key="FormSubmitter:keep_draft-Keep as a revision").click().run()
    at = open_page("sign", weekend="w1", step="travel_list")
    _press(at, "Propose it for signature")
    sign = next(button for button in at.button if button.label == "Sign revision 1")
    assert at.checkbox
    assert sign.disabled


def test_a_refused_step_is_told_in_one_line(open_page: Open) -> None:
    at = open_page("block")
    at.button(key="FormSubmitter:keep_draft-Keep as a revision").click().run()
    assert [e.value for e in at.error] == ["a revision needs a reason"]


def test_an_athletes_own_page_says_where_when_and_with_whom_and_nothing_else(open_page: Open, folder: Path) -> None:
    at = open_page("mine", athlete="a2")
    assert "No roster has been given out yet" in words(at)
    at = open_page("block")
    at.text_input[0].input("first")
    at.button(key="FormSubmitter:keep_draft-Keep as a revision").click().run()
    for step in ("travel_list", "starting_crews"):
        at = open_page("sign", weekend="w1", step=step)
        _press(at, "Propose it for signature")
        for box in at.checkbox:
            box.check()
        at.run()
        _press(at, "Sign revision 1")
    said = words(open_page("mine", athlete="a2"))
    assert "Race 1" in said
    assert "Car 1" in said
    assert "Sunday 5 April, 08:00" in said
    assert "Race 2" not in said, "the second weekend was not given out"
    assert "forecast" not in said.lower()
    assert "names nobody" in words(open_page("mine", athlete="nobody"))


def test_broken_data_is_told_next_to_its_row_and_drafts_wait(open_page: Open, folder: Path) -> None:
    text = text_of(folder, "athletes.csv")
    save_draft(folder, "athletes.csv", text.replace(",regular,", ",star,", 1))
    at = open_page("season_data")
    said = words(at)
    assert "athletes.csv" in said
    assert "star" in said
    put = next(button for button in at.button if button.label == "Put them in place")
    assert put.disabled
    save_draft(folder, "athletes.csv", text.replace("Athlete 2", "Bea Second"))
    at = open_page("season_data")
    _press(at, "Put them in place")
    assert not drafts_of(folder)
    assert read_season(folder)[0].athletes["a2"].name == "Bea Second"


def test_pages_lead_to_the_problems_when_the_season_is_broken(open_page: Open, folder: Path) -> None:
    path = folder / "cars.csv"
    path.write_text(path.read_text().replace("1.0", "none", 1))
    at = open_page("block")
    assert not at.exception
    assert "cannot be used yet" in at.error[0].value


@pytest.mark.parametrize(
    ("file", "message"), [("season.store.db", "this file is not a store"), ("plan.json", "plan.json: is not JSON")]
)
def test_what_cannot_be_read_is_one_line_on_the_page(open_page: Open, folder: Path, file: str, message: str) -> None:
    folder.with_name(file).write_text("not what it should be, and long enough to be taken for something" * 20)
    at = open_page("block")
    assert not at.exception
    assert message in at.error[0].value.replace("\\", "")


def test_a_setting_that_is_no_number_is_one_line(open_page: Open, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LINEUP_SCENARIOS", "many")
    at = open_page("crews")
    assert not at.exception
    assert "LINEUP_SCENARIOS is 'many': set it to a number" in at.error[0].value.replace("\\", "")


def test_a_deadline_is_set_by_the_clock_of_the_track(open_page: Open, folder: Path) -> None:
    at = open_page("block")
    at.text_input[0].input("first")
    at.button(key="FormSubmitter:keep_draft-Keep as a revision").click().run()
    at = open_page("sign", weekend="w1", step="travel_list")
    at.date_input[0].set_value(date(2026, 4, 2))
    at.time_input[0].set_value(time(18))
    _press(at, "Set it")
    assert not at.error, [e.value for e in at.error]
    assert "Thu 2 Apr 18:00 EDT" in words(at)
    with open_store(default_store(folder)) as kept:
        deadline = kept.state("w1")["travel_list"].deadline
    assert deadline is not None
    assert deadline.isoformat() == "2026-04-02T22:00:00+00:00"  # New York is four hours behind UTC in summer


def test_the_travel_list_is_printed_before_the_crews_are_proposed(open_page: Open, folder: Path) -> None:
    at = open_page("block")
    at.text_input[0].input("first")
    at.button(key="FormSubmitter:keep_draft-Keep as a revision").click().run()
    at = open_page("sign", weekend="w1", step="travel_list")
    _press(at, "Propose it for signature")
    at.toggle[0].set_value(True).run()
    assert not at.error, [e.value for e in at.error]
    names = [str(part.proto.label) for part in at.get("download_button")]
    assert names == ["Everything (.zip)", "travel-w1.pdf"]


def test_no_plan_stands_in_the_list_under_two_equal_names(open_page: Open) -> None:
    at = open_page("block")
    at.text_input[0].input("first")
    at.button(key="FormSubmitter:keep_draft-Keep as a revision").click().run()
    (plans,) = [box for box in at.selectbox if box.label == "Plan"]
    assert plans.options == ["Newest, now revision 1", "Revision 1: first"]
    assert "Compare two plans" not in [h.value for h in at.header], "there is no other plan"


def test_somebody_hurt_brings_ways_to_go_on(open_page: Open, folder: Path) -> None:
    at = open_page("hurt")
    at.selectbox[-1].select("a2") if len(at.selectbox) == 1 else at.selectbox[1].select("a2")
    at.date_input[0].set_value(date(2026, 4, 5))
    _press(at, "Plan again")
    assert not at.error, [e.value for e in at.error]
    key = at.query_params["replan"]
    job = job_of(folder, key)
    assert job is not None
    assert job.wait(60) == "done", job.error
    at.run()
    said = words(at)
    assert "Fewest changes" in said
    assert re.search(r"\d seats? lost:", said)
    _press(at, "Take it")
    assert [a.athlete for a in read_season(folder)[0].absences] == ["a2"]


def test_somebody_comes_back_step_by_step_by_the_coachs_dates(open_page: Open, folder: Path) -> None:
    at = open_page("hurt")
    days = {field.label.split(" (")[0]: field for field in at.date_input}
    next(box for box in at.selectbox if box.label == "Who is out").select("a2")
    days["From"].set_value(date(2026, 4, 1))
    days["Practises from"].set_value(date(2026, 4, 3))
    days["May step in for somebody from"].set_value(date(2026, 4, 5))
    days["May start from"].set_value(date(2026, 4, 12))
    _press(at, "Plan again")
    assert not at.error, [e.value for e in at.error]
    job = job_of(folder, at.query_params["replan"])
    assert job is not None
    assert job.wait(60) == "done", job.error
    at.run()
    said = words(at)
    assert "may cover from 5 Apr 2026 and start from 12 Apr 2026, by the coach" in said
    assert "A return, by the coach’s dates" in said
    assert said.count("clears nobody to compete") >= 2
    _press(at, "Take it")
    # out until he may step in; availability has no word for "may step in, may not start"
    (absence,) = read_season(folder)[0].absences
    assert (absence.athlete, absence.first_day, absence.last_day) == ("a2", date(2026, 4, 1), date(2026, 4, 4))


def test_the_days_of_a_return_must_fit(open_page: Open) -> None:
    for days, message in (
        ({"Practises from": date(2026, 4, 3)}, "needs the day of the first start"),
        ({"May start from": date(2026, 4, 12), "Last day out": date(2026, 4, 6)}, "not both"),
        (
            {"May step in for somebody from": date(2026, 4, 19), "May start from": date(2026, 4, 12)},
            "must follow each other",
        ),
    ):
        at = open_page("hurt")
        fields = {field.label.split(" (")[0]: field for field in at.date_input}
        for label, day in days.items():
            fields[label].set_value(day)
        _press(at, "Plan again")
        assert message in at.error[0].value.replace("\\", "")


def test_roles_say_who_may_keep_a_plan(open_page: Open, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    roles = folder.with_name("roles.toml")
    roles.write_text('[[person]]\nid = "reader"\nroles = ["reader"]\n')
    monkeypatch.setenv("LINEUP_ROLES", str(roles))
    at = open_page("block")
    at.text_input[0].input("mine")
    at.button(key="FormSubmitter:keep_draft-Keep as a revision").click().run()
    assert "not in the roles file" in at.error[0].value.replace("\\", "")


def test_the_hostile_name_is_the_one_of_the_season(folder: Path) -> None:
    assert read_season(folder)[0].athletes["a1"].name == HOSTILE
