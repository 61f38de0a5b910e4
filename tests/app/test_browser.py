"""The app in a real browser: load, pick, drag a row, see numbers change, save, export; by keyboard too."""

from __future__ import annotations

import pytest
from real_browser import CHROMIUM, ROOT

from fea.analysis import analyze
from roofmodel.project.load import load_project
from viewer.quantities import percent

pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")


def test_table_and_picture_show_the_check_and_are_linked_both_ways(opened):
    page, checked = opened.page, analyze(load_project(opened.path))
    worst = checked.attachment
    name = checked.limits[worst.limit].target_name[worst.target]
    first = page.locator(".attachments tbody tr").first
    assert name in first.inner_text()
    assert percent(worst.utilization) in first.inner_text()
    assert name in opened.governing()
    assert page.inner_text("#live").startswith(f"Solved. Governing attachment: {name} uses ")
    page.click(".attachments tbody tr:nth-child(3)")
    picked = page.evaluate("document.querySelector('tr[aria-selected=true] th').firstChild.textContent")
    page.wait_for_selector(f".callout b:text-is('{picked}')")
    x, y = opened.clamp_at("S-low-30")
    page.mouse.click(x, y)
    page.wait_for_selector(".working h2:has-text('S-low-30')")
    assert "S-low-30" in page.locator(".attachments tr[aria-selected=true]").inner_text()
    steps = page.locator(".steps li")
    assert steps.count() > 5
    assert "Σ p b sin θ" in steps.first.inner_text()
    assert "7.4" in page.inner_text(".zones")


def test_dragging_a_row_changes_numbers_and_save_writes_it(opened):
    page = opened.page
    before = opened.governing()
    opened.until("app.store.placeBefore !== undefined")  # its words may take a line from the picture
    x, y = opened.clamp_at("E-high-25")
    up = page.evaluate(
        """() => { const row = app.store.rowOf("E-high"), view = app.view;
          const a = view.controls.target.clone().set(...row.ends[0]);
          const b = a.clone().addScaledVector(a.clone().set(...row.way_up), 1.0);
          const p = view.project(a), q = view.project(b); return [q.x - p.x, q.y - p.y]; }"""
    )
    page.mouse.move(x, y)
    page.mouse.down()
    # A note that comes while the mouse is held moves nothing under it.
    frame = "JSON.stringify(app.view.canvas.getBoundingClientRect())"
    held = page.evaluate(frame)
    long = "{ revision: app.store.state.revision, line: 'x', short: 'a long note '.repeat(40), use: 1 }"
    page.evaluate(f"app.store.setPlace({long})")
    assert page.evaluate(frame) == held
    for share in (0.2, 0.4, 0.6, 0.8, 1.0):
        page.mouse.move(x + 1.2 * share * up[0], y + 1.2 * share * up[1])
    page.wait_for_selector(".trying")
    assert "would govern" in page.inner_text(".governs").lower()
    assert page.evaluate(frame) == held
    assert opened.path.read_text() == (ROOT / "models/cedar-hollow/project.toml").read_text()
    page.mouse.up()
    page.wait_for_selector(".pill.old")
    page.wait_for_selector("#facts:has-text('not saved')")
    assert page.inner_text(".pill.old") == before
    page.wait_for_function("document.querySelector('#live').textContent.startsWith('Governing attachment')")
    page.keyboard.press("Control+s")
    page.wait_for_selector("#facts:not(:has-text('not saved'))")
    moved = load_project(opened.path)
    table = next(row for row in moved.table.row if row.name == "E-high")
    assert 0.9 < table.up - 9 * 0.3048 < 1.5
    checked = analyze(moved)
    assert percent(checked.attachment.utilization) in opened.governing()
    page.click("#undo")
    page.wait_for_selector("#redo:not([disabled])")
    assert opened.governing() == before


def test_main_path_by_keyboard_alone(opened):
    page = opened.page
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    page.locator(".attachments tbody tr[tabindex='0']").focus()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    name = page.evaluate("document.activeElement.querySelector('th').firstChild.textContent")
    page.wait_for_selector(f".working h2:has-text('{name}')")
    opened.until("document.querySelector('#live').textContent.startsWith('Working')")
    assert page.inner_text("#live").startswith(f"Working of {name}. {name} uses")
    page.reload()  # the skip link has left its mark in the address; the page stays known
    page.wait_for_selector("#view[data-case]")
    page.locator("#tab-attachments").focus()
    page.keyboard.press("ArrowRight")
    assert page.evaluate("document.activeElement.id") == "tab-rows"
    page.locator("#pane-rows button.link:text-is('E-high')").focus()
    page.keyboard.press("Enter")
    page.locator("[data-field=up] input").focus()
    page.keyboard.press("Control+a")
    page.keyboard.type("10 ft")
    page.keyboard.press("Enter")
    page.wait_for_selector(".pill.old")
    opened.until("document.querySelector('#live').textContent.startsWith('Governing attachment')")


OTHERS = (
    "app.edits.link.ask({ type: 'set', table: 'rail', field: ['deflection_ratio'], value: ratio, "
    "revision: app.store.state.revision })"
)
TRIED = "app.edits.tryRow(app.store.state.rows[0].name, { up: '2 ft' })"


def test_errors_are_explained_where_they_are_made(opened):
    page = opened.page
    page.click("#tab-rows")
    field = page.locator("[data-field=up] input")
    field.focus()
    page.keyboard.press("Control+a")
    page.evaluate("""() => { const said = (id) => document.getElementById(id);
      window.told = []; new MutationObserver(() => told.push(
        `${said("lag").textContent} ${said("answer").getAttribute("aria-busy")}`)).observe(
        said("lag"), { childList: true, characterData: true, subtree: true }); }""")
    page.keyboard.type("99 ft")
    # From the first key on the numbers say that they are not those of the input; a refusal ends it.
    page.wait_for_selector("#lag:has-text('Before what is typed')")
    told = page.evaluate("told")
    assert told[0] == "Computing … true"
    assert told[-1] == "Before what is typed false"
    # Another browser's change draws the fields anew: what was typed is gone, and the words with it. So it is
    # where the change comes while the answer to what is dragged is on its way.
    for ratio, meanwhile in enumerate(("", TRIED), 101):
        page.evaluate(f"(ratio) => {{ const done = {OTHERS}; {meanwhile}; return done }}", ratio)
        page.wait_for_selector("#lag:empty", state="attached")
        assert field.input_value() != "99 ft"
        assert page.locator("[data-field=up] .refusal:not([hidden])").count() == 0
        assert page.evaluate("app.store.preview") is None
    field.fill("99 ft")
    field.press("Enter")
    page.wait_for_selector("[data-field=up] .refusal:not([hidden])")
    page.wait_for_selector("#lag:empty", state="attached")
    assert page.get_attribute("#answer", "aria-busy") == "false"
    assert "is off plane" in page.inner_text("[data-field=up] .refusal")
    assert field.get_attribute("aria-invalid") == "true"
    page.click("#tab-hardware")
    strength = page.locator("[data-field='strength.along'] input")
    strength.fill("1700")
    strength.press("Enter")
    page.wait_for_selector("[data-field='strength.along'] .refusal:not([hidden])")
    assert "has no unit" in page.inner_text("[data-field='strength.along'] .refusal")


def test_a_strength_taken_out_is_not_verified_at_once(opened):
    page = opened.page
    page.click("#tab-hardware")
    page.click("#pane-hardware summary:has-text('Panel')")
    strength = page.locator("[data-field=anchorage] input")
    strength.fill("")
    strength.press("Enter")
    page.wait_for_selector(".verdict.open:has-text('NOT VERIFIED')")
    assert page.locator(".attachments tr.open").count() > 10


def test_rows_are_added_split_thinned_and_removed(opened):
    page = opened.page
    page.click("#tab-rows")
    page.fill("#add-name", "top row")
    page.select_option("#add-plane", "S1")
    page.fill("#add-up", "14 ft")
    page.press("#add-up", "Enter")
    page.wait_for_selector(".rows :text('top row')")
    clamps = int(page.locator(".rows tr:has-text('top row') td").nth(2).inner_text())
    page.locator("[data-field=every] input").fill("2")
    page.locator("[data-field=every] input").press("Enter")
    page.wait_for_selector(f".rows tr:has-text('top row') td:text-is('{-(-clamps // 2)}')")
    page.click(".actions button:text-is('Split')")
    page.wait_for_selector(".rows :text('top row-2')")
    page.click(".actions .danger")
    page.wait_for_selector(".rows :text-is('top row')", state="detached")
    page.keyboard.press("Control+z")  # no field has the focus now that would take it for itself
    page.wait_for_selector(".rows :text-is('top row')")


def test_a_chimney_is_put_onto_the_roof_moved_and_taken_off(opened):
    page = opened.page
    page.click("#tab-things")
    page.click("summary:has-text('Add a box')")
    page.select_option("[data-field=new-obstruction-plane] select", "W1")
    page.click("button.add >> nth=0")
    page.wait_for_selector(".thing[open] [data-field=up]")
    assert page.evaluate("document.activeElement.textContent").startswith("chimney 1 on W1")
    faces = "app.view.roof.obstacles.length / 18"
    opened.until(f"{faces} === 5")  # four sides and a top
    place = page.locator(".thing [data-field=up] input >> nth=0")
    place.fill("900 ft")
    place.press("Enter")
    page.wait_for_selector(".thing [data-field=up] .refusal:not([hidden])")
    page.click("button:has-text('Remove chimney 1')")
    opened.until(f"{faces} === 0")
    page.keyboard.press("Control+z")
    opened.until(f"{faces} === 5")


def test_boxes_and_arrays_are_offered_free_places(opened):
    page = opened.page
    page.click("#tab-things")
    for table, one, stem in (("obstruction", "box", "chimney"), ("solar", "solar array", "array")):
        page.click(f"summary:has-text('Add a {one}')")
        assert page.input_value(f"[data-field=new-{table}-plane] select") == "E1"  # a plane with rows
        page.click(f"button:has-text('Add this {one}')")
        page.wait_for_selector(f".thing[open] summary:has-text('{stem} 1')")
    assert not page.locator("#pane-things .refusal:not([hidden])").count()


def test_words_where_nothing_stands_yet(opened):
    page = opened.page
    page.click("#tab-rows")
    for end in ("start", "end"):
        assert "edge" in page.get_attribute(f"[data-field={end}] input", "placeholder")
    page.click("#tab-export")
    page.fill("#export-folder", " ")
    page.click("#export")
    page.wait_for_selector("#exported .refusal")
    assert page.inner_text("#exported .refusal") == "Give the folder a name, such as results."


def test_what_is_half_typed_stays_while_numbers_arrive_and_is_not_kept_before_it_is_left(opened):
    page = opened.page
    page.click("#tab-hardware")
    along, across = (page.locator(f"[data-field='strength.{way}'] input") for way in ("along", "across"))
    along.fill("1650 lbf")
    across.focus()  # the answer to the first is on its way
    page.keyboard.press("Control+a")
    page.keyboard.type("75 lbf")
    for _ in range(4):
        page.keyboard.press("ArrowLeft")
    clamp = "app.store.state.hardware.clamp.strength"
    opened.until(f"{clamp}.along === '1650 lbf'")
    assert across.input_value() == "75 lbf"
    assert page.evaluate("document.activeElement.closest('[data-field]').dataset.field") == "strength.across"
    page.keyboard.type("0")  # goes on where the cursor was
    assert across.input_value() == "750 lbf"
    page.keyboard.press("Enter")
    opened.until(f"{clamp}.across === '750 lbf'")
    page.click("#undo")  # straight back to what stood there: 75 lbf was never kept
    opened.until(f"{clamp}.across === '800 lbf'")


def test_a_refusal_goes_with_the_input_that_was_refused(opened):
    page = opened.page
    page.click("#tab-hardware")
    strength = page.locator("[data-field='strength.along'] input")
    shown = "[data-field='strength.along'] .refusal:not([hidden])"
    strength.fill("1650")
    strength.press("Enter")
    page.wait_for_selector(shown)
    strength.press("End")
    page.keyboard.type(" lb")  # a mass: still wrong, and said again when it has been tried
    assert page.locator(shown).count() == 0
    page.wait_for_selector(shown)
    page.keyboard.type("f")  # right now
    assert page.locator(shown).count() == 0  # without waiting for an answer
    opened.until("app.store.preview !== null")
    assert page.locator(shown).count() == 0
    assert strength.get_attribute("aria-invalid") == "false"


@pytest.mark.parametrize("opened", ["granary-door"], indirect=True)
def test_searched_rows_are_shown_taken_and_undone(opened):
    page = opened.page
    before = opened.governing()
    page.click("#tab-rows")
    page.click("#plan")
    page.wait_for_selector("#takeplan", timeout=60_000)
    names = page.locator("#planned tbody th").all_inner_texts()
    assert opened.governing() == before
    page.click("#takeplan")
    page.wait_for_selector(".pill.old")
    assert page.inner_text(".pill.old") == before
    assert page.locator(".rows tbody th").all_inner_texts() == names
    page.click("#undo")
    page.wait_for_selector("#redo:not([disabled])")
    assert opened.governing() == before


def test_splices_are_placed_in_the_row_editor(opened):
    page = opened.page
    page.click("#tab-rows")
    page.click("summary:has-text('More: place')")
    page.fill("#add-splice", "12 ft")
    page.click("button:has-text('Add a splice')")
    first = "input[aria-label^='Place of splice 1']"
    page.wait_for_selector(first)
    assert page.input_value(first) == "12 ft"
    page.select_option("select[aria-label='What splice 1 passes on']", "continuous")
    row = "app.store.state.rows[0].fields.splice"
    opened.until(f"{row}[0].kind === 'continuous'")
    page.click("button[aria-label='Remove splice 1']")
    opened.until(f"{row} === undefined")


@pytest.mark.parametrize("opened", ["granary-door"], indirect=True)
def test_export_saves_first_and_links_what_was_written(opened):
    page = opened.page
    page.click("#tab-rows")
    page.click(".step[aria-label*='up the slope']")
    page.wait_for_selector("#save:not([disabled])")
    page.click("#tab-export")
    page.uncheck("#part-check")
    assert page.inner_text("#export") == "Save and export"
    page.click("#export")
    # 8 s of the processor: two programs that start, two pictures drawn without a graphics card, and the PDF.
    page.wait_for_selector("#exported a:has-text('snow.html')", timeout=240_000)
    assert (opened.path.parent / "results" / "snow" / "snow.json").is_file()
    for name in ("package.pdf", "package.html"):  # what is to be read comes first
        assert page.locator(f".pages a:text-is('Open {name}')").count() == 1
    address = page.get_attribute("a:text-is('Open package.pdf')", "href")
    pdf = page.request.get(opened.link.split("#")[0] + address)
    assert pdf.headers["content-type"] == "application/pdf"
    assert pdf.body().startswith(b"%PDF-")
    with page.context.expect_page() as found:
        page.click("#exported a:has-text('snow.html')")
    found.value.wait_for_load_state()
    assert "now" in found.value.title()
    found.value.close()


def test_two_windows_show_the_same(opened, chromium):
    other = chromium.new_context(viewport={"width": 1000, "height": 700})
    try:
        second = other.new_page()
        second.goto(opened.link)
        second.wait_for_selector("#view[data-case]")
        opened.page.click("#tab-rows")
        opened.page.click("#pane-rows button.link:text-is('E-high')")
        opened.page.click(".step[aria-label*='up the slope']")
        second.wait_for_selector(".pill.old")
        assert second.inner_text("#answer") == opened.page.inner_text("#answer")
    finally:
        other.close()


def test_without_the_link_nothing_is_shown(opened, chromium):
    other = chromium.new_context()
    try:
        page = other.new_page()
        page.goto(opened.link.split("#")[0])
        page.wait_for_selector("#notice:has-text('Open the link')")
        assert page.locator(".attachments tbody tr").count() == 0
    finally:
        other.close()


def test_fast_clicks_all_count_and_what_holds_again_is_refused_no_more(opened):
    page = opened.page
    page.click("#tab-rows")
    up = "app.store.state.rows[0].up / app.store.state.rows[0].unit_size"
    start = page.evaluate(up)
    step = page.evaluate("app.store.state.rows[0].step")
    page.evaluate(
        """() => { for (let i = 0; i < 8; i++) {
             document.querySelectorAll("#pane-rows .step")[1].click();
           } }"""
    )
    opened.until(f"Math.abs({up} - {start + 8 * step}) < 1e-6")
    assert page.is_hidden("#notice")
    entry = page.locator("[data-field=every] input")
    held = entry.input_value()
    entry.fill("0")
    entry.press("Enter")
    page.wait_for_selector("[data-field=every] .refusal:not([hidden])")
    entry.fill(held)
    page.wait_for_selector("[data-field=every] .refusal", state="hidden")
    assert entry.get_attribute("aria-invalid") == "false"
    where = "app.view.camera.position.clone().sub(app.view.controls.target).normalize().toArray()"
    before = page.evaluate(where)
    page.select_option("#cut", "row")
    assert page.evaluate(where) != pytest.approx(before, abs=1e-3)
    page.select_option("#cut", "")
    assert page.evaluate(where) == pytest.approx(before, abs=1e-6)
