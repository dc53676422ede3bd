"""What the browser tests share: the server, a watched page, waiting until it has settled, the accessibility check."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
CHROMIUM = Path("/usr/bin/chromium")
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--disable-dev-shm-usage",
]  # fmt: skip
LOOKS = {
    "desktop-light": ({"width": 1280, "height": 900}, "light"),
    "desktop-dark": ({"width": 1280, "height": 900}, "dark"),
    "phone-light": ({"width": 390, "height": 844}, "light"),
    "phone-dark": ({"width": 390, "height": 844}, "dark"),
}
WAIT_S = 90.0
SETTLED = """() => {
  const app = document.querySelector('[data-testid=stApp]');
  return !!app && app.dataset.testConnectionState === 'CONNECTED' && app.dataset.testScriptState === 'notRunning'
    && !document.querySelector('[data-testid=stSkeleton], [data-stale=true], [data-testid=stSpinner]');
}"""
# Streamlit looks for its server below a deep link first, and finds it one level up
PROBES = ("/_stcore/health", "/_stcore/host-config")


def lacking(what: str, how: str) -> None:
    """Skip, or fail where everything must be there."""
    message = f"{what} is missing: {how}"
    if os.environ.get("LINEUP_REQUIRE_ALL") == "1":
        pytest.fail(message)
    pytest.skip(message)


@contextmanager
def serving(season: Path, *options: str, port: int | None = None, **environment: str) -> Iterator[str]:
    """Serve the pages on a free port of this computer until the block ends; yields the address."""
    port = port or free_port()
    env = {k: v for k, v in os.environ.items() if not k.startswith("LINEUP_")}
    env |= {"LINEUP_SEASON": str(season), **environment}
    command = [sys.executable, "-m", "streamlit", "run", "app.py", "--server.port", str(port), *options]
    log = season.with_name("server.log")
    with log.open("w") as out:
        server = subprocess.Popen(command, cwd=ROOT, env=env, stdout=out, stderr=subprocess.STDOUT)
        try:
            _wait_for(f"http://127.0.0.1:{port}", server, log)
            yield f"http://127.0.0.1:{port}"
        finally:
            server.terminate()
            server.wait(20)


def free_port() -> int:
    """Return a port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _wait_for(address: str, server: subprocess.Popen[bytes], log: Path) -> None:
    end = time.monotonic() + 60
    while time.monotonic() < end and server.poll() is None:
        try:
            with urllib.request.urlopen(f"{address}/_stcore/health", timeout=2):
                return
        except OSError:
            time.sleep(0.1)
    raise RuntimeError(f"the pages did not start:\n{log.read_text()}")


@dataclass
class Visit:
    """A browser page that notes what goes wrong: on the console, in scripts, in requests that leave the machine."""

    page: Any
    address: str
    faults: list[str] = field(default_factory=list)
    elsewhere: tuple[str, ...] = ()  # other addresses on this computer that the pages may lead to
    expected: tuple[str, ...] = ()  # parts of messages on the console that belong to the test

    def watch(self) -> None:
        """Note every message of the console, every script error, every request elsewhere."""
        self.page.on("console", self._console)
        self.page.on("pageerror", lambda error: self.faults.append(f"script: {error}"))
        self.page.on("request", self._request)

    def _console(self, message: Any) -> None:
        probe = message.location.get("url", "").split("?")[0].endswith(PROBES)
        fine = (probe and "404" in message.text) or any(part in message.text for part in self.expected)
        if message.type in ("error", "warning") and not fine:
            self.faults.append(f"console {message.type}: {message.text[:300]} ({message.location.get('url', '')})")

    def _request(self, request: Any) -> None:
        known = (self.address, self.address.replace("http", "ws"), *self.elsewhere, "data:", "blob:")
        if not request.url.startswith(known):
            self.faults.append(f"a request left the machine: {request.url[:200]}")

    def open(self, link: str = "") -> float:
        """Open a link as a new visitor; return the seconds until it had settled."""
        begin = time.monotonic()
        self.page.goto(f"{self.address}/{link}")
        self.settle()
        return time.monotonic() - begin

    def settle(self, *, least: int = 3) -> None:
        """Wait until the page stands still."""
        end, calm = time.monotonic() + WAIT_S, 0
        while calm < least:
            calm = calm + 1 if self._still() else 0
            if time.monotonic() > end:
                raise AssertionError(f"the page did not settle: {self.page.url}")
            time.sleep(0.08)

    def _still(self) -> bool:
        from playwright.sync_api import Error

        try:
            return bool(self.page.evaluate(SETTLED))
        except Error as error:
            if "context was destroyed" in str(error):  # it went to another page while it was asked
                return False
            raise

    def go(self, title: str) -> None:
        """Go to another page by a click on its link."""
        from playwright.sync_api import TimeoutError

        link = self.page.get_by_role("link", name=title, exact=True).filter(visible=True).first
        heading = self.page.get_by_role("heading", name=title, level=1)
        end = time.monotonic() + WAIT_S
        while not heading.is_visible():  # a busy machine may miss a click while the page is drawn anew
            assert time.monotonic() < end, f"the link did not lead to {title}"
            link.click()
            with suppress(TimeoutError):
                heading.wait_for(timeout=WAIT_S * 1000 / 3)
        self.settle()

    def press(self, label: str) -> None:
        """Press a button."""
        self.page.get_by_role("button", name=label, exact=True).first.click()
        self.settle()

    def says(self, text: str, *, seconds: float = WAIT_S) -> None:
        """Wait until the page shows a text."""
        self.page.get_by_text(text).first.wait_for(timeout=seconds * 1000)

    def accessibility_faults(self) -> list[str]:
        """Return serious and critical findings of axe-core in what the pages themselves put there."""
        script = Path(os.environ.get("LINEUP_AXE", "/nowhere")) / "node_modules/axe-core/axe.min.js"
        if not script.is_file():
            lacking("axe-core", "npm install --prefix DIR axe-core@4, then set LINEUP_AXE=DIR")
        self.page.evaluate(script.read_text())
        found = self.page.evaluate("() => axe.run(document, {resultTypes: ['violations']})")
        return [
            f"{violation['id']} ({violation['impact']}): {node['target']} {node['html'][:160]}"
            for violation in found["violations"]
            if violation["impact"] in ("serious", "critical")
            for node in violation["nodes"]
        ]
