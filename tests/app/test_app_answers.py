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


def test_after_a_drag_the_app_points_at_what_governs_now(opened):
    page = opened.page
    before = opened.governing().split()[0]
    page.wait_for_selector(f".working h2:has-text('{before}')")
    page.evaluate("app.edits.tryRow('E-high', { up: '13 ft' })")
    page.wait_for_selector(".trying")
    page.wait_for_selector("#working.old .stale:not([hidden])")
    tried = opened.governing().split()[0]
    assert tried != before
    page.wait_for_selector(f".callout b:text-is('{tried}')")
    page.evaluate("app.edits.row('E-high', { up: '13 ft' })")
    page.wait_for_selector(f".working h2:text-is('Working of {tried}')")
    page.wait_for_selector(".stale", state="hidden")
    assert opened.governing().split()[0] == tried
    page.wait_for_selector(f".callout b:text-is('{tried}')")
    assert page.evaluate("document.querySelector('#list .scroll').scrollTop") == 0
    assert tried in page.inner_text(".attachments tr[aria-selected=true]")


def test_what_was_picked_by_hand_stays_picked_and_the_table_where_it_was(opened):
    page = opened.page
    page.click(".attachments tbody tr:nth-child(60)")
    picked = page.evaluate("app.store.picked.name")
    page.evaluate("document.querySelector('#list .scroll').scrollTop = 0")
    page.evaluate("app.edits.row('E-high', { up: '13 ft' })")
    page.wait_for_selector(".pill.old")
    page.wait_for_selector(f".working h2:has-text('{picked}')")
    assert page.evaluate("app.store.picked.name") == picked
    assert page.evaluate("document.querySelector('#list .scroll').scrollTop") == 0


def test_the_header_names_other_limits_cautions_and_snow_not_held(opened):
    page = opened.page
    others = page.evaluate("app.store.shown.others.map((one) => [one.name, one.at, one.use])")
    name, _, use = max(others, key=lambda one: one[2] or 0.0)
    asides = page.inner_text(".asides")
    assert (name in asides) == (use > page.evaluate("app.store.shown.governing.use"))
    page.evaluate(
        """() => { const { state } = app.store; app.store.setState({ ...state,
          others: [{ name: "rail height", at: "S-low", use: 7.3 }, { name: "odd", at: "S-low", use: null }],
          verdict: { ...state.verdict, cautions: ["one", "two"],
            falling: "No row holds: W1 eave 42,251 lbf (weight of snow, worst case). It lands far." } }); }"""
    )
    asides = page.locator(".asides button").all_inner_texts()
    assert asides == [
        "rail height S-low 730 %",
        "odd S-low not verified",
        "not held: W1 eave 42,251 lbf",
        "2 cautions",
    ]
    page.click(".asides button:has-text('2 cautions')")
    assert page.locator("#pane-checks .cautionline").count() == 2
