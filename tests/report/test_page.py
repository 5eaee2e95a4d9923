"""The report page in a real browser: loads alone, pictures, player, switches, export, print."""

from __future__ import annotations

import os
import re
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from restitch.fabrics import default_profile
from restitch.model import Thread
from restitch.report.page import page_of
from restitch.rescue_file import Settings, rescue_file

FIXTURES = Path(__file__).parents[2] / "fixtures"
CHROMIUM = next(
    (p for p in map(shutil.which, ("chromium", "chromium-browser", "google-chrome")) if p), None
)
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]


@pytest.fixture(scope="module")
def outcome(tmp_path_factory):
    target = tmp_path_factory.mktemp("page") / "new.dst"
    settings = Settings(default_profile("twill"), "twill as asked")
    return rescue_file(FIXTURES / "bakehouse.dst", target, settings)


@pytest.fixture(scope="module")
def page_path(outcome, tmp_path_factory):
    path = tmp_path_factory.mktemp("page") / "report.html"
    path.write_text(page_of(outcome), "utf-8")
    return path


@pytest.fixture(scope="module")
def browser():
    if CHROMIUM is None and os.environ.get("CI"):
        pytest.fail("no Chromium found: CI must run the browser tests")
    if CHROMIUM is None:
        pytest.skip("no Chromium found: install it to run the browser tests")
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as driver:
        running = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield running
        running.close()


@pytest.fixture
def tab(browser, page_path):
    page = browser.new_page(viewport={"width": 1200, "height": 900})
    page.trouble, page.asked = [], []
    page.on("console", lambda m: page.trouble.append(m.text))
    page.on("pageerror", lambda e: page.trouble.append(str(e)))
    page.on("request", lambda r: page.asked.append(r.url))
    page.goto(page_path.as_uri())
    page.wait_for_selector("html[data-drawn=yes]", timeout=20_000)
    yield page
    page.close()


def test_page_loads_from_a_file_and_asks_nothing_of_a_network(tab, page_path):
    assert tab.trouble == []
    assert tab.asked == [page_path.as_uri()]
    drawn = tab.evaluate(
        "() => { const c = document.getElementById('picture-before');"
        "const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data;"
        "return new Set(Array.from(new Uint32Array(d.buffer))).size }"
    )
    assert drawn > 50


def test_edge_slider_uncovers_the_other_picture(tab):
    tab.locator("#edge").fill("20")
    style = tab.evaluate("document.getElementById('picture-after').parentElement.style.clipPath")
    assert "20%" in style


def test_player_moves_and_names_what_it_sews(tab):
    tab.locator("#sew-at").fill("500")
    status = tab.locator("#sew-status").inner_text()
    assert status.startswith("Stitch 500 of")
    assert re.search(r"satin|fill|run", status)
    tab.locator("#sew-play").click()
    tab.wait_for_timeout(300)
    tab.locator("#sew-play").click()
    assert int(tab.locator("#sew-at").input_value()) > 500


def test_keyboard_reaches_stage_and_switches(tab):
    tab.locator("#stage").focus()
    tab.keyboard.press("+")
    tab.keyboard.press("ArrowLeft")
    tab.locator("[data-keep]:enabled").first.focus()
    tab.keyboard.press("Space")
    assert "vetoed" in tab.locator("#decide-words").inner_text()


def test_exported_decisions_give_a_fix_without_the_vetoed_change(tab, outcome, tmp_path):
    from restitch.fabrics import load_decisions

    tab.evaluate("document.querySelectorAll('details').forEach(d => d.open = true)")
    switch = tab.locator('[data-keep^="stack-"]:enabled').first
    name = switch.get_attribute("data-keep")
    switch.uncheck()
    with tab.expect_download() as download:
        tab.locator("#export-decisions").click()
    path = tmp_path / "decisions.toml"
    download.value.save_as(path)
    settings = Settings(default_profile("twill"), decisions=load_decisions(path))
    again = rescue_file(FIXTURES / "bakehouse.dst", tmp_path / "new.dst", settings)
    states = {c.id: c.state.value for c in again.report.changes}
    assert states[name] == "vetoed"
    assert again.report.after["stitches"] > outcome.report.after["stitches"]


def test_worksheet_prints_on_one_page_with_a_true_scale_bar(tab):
    pdf = tab.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 1
    tab.emulate_media(media="print")
    # the bar spans 1000 of 1020 units; CSS has 96 px to the inch
    width = tab.locator(".scale-bar").bounding_box()["width"] * 25.4 / 96 * 1000 / 1020
    assert width == pytest.approx(100.0, rel=0.01)


def test_fifteen_colours_still_print_on_one_page(browser, outcome, tmp_path):
    threads = tuple(Thread(0x101010 * n, f"thread {n}", str(1000 + n), "maker") for n in range(15))
    block = outcome.report.after["blocks"][0]
    after = {**outcome.report.after, "blocks": [{**block, "block": n} for n in range(15)]}
    result = replace(outcome.result, threads=threads)
    report = replace(outcome.report, after=after)
    path = tmp_path / "fifteen.html"
    path.write_text(page_of(replace(outcome, report=report, result=result)), "utf-8")
    page = browser.new_page()
    page.goto(path.as_uri())
    assert page.locator(".colours tbody tr").count() == 15
    assert len(re.findall(rb"/Type\s*/Page\b", page.pdf(prefer_css_page_size=True))) == 1
    page.close()


def test_text_from_a_file_cannot_run_script(browser, outcome, tmp_path):
    hostile = '</script><script>window.hit=1</script><img src=x onerror="window.hit=1">'
    report = replace(outcome.report, source=replace(outcome.report.source, name=hostile))
    threads = tuple(replace(t, name=hostile) for t in outcome.result.threads)
    result = replace(outcome.result, threads=threads)
    path = tmp_path / "hostile.html"
    path.write_text(page_of(replace(outcome, report=report, result=result)), "utf-8")
    page = browser.new_page()
    page.goto(path.as_uri())
    page.wait_for_selector("html[data-ready=yes]", timeout=20_000)
    assert page.evaluate("window.hit") is None
    assert page.locator("h1").inner_text() == hostile
    page.close()


def test_page_stays_small(page_path):
    assert page_path.stat().st_size < 3_000_000
