"""How long a page takes to open in Chromium: `report_load.py PAGE.html`.

Prints, for a few openings without network, the time until words, all tables, the first figure and all
figures are painted, and the processor's time of the page's main thread, which other work on the machine
lengthens least.
"""

from __future__ import annotations

import os
import shutil
import sys
import time
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

OPENINGS = 5
ARGUMENTS = ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run")


def opening(browser: Browser, path: Path) -> dict[str, float]:
    """Seconds until each part of the page is there, and of the processor."""
    context = browser.new_context(viewport={"width": 1200, "height": 900}, offline=True)
    page = context.new_page()
    session = context.new_cdp_session(page)
    session.send("Performance.enable", {"timeDomain": "threadTicks"})
    begun = time.perf_counter()
    page.goto(path.resolve().as_uri())
    page.wait_for_selector("html[data-ready=yes]")
    figures = time.perf_counter() - begun
    marks = {"words": "first-contentful-paint", "tables": "tables", "first figure": "first-figure"}
    seconds = {
        part: page.evaluate(f"performance.getEntriesByName('{mark}')[0].startTime") / 1e3
        for part, mark in marks.items()
    }
    found = {item["name"]: item["value"] for item in session.send("Performance.getMetrics")["metrics"]}
    context.close()
    return {**seconds, "all figures": figures, "processor": found["TaskDuration"]}


def main() -> None:
    path = Path(sys.argv[1])
    program = shutil.which("chromium")
    print(
        f"{path}: {path.stat().st_size / 1e6:.1f} MB; "
        f"load average {os.getloadavg()[0]:.1f}, {os.cpu_count()} cores"
    )
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=program, args=list(ARGUMENTS))
        for _ in range(OPENINGS):
            told = opening(browser, path)
            print(", ".join(f"{part} {seconds:.2f} s" for part, seconds in told.items()))
        browser.close()


if __name__ == "__main__":
    main()
