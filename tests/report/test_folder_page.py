"""The page over a folder: failures first, sortable, links to each file's page, text escaped."""

from __future__ import annotations

from pathlib import Path

import pytest

from restitch.folder import FileResult, Summary
from restitch.report.folder_page import PageMaker, folder_page

HOSTILE = '<img src=x onerror="window.hit=1">.pes'


@pytest.fixture
def page(tmp_path) -> str:
    pages = PageMaker(tmp_path / "in", tmp_path / "report.html")
    pages.page_path("b.pes").parent.mkdir(parents=True)
    pages.page_path("b.pes").write_text("the page")
    results = (
        FileResult("a.dst", "already sound"),
        FileResult("b.pes", "fixed", saved={"stitches": 900.0, "minutes": 1.5}, changes=4),
        FileResult("c.exp", "failed", reason="c.exp: ends early"),
        FileResult(HOSTILE, "fixed", saved={"stitches": 1200.0}, changes=2),
    )
    return folder_page(Summary(results), tmp_path / "in", pages)


def test_failures_first_then_the_largest_savings(page):
    body = page[page.index("<tbody>") :]
    places = [body.index(word) for word in ("c.exp", "onerror", "b.pes", "a.dst")]
    assert places == sorted(places)
    assert "c.exp: ends early" in page


def test_links_only_to_pages_that_are_there(page):
    assert 'href="report-pages/b.pes.html"' in page
    assert page.count("href=") == 1


def test_names_are_escaped(page):
    assert "<img" not in page
    assert "&lt;img" in page


def test_totals(page):
    assert "2,100" in page


def test_headings_sort_in_a_browser(page, tmp_path):
    import shutil

    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    if chromium is None:
        pytest.skip("no Chromium found: install it to run the browser tests")
    playwright = pytest.importorskip("playwright.sync_api")
    path: Path = tmp_path / "folder.html"
    path.write_text(page, "utf-8")
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(
            executable_path=chromium, args=["--no-sandbox", "--disable-background-networking"]
        )
        tab = browser.new_page()
        tab.goto(path.as_uri())
        tab.get_by_role("button", name="file").click()
        first = tab.locator("tbody tr").first.inner_text()
        tab.get_by_role("button", name="file").click()
        last = tab.locator("tbody tr").first.inner_text()
        browser.close()
    assert first != last
    assert last.startswith("c.exp")
