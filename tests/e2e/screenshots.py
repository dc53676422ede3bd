"""Takes the pictures of every page that the README shows: `python -m tests.e2e.screenshots [FOLDER]`."""

from __future__ import annotations

import io
import shutil
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from PIL import Image
from playwright.sync_api import Browser, sync_playwright

from lineup import workflow
from lineup.audit import Audit
from lineup.plan import Plan
from lineup.season import Season
from lineup.store import LOCAL, Roster, default_store, open_store
from lineup.store.weekend import STEPS
from lineup.study import Study, open_study
from tests.e2e.browser import CHROMIUM, FLAGS, ROOT, Visit, serving

FOLDER = ROOT / "data_demo" / "screens"
WEEKEND, NOW = "2026-w11", datetime(2026, 3, 10, 15, tzinfo=UTC)
COLOURS = 96  # enough for flat pages; keeps every picture below 150 kB
DESK, PHONE = (1280, 1000), (390, 844)


@dataclass(frozen=True)
class Shot:
    """One picture: its name, link, window and colours, where to scroll, what to press first."""

    name: str
    link: str
    size: tuple[int, int] = DESK
    scheme: Literal["light", "dark"] = "light"
    scroll_to: str = ""
    before: Callable[[Visit], None] | None = None


def mark_out(visit: Visit) -> None:
    """Mark a rear changer out on the phone and wait for the ways to go on."""
    visit.page.get_by_label("Who is out").click()
    visit.page.get_by_role("option", name="Saoirse Tamihana", exact=True).click()
    visit.settle()
    visit.press("Plan again")
    visit.says("The ways to go on", seconds=240)
    visit.settle()


SHOTS = (
    Shot("block", ""),
    Shot("block-dark", "", scheme="dark", scroll_to="Who works when"),
    Shot("crews", f"crews?weekend={WEEKEND}&entry=copperfell-cairn%2Fember&position=jack"),
    Shot("stop", f"crews?weekend={WEEKEND}&entry=copperfell-cairn%2Fember&position=jack", scroll_to="One car’s stop"),
    Shot("swaps", f"crews?weekend={WEEKEND}&entry=copperfell-cairn%2Fslate&position=jack", scroll_to="The jack’s seat"),
    Shot("hurt-phone", "hurt", PHONE, "dark", "Without", mark_out),
    Shot("athletes", "athlete?athlete=kwame-lindquist&position=rear-changer", scheme="dark"),
    Shot("depth", f"depth?weekend={WEEKEND}"),
    Shot("sign-off", f"sign?weekend={WEEKEND}&step=starting_crews"),
    Shot("season-data", "data?file=availability.csv"),
    Shot("my-weekend-phone", "mine?athlete=magnus-adeyinka", PHONE),
)


def signed_season(place: Path) -> Path:
    """Copy the demo season with its plan kept, its travel list signed and its starting crews proposed."""
    folder = place / "season"
    shutil.copytree(ROOT / "data_demo" / "season", folder)
    shutil.copy(ROOT / "data_demo" / "plan.json", place / "plan.json")
    study = open_study(folder)
    plan = study.read_plan(place / "plan.json")
    with open_store(default_store(folder)) as kept:
        revision = kept.save(plan, study.season, reason="Plan of the block", by=LOCAL, now=NOW)
        for weekend in (WEEKEND, "2026-w12"):
            for step in STEPS:
                roster = Roster(weekend, step, revision.number)
                kept.propose(roster, by=LOCAL, now=NOW)
                if (weekend, step) != (WEEKEND, "starting_crews"):
                    audit = audits(study)
                    items = kept.checklist(roster, study.season, audit, now=NOW).items
                    kept.sign(roster, study.season, audit, [item.id for item in items], by=LOCAL, now=NOW)
    return folder


def audits(study: Study) -> Callable[[Season, Plan], Audit]:
    """Return the audit of any plan of this season."""
    return lambda _, plan: workflow.audit_plan(study, plan)


def take(browser: Browser, address: str, shot: Shot, folder: Path) -> None:
    """Take one picture."""
    width, height = shot.size
    page = browser.new_page(viewport={"width": width, "height": height}, color_scheme=shot.scheme)
    visit = Visit(page, address)
    visit.open(shot.link)
    if shot.before is not None:
        shot.before(visit)
    if shot.scroll_to:
        page.get_by_role("heading", name=shot.scroll_to).first.evaluate("e => e.scrollIntoView({block: 'start'})")
    page.wait_for_timeout(1500)  # charts are drawn after the page has settled
    visit.settle()
    picture = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    small = picture.quantize(COLOURS, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    small.save(folder / f"{shot.name}.png", optimize=True)
    page.close()


def main() -> None:
    """Take every picture, or those named after the folder."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    wanted = sys.argv[2:]
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as place, sync_playwright() as play:
        season = signed_season(Path(place))
        browser = play.chromium.launch(executable_path=str(CHROMIUM), args=FLAGS)
        with serving(season, LINEUP_SECONDS="10") as address:
            for shot in SHOTS:
                if not wanted or shot.name in wanted:
                    take(browser, address, shot, folder)
                    print(f"{shot.name}: {(folder / f'{shot.name}.png').stat().st_size // 1000} kB")
        browser.close()


if __name__ == "__main__":
    main()
