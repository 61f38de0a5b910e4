"""What the app says while and after a change, and where it cannot draw, in a real browser."""

from __future__ import annotations

import pytest
from open_app import copied
from real_browser import CHROMIUM, GL, Opened, running

from roofmodel.project.load import load_project

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
    context.set_default_timeout(30_000)
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
            page.set_default_timeout(30_000)
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
            protected: [{ text: "falls, held by no row: 9 kN on door", kept: false },
              { text: "still falls: 2 kN on walk", kept: true }],
            unsettled: "clamps that do not tip would use 124 %",
            falling: "Snow that no row holds: 42,251 lbf at W1 eave (weight of snow, worst case)." } }); }"""
    )
    asides = page.locator(".asides button").all_inner_texts()
    assert [words for words in asides if "out of place" not in words] == [  # those come when they are known
        "falls, held by no row: 9 kN on door",
        "clamps that do not tip would use 124 %",
        "rail height S-low 730 %",
        "odd S-low not verified",
        "still falls: 2 kN on walk",
        "not held: 42,251 lbf at W1 eave",
        "2 cautions",
    ]
    page.click(".asides button:has-text('2 cautions')")
    assert page.locator("#pane-checks .cautionline:has-text('two')").is_visible()


def test_save_asks_before_it_writes_a_project_that_is_gone(opened):
    page = opened.page
    page.evaluate("app.edits.row('E-high', { up: '10 ft' })")
    page.wait_for_selector("#save:not([disabled])")
    opened.path.unlink()
    page.click("#save")
    page.wait_for_selector("#notice:has-text('gone from its folder')")
    assert not opened.path.exists()
    page.click("#notice button:has-text('Write it again')")
    page.wait_for_selector("#facts:not(:has-text('not saved'))")
    assert 'up = "10 ft"' in opened.path.read_text()


def test_undo_in_a_field_is_the_projects_once_its_text_is_kept(opened):
    page = opened.page
    page.click("#tab-rows")
    field = page.locator("[data-field=up] input")
    before = field.input_value()
    field.fill("3.5 ft")
    field.press("Enter")
    page.wait_for_selector("#undo:not([disabled])")
    page.wait_for_function("document.activeElement.untyped?.()")
    page.keyboard.press("Control+z")
    page.wait_for_selector("#redo:not([disabled])")
    assert page.locator("[data-field=up] input").input_value() == before


def test_measured_rows_are_shown_and_their_fields_disabled(tmp_path, chromium):
    path = copied(tmp_path)
    layout = load_project(path).layout
    clamps = zip(layout.clamp_row, layout.clamp_s, strict=True)
    places = "".join(f"{layout.row_name[r]},{s}\n" for r, s in clamps)
    (path.parent / "clamps.csv").write_text("row,along [m]\n" + places)
    path.write_text(path.read_text() + '\n[as_built]\nfile = "clamps.csv"\n')
    with running(path) as link:
        page = Opened(path, chromium.new_page(), link).page
        page.click("#tab-rows")
        assert "clamps.csv" in page.inner_text(".measured")
        controls = page.locator("#pane-rows .editor :is(input, select, button)")
        assert controls.count() > 10
        assert page.locator("#pane-rows .editor :is(input, select, button):enabled").count() == 0
        page.close()


def test_on_a_phone_the_picture_lets_the_page_scroll_and_buttons_can_be_hit(opened, chromium):
    """Targets of 24 px: WCAG 2.2, 2.5.8, from memory."""
    other = chromium.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    try:
        page = other.new_page()
        page.goto(opened.link)
        page.wait_for_selector("#view[data-case]")
        assert page.evaluate("getComputedStyle(document.querySelector('#view')).touchAction") == "pan-y"
        prevented = """([x, y]) => { const canvas = app.view.canvas;
          const touch = new Touch({ identifier: 1, target: canvas, clientX: x, clientY: y });
          const at = { clientX: x, clientY: y, pointerId: 1, bubbles: true };
          canvas.setPointerCapture = () => {}; canvas.dispatchEvent(new PointerEvent("pointerdown", at));
          const event = new TouchEvent("touchstart", { touches: [touch], cancelable: true });
          canvas.dispatchEvent(event); canvas.dispatchEvent(new PointerEvent("pointercancel", at));
          return event.defaultPrevented; }"""
        box = page.locator("#view").bounding_box()
        assert page.evaluate(prevented, [box["x"] + 5, box["y"] + box["height"] - 130]) is False
        at = page.evaluate(
            """() => { const { clamps } = app.store, view = app.view, v = view.controls.target.clone();
              const i = app.store.called.index;
              const p = view.project(v.set(...clamps.at.subarray(3 * i, 3 * i + 3)));
              const box = view.canvas.getBoundingClientRect(); return [p.x + box.left, p.y + box.top]; }"""
        )
        assert page.evaluate(prevented, at) is True
        page.click("#tab-rows")
        heights = page.evaluate("[...document.querySelectorAll('.rows button')].map((b) => b.offsetHeight)")
        assert min(heights) >= 24
    finally:
        other.close()


def test_a_section_that_cuts_the_clamp_away_takes_its_callout_too(opened):
    page = opened.page
    assert page.locator(".callout").is_visible()
    page.select_option("#cut", "y")
    at = "((share) => { const bar = document.querySelector('#cutat'); bar.value = share; "
    at += "bar.dispatchEvent(new Event('input')); })"
    seen = set()
    for share in (0.02, 0.98):
        page.evaluate(f"{at}({share})")
        opened.until("app.view.pending === null")
        cut = page.evaluate(
            """() => { const i = app.store.clampsOf(app.store.called)[0], at = app.store.clamps.at;
              const v = app.view.center.clone().set(at[3 * i], at[3 * i + 1], at[3 * i + 2]);
              return app.view.clipped(v); }"""
        )
        assert page.locator(".callout").is_visible() is not cut
        seen.add(cut)
    assert seen == {True, False}


def test_on_paper_the_picture_keeps_its_labels_and_controls_are_left_out(opened):
    page = opened.page
    wide = page.evaluate("app.view.canvas.clientWidth")
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 718, "height": 1000})  # a sheet of A4 between its margins
    assert page.evaluate("app.view.canvas.clientWidth") == pytest.approx(wide, abs=1)
    assert page.evaluate("document.querySelector('#stage').getBoundingClientRect().right") <= 718
    for part in (".tools", ".controls", ".tabs", ".filters"):
        assert not page.locator(part).is_visible()
    for part in (".callout", ".attachments td:nth-child(4) >> nth=0", ".working .steps", "footer.caution"):
        assert page.locator(part).is_visible()
