"""A headless Chromium for tests of pages: what it complains of, what it asks for, what axe finds.

The browser is the one of the system (``apt-get install chromium``), driven by Playwright; nothing
is downloaded. Where there is none, tests that need it are skipped; with the environment variable
``COLONY_SIM_BROWSER=required`` they fail instead, so that no machine skips them unnoticed.
"""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, sync_playwright

PHONE, LAPTOP, SMALLEST = (390, 844), (1366, 768), (360, 740)
NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
_RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def program() -> str:
    """Path of the browser; skips or fails the test that asks where there is none."""
    found = next((path for name in NAMES if (path := shutil.which(name))), None)
    if found is None:
        text = f"no browser found ({', '.join(NAMES)}): apt-get install chromium"
        if os.environ.get("COLONY_SIM_BROWSER") == "required":
            pytest.fail(text)
        pytest.skip(text)
    return found


@contextmanager
def chromium() -> Iterator[Browser]:
    """A running browser; use it in a fixture of scope ``module``.

    Playwright keeps an event loop in the thread of the tests as long as this is open, so it is
    not kept for a whole session.
    """
    path = program()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        try:
            yield browser
        finally:
            browser.close()


class Visit:
    """One page in a fresh profile, and what it did.

    Attributes
    ----------
    page : Page
        Of Playwright.
    console : list of str
        Every message on the console, ``kind: text``.
    errors : list of str
        Errors that no code caught.
    requests : list of str
        Address of everything asked for, the page itself first.
    """

    def __init__(self, page: Page) -> None:
        self.page = page
        self.console: list[str] = []
        self.errors: list[str] = []
        self.requests: list[str] = []
        page.on("console", lambda message: self.console.append(f"{message.type}: {message.text}"))
        page.on("pageerror", lambda error: self.errors.append(str(error)))
        page.context.on("request", lambda request: self.requests.append(request.url))

    def complaints(self) -> list[str]:
        """Errors and warnings on the console, and errors that no code caught."""
        loud = [text for text in self.console if text.startswith(("error", "warning"))]
        return loud + self.errors

    def leaving(self, origin: str) -> list[str]:
        """What was asked for from elsewhere than addresses that begin with `origin`."""
        own = (origin, "data:", "blob:")
        return [address for address in self.requests if not address.startswith(own)]

    def violations(self) -> list[str]:
        """What axe-core finds against WCAG 2.2 A and AA and its own best practice, by element."""
        options = {"runOnly": {"type": "tag", "values": _RULES}, "resultTypes": ["violations"]}
        found = Axe().run(self.page, options=options).response["violations"]
        return [
            f"{rule['id']}: {' '.join(map(str, node['target']))}: {node['failureSummary']}"
            for rule in found
            for node in rule["nodes"]
        ]

    def wait_until(self, expression: str, seconds: float = 20.0) -> None:
        """Wait until a JavaScript expression holds.

        Playwright's own way needs ``eval`` in the page, which a strict policy forbids.
        """
        end = time.monotonic() + seconds
        while not self.page.evaluate(expression):
            assert time.monotonic() < end, f"waited in vain for {expression}"
            self.page.wait_for_timeout(20)

    def overflow(self) -> int:
        """By how many pixels the page is wider than its window."""
        width = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        return int(self.page.evaluate(width))


@contextmanager
def visit(
    browser: Browser,
    address: str | Path,
    size: tuple[int, int] = LAPTOP,
    *,
    dark: bool = False,
    still: bool = False,
    **options,
) -> Iterator[Visit]:
    """Open a page: `dark` and `still` (less motion) are what the reader prefers.

    `options` are those of Playwright's ``Browser.new_context``.
    """
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]},
        color_scheme="dark" if dark else "light",
        reduced_motion="reduce" if still else "no-preference",
        **options,
    )
    context.set_default_timeout(10_000)
    try:
        seen = Visit(context.new_page())
        seen.page.goto(address.resolve().as_uri() if isinstance(address, Path) else address)
        yield seen
    finally:
        context.close()
