"""Photograph the report page for these pages; needs an installed Chromium.

    python docs/pictures/pages.py

The page is that of the bundled badge, rescued for a T-shirt.
"""

from __future__ import annotations

import io
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from PIL import Image
from playwright.sync_api import Page, sync_playwright

from restitch.fabrics import default_profile, fabric_note
from restitch.report.page import page_of
from restitch.rescue_file import Settings, rescue_file

HERE = Path(__file__).parent
BADGE = HERE.parents[1] / "fixtures" / "rope-badge.pes"
SIZE = {"width": 860, "height": 1110}
COLOURS = 40
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]


def top(page: Page) -> bytes:
    """Figures and both pictures, as the page opens."""
    return page.screenshot()


def section(selector: str) -> Callable[[Page], bytes]:
    """One part of the page."""
    return lambda page: page.locator(selector).screenshot()


def sewing(page: Page) -> bytes:
    """The player in the middle of the result."""
    page.locator("#sew-at").fill("6600")
    return page.locator("#sewing").screenshot()


def changes(page: Page) -> bytes:
    """The first changes, one with its spot shown, one vetoed."""
    page.locator("[data-keep]:enabled").nth(2).uncheck()
    page.locator("#changes .show").nth(3).click()
    page.evaluate(
        "document.querySelectorAll('.changes li')[3].scrollIntoView({block: 'end'});"
        "document.getElementById('changes').scrollIntoView()"
    )
    page.wait_for_timeout(500)
    return page.screenshot(clip={"x": 0, "y": 0, "width": SIZE["width"], "height": 620})


PHOTOGRAPHS: dict[str, Callable[[Page], bytes]] = {
    "report-top": top,
    "report-figures": section(".masthead"),
    "report-layers": section("#stack"),
    "report-sewing": sewing,
    "report-changes": changes,
    "report-worksheet": section("#worksheet"),
}
"""Picture name and what takes it, in the order of the page."""


def main() -> None:
    """Write every photograph."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as driver:
        at = Path(folder) / "report.html"
        settings = Settings(default_profile("knit"), fabric_note("knit"))
        at.write_text(page_of(rescue_file(BADGE, Path(folder) / "new.pes", settings)), "utf-8")
        browser = driver.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
        page = browser.new_page(viewport=SIZE)
        page.goto(at.as_uri())
        page.wait_for_selector("html[data-drawn=yes]", timeout=20_000)
        for name, take in PHOTOGRAPHS.items():
            (HERE / f"{name}.png").write_bytes(small(take(page)))
        browser.close()


def small(png: bytes) -> bytes:
    """The picture with few colours."""
    out = io.BytesIO()
    picture = Image.open(io.BytesIO(png)).convert("RGB")
    picture.quantize(COLOURS, dither=Image.Dither.NONE).save(out, "PNG", optimize=True)
    return out.getvalue()


if __name__ == "__main__":
    main()
