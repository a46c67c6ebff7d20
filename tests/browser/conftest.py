"""A real browser, where there is one: the system's Chromium, driven by Playwright, with no network."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

ARGUMENTS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


@pytest.fixture(scope="session")
def browser() -> Iterator[Any]:
    """Chromium; tests that want it skip with the reason where it or Playwright is absent."""
    pytest.importorskip("plotly", reason="plotly is not installed: extra report")
    driver = pytest.importorskip("playwright.sync_api", reason="playwright is not installed: extra browser")
    program = shutil.which("chromium")
    if program is None:
        pytest.skip("no browser: chromium is not installed")
    with driver.sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=program, args=list(ARGUMENTS))
        yield chromium
        chromium.close()


class Opened:
    """A page as it was opened, with what it asked for and complained of."""

    def __init__(self, page: Any, path: Path) -> None:
        self.page = page
        self.requests: list[str] = []
        self.complaints: list[str] = []
        page.on("request", lambda request: self.requests.append(request.url))
        page.on("console", lambda message: self.complaints.append(f"{message.type}: {message.text}"))
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("dialog", self._refuse)
        page.goto(path.resolve().as_uri())
        page.wait_for_selector("html[data-ready=yes]")

    def _refuse(self, dialog: Any) -> None:
        self.complaints.append(f"dialog: {dialog.message}")
        dialog.dismiss()

    def text(self, selector: str) -> str:
        """The words of an element, as they are shown."""
        return str(self.page.locator(selector).inner_text())


@pytest.fixture
def opened(browser: Any) -> Iterator[Callable[..., Opened]]:
    """Open a file in a window of some width, with a touch screen, offline."""
    contexts = []

    def open_file(path: Path, *, width: int = 900) -> Opened:
        context = browser.new_context(viewport={"width": width, "height": 900}, offline=True, has_touch=True)
        contexts.append(context)
        return Opened(context.new_page(), path)

    yield open_file
    for context in contexts:
        context.close()
