"""What the app says while and after a change, and where it cannot draw, in a real browser."""

from __future__ import annotations

import pytest
from open_app import copied
from test_browser import CHROMIUM, GL, Opened, running

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")


@pytest.fixture(scope="module")
def driver():
    with playwright.sync_playwright() as found:
        yield found


@pytest.fixture(scope="module")
def chromium(driver):
    browser = driver.chromium.launch(executable_path=CHROMIUM, args=GL)
    yield browser
    browser.close()


@pytest.fixture
def opened(tmp_path, chromium):
    path = copied(tmp_path, "cedar-hollow")
    context = chromium.new_context(viewport={"width": 1440, "height": 900})
    context.set_default_timeout(8_000)
    with running(path) as link:
        app = Opened(path, context.new_page(), link)
        yield app
        assert app.errors == []
        context.close()


def test_without_webgl_tables_working_and_editors_are_usable(tmp_path, driver):
    browser = driver.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-3d-apis"])
    try:
        with running(copied(tmp_path, "cedar-hollow")) as link:
            page, errors = browser.new_page(viewport={"width": 1440, "height": 900}), []
            page.set_default_timeout(8_000)
            page.on("pageerror", lambda error: errors.append(str(error)))
            page.goto(link)
            assert "cannot draw in 3D" in page.inner_text(".flatnote")
            page.wait_for_selector(".working .steps li")
            page.click(".attachments tbody tr:nth-child(3)")
            name = page.inner_text("tr[aria-selected=true] th").split(",")[0].split("\n")[0]
            page.wait_for_selector(f".working h2:has-text('{name}')")
            page.select_option("#case", "0")
            page.click("#tab-rows")
            page.click(".step[aria-label*='up the slope']")
            page.wait_for_selector("#facts:has-text('not saved')")
            assert errors == []
    finally:
        browser.close()
