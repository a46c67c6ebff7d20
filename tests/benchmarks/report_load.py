"""How long the page of a report takes to open in Chromium: `report_load.py REPORT.html`.

Prints, for a few openings without network, the time until words are painted, until all figures are
drawn, and the processor's time of the page's main thread, which other work on the machine lengthens least.
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


def opening(browser: Browser, path: Path) -> tuple[float, float, float, float]:
    """Seconds until words, until the polar, until all figures, and of the processor."""
    context = browser.new_context(viewport={"width": 1200, "height": 900}, offline=True)
    page = context.new_page()
    session = context.new_cdp_session(page)
    session.send("Performance.enable", {"timeDomain": "threadTicks"})
    begun = time.perf_counter()
    page.goto(path.resolve().as_uri())
    page.wait_for_selector("html[data-ready=yes]")
    figures = time.perf_counter() - begun
    painted = page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime")
    polar = page.evaluate("performance.getEntriesByName('polar')[0].startTime")
    found = {item["name"]: item["value"] for item in session.send("Performance.getMetrics")["metrics"]}
    context.close()
    return painted / 1e3, polar / 1e3, figures, found["TaskDuration"]


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
            words, polar, figures, processor = opening(browser, path)
            print(
                f"words {words:.2f} s, polar {polar:.2f} s, all figures {figures:.2f} s, "
                f"processor {processor:.2f} s"
            )
        browser.close()


if __name__ == "__main__":
    main()
