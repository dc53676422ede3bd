"""Each user's job from start to end in a real browser."""

from __future__ import annotations

import time
import zipfile
from pathlib import Path

from lineup.read import read_season
from lineup.read.drafts import drafts_of
from lineup.store import default_store, open_store
from tests.e2e.browser import WAIT_S, Visit


def keep(visit: Visit, reason: str) -> None:
    """Keep the draft that is shown as a revision."""
    visit.page.get_by_label("Why this plan").fill(reason)
    visit.press("Keep as a revision")


def sign(visit: Visit) -> None:
    """Propose the newest revision for one step, acknowledge everything, sign it."""
    visit.press("Propose it for signature")
    acknowledge_and_sign(visit)


def acknowledge_and_sign(visit: Visit, verb: str = "Sign") -> None:
    """Acknowledge everything that is listed and press the button of this verb."""
    visit.says("acknowledge")  # the audit behind the list takes its time
    visit.settle()
    done = visit.page.get_by_text("Everything is acknowledged.")
    end = time.monotonic() + WAIT_S
    while not done.is_visible():  # a busy machine may draw the list late, or miss a click
        assert time.monotonic() < end, "not everything could be acknowledged"
        boxes = visit.page.get_by_test_id("stCheckbox").filter(visible=True)
        for number in range(boxes.count()):
            box = boxes.nth(number).locator("input")
            if box.get_attribute("role") != "switch" and not box.is_checked():
                boxes.nth(number).locator("label").click()
                visit.settle()
    visit.page.get_by_role("button", name=f"{verb} revision").click()
    visit.settle()


def sign_both_steps(visit: Visit) -> None:
    for step in ("Travel list", "Starting crews"):
        visit.page.get_by_role("radio", name=step).click()
        visit.settle()
        sign(visit)


def test_the_signer_signs_and_downloads(tiny_visit: Visit, tiny_folder: Path, tmp_path: Path) -> None:
    visit = tiny_visit
    visit.open()
    keep(visit, "plan of the spring")
    visit.go("Sign-off")
    sign_both_steps(visit)
    with open_store(default_store(tiny_folder)) as kept:
        state = kept.state("w1")
        assert {state["travel_list"].status, state["starting_crews"].status} == {"signed"}
    visit.page.get_by_test_id("stCheckbox").filter(has_text="Make the documents").locator("label").click()
    visit.settle()
    with visit.page.expect_download() as waiting:
        visit.page.get_by_role("button", name="Everything (.zip)").click()
    packed = tmp_path / "weekend.zip"
    waiting.value.save_as(packed)
    names = zipfile.ZipFile(packed).namelist()
    assert {"block.xlsx", "sheets/w1/travel-w1.pdf"} <= set(names)
    assert any(name.endswith(".ics") for name in names)
    visit.press("Verify the record")
    visit.says("All is as it was written")
    # the athlete's own link, as a new visitor opens it
    visit.open("mine?athlete=a2")
    visit.says("Race 1")
    text = visit.page.get_by_test_id("stMain").inner_text()
    assert "Car 1" in text
    assert "Athlete 3 (p3)" in text
    assert "Race 2" not in text
    links = [link.get_attribute("href") for link in visit.page.get_by_role("link").all()]
    assert links in ([], ["#stMain"]), "an athlete's page leads nowhere else"


def test_a_crew_is_amended_at_the_track_and_ratified(tiny_visit: Visit, tiny_folder: Path) -> None:
    visit = tiny_visit
    visit.open()
    keep(visit, "plan of the spring")
    visit.go("Sign-off")
    sign_both_steps(visit)
    visit.page.get_by_text("Amend at the track").click()
    visit.settle()
    visit.page.get_by_text("Athlete 7: ").first.click()
    visit.page.get_by_label("Why, without a diagnosis").fill("unavailable since noon")
    assert visit.accessibility_faults() == []
    visit.press("Put it in force now")
    visit.says("A signer has to ratify them")
    with open_store(default_store(tiny_folder)) as kept:
        amended = kept.state("w1")["starting_crews"]
        assert amended.status == "amended"
        assert amended.in_force is not None
        assert "a7" in kept.plan(amended.in_force).crew("r1", "c1").values()
    assert visit.accessibility_faults() == []
    acknowledge_and_sign(visit, "Ratify")
    visit.says("ratified the starting crews")
    with open_store(default_store(tiny_folder)) as kept:
        assert kept.state("w1")["starting_crews"].status == "signed"
        assert kept.verify().ok


def test_the_coach_plans_around_somebody_hurt(tiny_visit: Visit, tiny_folder: Path) -> None:
    visit = tiny_visit
    visit.open()
    visit.go("Hurt on Thursday")
    visit.page.get_by_label("Who is out").click()
    visit.page.get_by_role("option", name="Athlete 2", exact=True).click()
    visit.settle()
    visit.press("Plan again")
    visit.says("The ways to go on")
    visit.settle()
    text = visit.page.get_by_test_id("stMain").inner_text()
    assert "Fewest changes" in text
    assert "Seat by seat" in text
    assert "replan=" in visit.page.url, "the search is in the link"
    visit.press("Take it")
    visit.says("This plan is a draft")
    visit.settle()
    assert [a.athlete for a in read_season(tiny_folder)[0].absences] == ["a2"]
    keep(visit, "without Athlete 2")
    with open_store(default_store(tiny_folder)) as kept:
        plan = kept.plan(kept.revisions()[-1].number)
    assert "a2" not in {a.athlete for a in plan.assignments}
    assert plan.fingerprints == read_season(tiny_folder)[0].fingerprints


def test_the_director_moves_priority_and_compares(tiny_visit: Visit) -> None:
    visit = tiny_visit
    visit.open()
    field = visit.page.get_by_label("Car 2", exact=True)
    field.fill("9")
    field.press("Tab")
    visit.settle()
    visit.press("Plan again with these")
    visit.says("The draft is ready")
    visit.settle()
    visit.says("Compare two plans")
    visit.says("trips differ")
    assert "job=" in visit.page.url


def test_an_edit_is_never_lost(tiny_visit: Visit, tiny_folder: Path) -> None:
    visit = tiny_visit
    visit.open()
    visit.go("Season data")
    visit.open("data?file=cars.csv")
    grid = visit.page.get_by_test_id("stDataFrame").first
    grid.scroll_into_view_if_needed()
    box = grid.bounding_box()
    assert box is not None
    # the grid is a canvas: walk to the first row's last cell by keys, and type over it
    visit.page.mouse.click(box["x"] + 60, box["y"] + 52)
    for _ in range(12):
        visit.page.keyboard.press("ArrowRight")
    visit.page.keyboard.press("Enter")
    editor = visit.page.locator("textarea").filter(visible=True).last
    editor.fill("11.75")
    editor.press("Enter")
    visit.settle()
    visit.says("not in place yet")
    assert "11.75" in drafts_of(tiny_folder)["cars.csv"]
    visit.go("Block")
    visit.go("Season data")
    visit.says("not in place yet")
    visit.press("Put them in place")
    visit.says("Nothing is wrong with this season")
    assert read_season(tiny_folder)[0].cars["c1"].slowest_s == 11.75


def test_a_grid_offers_no_csv_that_a_spreadsheet_would_run(tiny_visit: Visit) -> None:
    # Streamlit writes a name like =1+1 into its CSV as it stands; `lineup export` puts a quote before it
    tiny_visit.open("data?file=athletes.csv")
    grid = tiny_visit.page.get_by_test_id("stDataFrame").first
    grid.scroll_into_view_if_needed()
    grid.hover()
    buttons = tiny_visit.page.get_by_test_id("stElementToolbarButton")
    shown = [button.get_attribute("aria-label") or button.inner_html() for button in buttons.filter(visible=True).all()]
    assert shown
    assert not any("Download" in words for words in shown), shown


def test_a_search_survives_a_reload_and_is_stopped_from_another_tab(desk: Visit) -> None:
    desk.open()
    desk.press("Plan again with these")
    desk.says("Best plan so far")
    link = desk.page.url
    desk.page.reload()
    desk.says("Stop and take the best so far")
    other = Visit(desk.page.context.new_page(), desk.address, desk.faults)
    other.watch()
    other.page.goto(link)
    other.says("Stop and take the best so far")
    other.page.get_by_role("button", name="Stop and take the best so far").click()
    for visit in (other, desk):
        visit.says("The draft is ready", seconds=120)


def test_a_link_opens_what_it_names(desk: Visit) -> None:
    desk.open("crews?weekend=2026-w11&entry=copperfell-cairn%2Fslate&position=jack&service=two-tires")
    desk.says("Copperfell 312")
    for name in ("Slate", "Jack", "Right-side tires and fuel"):
        assert desk.page.get_by_role("radio", name=name, exact=True).first.is_checked(), name
    desk.says("The jack’s seat")
    desk.says("Next-best swaps")


def test_pages_can_be_worked_by_keyboard(desk: Visit) -> None:
    desk.open()
    desk.page.keyboard.press("Tab")
    for _ in range(12):
        title = desk.page.evaluate("() => document.activeElement.textContent")
        if "Depth chart" in title:
            break
        desk.page.keyboard.press("Tab")
    desk.page.keyboard.press("Enter")
    desk.page.get_by_role("heading", name="Depth chart", level=1).wait_for()
    desk.settle()
