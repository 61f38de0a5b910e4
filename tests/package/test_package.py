"""The calculation package, read back from the PDF, and what moves the answer against plain runs."""

import re
from dataclasses import replace
from datetime import date
from io import BytesIO
from pathlib import Path

import numpy as np
import pypdf
import pytest
import typst

import viewer
from fea.analysis import analyze
from fea.checks.partial_rails import rail_partial
from fea.missing import missing_clamps
from fea.sensitivity import (
    END_SPREAD,
    EXPOSURE,
    SEAM_SPACING,
    THERMAL,
    VALLEY_SPREAD,
    WINTER_WIND,
    out_of_place,
    tornado,
)
from roofmodel.layout import without_clamps
from roofmodel.project.load import with_rows
from tests.demos import demo, demo_sway
from viewer import style
from viewer.building_words import partial_words
from viewer.package.pdf import package_source, write_package
from viewer.package.sway import LESS, MORE, place_words, sway_words
from viewer.package.typeset import SHORT, expression, paragraph, preamble, symbols, table, text, typeset
from viewer.package.widths import PAD, ROOM, column_widths, own_line
from viewer.picture import svg
from viewer.picture.labels import text_width
from viewer.picture.plan import clamp_marks
from viewer.quantities import percent, quantity, system
from viewer.report.building import purlin_cases_table, purlins_table
from viewer.report.page import report_content
from viewer.report.tables import Table
from viewer.report.working import hand_check
from viewer.report.working_parts import Number


@pytest.fixture(scope="module")
def analysis():
    return demo("sentier-house")


@pytest.fixture(scope="module")
def sway():
    return demo_sway("sentier-house")


@pytest.fixture(scope="module")
def pages(analysis, sway, tmp_path_factory):
    path = tmp_path_factory.mktemp("package") / "package.pdf"
    write_package(analysis, path, None, sway, today=date(2026, 1, 2))
    reader = pypdf.PdfReader(path)
    return [" ".join(page.extract_text().split()) for page in reader.pages]


def test_the_front_page_has_answer_block_and_contents(analysis, pages):
    front = pages[0]
    worst = analysis.limits[analysis.attachment.limit].target_name[analysis.attachment.target]
    assert analysis.project.table.project.name in front
    assert f"{worst} uses {percent(analysis.attachment.utilization)}" in front
    assert "2026-01-02" in front
    assert analysis.project.digest in front.replace(" ", "")
    for title in (
        "Governing attachment",
        "Hand check",
        "What moves the answer",
        "Snow",
        "Self-audit",
        "Inputs",
    ):
        assert title in front


def test_the_first_page_holds_its_picture_and_all_contents(tmp_path):
    """However long its cautions are: the picture takes the room that is left."""
    us = demo("cedar-hollow")
    picture = Path("models/cedar-hollow/utilization.png")
    write_package(us, tmp_path / "p.pdf", picture, None, today=date(2026, 1, 2))
    first, second, *_ = pypdf.PdfReader(tmp_path / "p.pdf").pages
    assert len(first.images) == 1
    words = first.extract_text()
    assert "Governing attachment" in words
    assert re.search(r"\d+ *Clamps", words)
    assert second.extract_text().lstrip().find("Governing attachment") >= 0
    assert "more splices are needed" in " ".join(words.split())


def test_pages_are_numbered_and_carry_cautions(pages):
    for number, page in enumerate(pages, 1):
        assert f"{number} / {len(pages)}" in page
        assert "licensed engineer" in page
    assert 5 < len(pages) < 40


def test_the_hand_check_is_there_and_meets_the_answer(analysis, pages):
    working = hand_check(analysis)
    whole = " ".join(pages)
    assert all(step.title in whole for step in working.steps)
    assert working.steps[-1].result.value == pytest.approx(analysis.attachment.utilization, rel=0.01)


def test_the_most_used_rows_are_drawn_and_the_path_beyond_is_told():
    us = demo("cedar-hollow")
    _, source = package_source(us, None, None, date(2026, 1, 2))
    worst = us.project.layout.row_name[int(us.project.layout.clamp_row[us.attachment.target])]
    drawn = [name for name in us.project.layout.row_name if f'Diagrams of row {name}"' in source]
    assert worst in drawn
    assert {"S-low", "S-high"} & set(drawn)  # the highest use of all limits is a rail height there
    assert "Past the first failure" in source


def test_paper_follows_the_units(analysis, sway):
    _, source = package_source(analysis, None, sway, date(2026, 1, 2))
    assert 'paper: "a4"' in source
    us = demo("cedar-hollow")
    assert 'paper: "us-letter"' in package_source(us, None, None, date(2026, 1, 2))[1]


@pytest.mark.parametrize(
    "words",
    [
        "1.2 kN/m of 3 lbf/ft",
        'say "so"',
        "C:\\new",
        "#let x = 1",
        "$a$ [b] *c* _d_ @e <f>",
        "50 % // no comment",
        "}{",
    ],
)
def test_words_come_through_as_they_are(words, tmp_path):
    import typst

    source = f"{text(words)}\n\n{symbols(words)}"
    found = pypdf.PdfReader(_file(tmp_path, typst.compile(source.encode())))
    assert " ".join(words.split()) in " ".join(found.pages[0].extract_text().split())


def _file(folder, data):
    (folder / "x.pdf").write_bytes(data)
    return folder / "x.pdf"


def test_more_strength_is_less_use_in_proportion(analysis, sway):
    """Every clamp limit is linear in one over the strength."""
    one = next(s for s in sway.inputs if s.name.startswith("clamp strength"))
    now = analysis.attachment.utilization
    if one.low_at == one.high_at:
        assert one.low == pytest.approx(now / 0.9, rel=1e-6)
        assert one.high == pytest.approx(now / 1.1, rel=1e-6)
    assert one.low > now > one.high


def test_the_tornado_is_sorted_and_equals_plain_runs(analysis, sway):
    found = sway.inputs
    assert sway.left_out == ()
    reach = [one.reach for one in found]
    assert reach == sorted(reach, reverse=True)
    snow = next(one for one in found if one.name == "ground snow")
    project = analysis.project
    more = replace(project, site=replace(project.site, ground_snow=1.1 * project.site.ground_snow))
    assert analyze(more).attachment.utilization == pytest.approx(snow.high, rel=1e-9)
    stiff = next(one for one in found if one.name == "clamp stiffness")
    soft = replace(project, clamp=replace(project.clamp, stiffness=0.9 * project.clamp.stiffness))
    assert analyze(soft).attachment.utilization == pytest.approx(stiff.low, rel=1e-9)


def test_a_missing_clamp_leaves_the_snow_to_the_others(analysis):
    gone = missing_clamps(analysis)
    assert {one.clamp.rsplit("-", 1)[0] for one in gone} <= set(analysis.project.layout.row_name)
    assert all(one.after > one.before for one in gone)
    layout = analysis.project.layout
    at = layout.clamp_name.index(gone[0].clamp)
    less = analyze(replace(analysis.project, layout=without_clamps(layout, np.array([at]))))
    row = layout.row_name.index(gone[0].clamp.rsplit("-", 1)[0])
    now = [a.clamp_force[:, 0, a.project.layout.clamp_row == row, 0].sum(axis=1) for a in (analysis, less)]
    np.testing.assert_allclose(*now, rtol=1e-9)


def test_roots_and_powers_are_set_as_mathematics():
    """No raw underscore, and the root has its bar over what stands under it, also before a power."""
    found = symbols("u = √(u_along² + u_push²)")
    assert found.count("#math.equation($sqrt(#text(") == 1
    assert found.endswith("])$)")
    assert "_" not in found
    assert '#"u"#sub("along")' in found
    assert "sqrt" not in symbols("√(x")  # a root that is never closed stays as it is


def _sizes(source):
    """Size of the letters of each piece of text on a page, (piece, points), as a reader of PDF finds them."""
    import typst

    fonts = Path(viewer.__file__).parent / "picture" / "fonts"
    data = typst.compile(source.encode(), font_paths=[str(fonts)], ignore_system_fonts=True)
    found = []
    page = pypdf.PdfReader(BytesIO(data)).pages[0]
    page.extract_text(
        visitor_text=lambda words, cm, tm, font, size: found.append((words.strip(), size, font))
    )
    return [piece for piece in found if piece[0]]


@pytest.mark.parametrize("power", ["0.74", "2", "-0.5", "1/3"])
@pytest.mark.parametrize("root", [False, True])
def test_powers_are_raised_whole_also_under_roots(power, root):
    """ASCE 7-22 Eq. 7.6-1 has powers of two digits, in symbols and in numbers."""
    raised = f"({power})" if "/" in power else power
    units = system("US")
    formula = symbols(f"sqrt(p_g^{raised} W)" if root else f"p_g^{raised} W")
    numbers = ("√(", "(", Number(42.0), f")^{raised}", " × 3)")
    head = preamble("x", "f", "a4")
    for source in (formula, expression(numbers if root else ("(", Number(42.0), f")^{raised}"), units)):
        assert "^" not in source
        small = [(words, font) for words, size, font in _sizes(head + source) if size < 7.0]
        assert power in "".join(words for words, _ in small)
        assert all("SourceSans" in font["/BaseFont"] for _, font in small)


def test_every_clamp_mark_reaches_the_pdf(tmp_path):
    """One clamp alone in each step of color, as the governing one often is."""
    use = np.array([0.05, 0.15, 0.25, 0.35, 0.45, 0.55, 0.65, 0.75, 0.85, 0.95, 0.95])
    points = np.stack([20.0 + 30.0 * np.arange(len(use)), np.full(len(use), 20.0)], axis=1)
    drawing = svg.document(360.0, 40.0, "marks", clamp_marks(points, use, 4.2))
    typeset('#image("marks.svg")', {"marks.svg": drawing.encode()}, tmp_path / "marks.pdf")
    drawn = pypdf.PdfReader(tmp_path / "marks.pdf").pages[0].get_contents().get_data().decode("latin-1")
    lines = re.findall(r"([\d.]+) [\d.]+ m ([\d.]+) [\d.]+ l", drawn)
    middle = np.array([[float(a), float(b)] for a, b in lines]).mean(axis=1)
    for x in points[:, 0]:
        assert (np.abs(middle - x) < 0.05).sum() == 2  # its rim and its color


def test_the_title_block_names_all_or_leaves_lines_to_sign(analysis):
    names = {"client": "Parish of Ormonts", "project_number": "26-117", "checked_by": "R. Castel"}
    table = analysis.project.table
    table = table.model_copy(update={"project": table.project.model_copy(update=names)})
    named = replace(analysis, project=replace(analysis.project, table=table))
    _, source = package_source(named, None, None, date(2026, 1, 2))
    front = source[: source.index("#outline")]
    assert all(value in front for value in names.values())
    empty = package_source(analysis, None, None, date(2026, 1, 2))[1]
    assert empty[: empty.index("#outline")].count("stroke: (bottom") == front.count("stroke: (bottom") + 3


def test_factors_of_the_standard_move_the_answer_too(analysis, sway):
    """Without drifts, EN loads are mu C_e C_t s_k: 10 % of a factor is 10 % of ground snow."""
    found = {one.name: one for one in sway.inputs}
    project = analysis.project
    assert {EXPOSURE, THERMAL} <= set(found)
    more = replace(project, site=replace(project.site, thermal_factor=0.9 * project.site.thermal_factor))
    assert found[THERMAL].low == pytest.approx(analyze(more).attachment.utilization, rel=1e-9)
    assert found[THERMAL].low < found[THERMAL].now == pytest.approx(analysis.attachment.utilization)
    words = sway_words(sway)
    assert "all inputs" not in words
    assert words.startswith(f"Of the inputs below, {sway.inputs[0].name}")
    us = demo("cedar-hollow")
    found = {one.name: one for one in demo_sway("cedar-hollow").inputs}
    wind = replace(us.project.site, winter_wind=1.1 * us.project.site.winter_wind)
    more = analyze(replace(us.project, site=wind)).attachment.utilization
    assert found[WINTER_WIND].high == pytest.approx(more, rel=1e-9)
    assert more > us.attachment.utilization
    # Both ways are worse where seams move off the best place; the reach is measured from now.
    one = found[SEAM_SPACING]
    assert one.reach == max(one.low, one.now, one.high) - min(one.low, one.now, one.high)
    assert [f.reach for f in found.values()] == sorted((f.reach for f in found.values()), reverse=True)


def test_what_comes_from_beyond_the_ends_stands_beside_the_row(tmp_path):
    """6.29 kN on the row do not explain 6.10 kN on its end clamp: 3.85 kN from beyond each end do."""
    door = demo("granary-door")
    units = system("SI")
    content = report_content(door, units, None, "", date(2026, 1, 2))
    rows = content["rows"]
    at = next(i for i, head in enumerate(rows.heads) if "beyond the ends" in head)
    bound = door.force.end_bound[:, 0]
    assert float(rows.rows[0][at]) == pytest.approx(1e-3 * bound.sum(axis=1).max(), abs=0.006)
    assert f"+ {quantity(float(bound.max()), 'force', units)} at its end" in str(content["cut"])


def test_partial_loading_tells_the_use_it_leads_to():
    """The most used clamp then, by its own ratio, not the clamp whose force grows most."""
    us = demo("cedar-hollow")
    layout = us.project.layout
    found = rail_partial(layout, us.project.site.standard)
    balanced = [case.name.startswith("balanced") for case in us.snow.cases]
    best = (0.0, "", "")
    for limit in us.limits:
        if limit.target == "clamp" and not limit.service:
            use = np.nan_to_num(limit.utilization[balanced]).max(axis=0) * found.clamp
            best = max(best, (float(use.max()), limit.name, limit.target_name[int(use.argmax())]))
    (words,) = partial_words(us)
    assert f"a clamp would use up to {percent(best[0])} of its strength ({best[1]}, {best[2]};" in words


def test_what_the_hand_check_takes_from_elsewhere_can_be_followed():
    """A valley's area by the corners that are printed, and what stands beside the clamp."""
    us = demo("cedar-hollow")
    steps = {step.symbol: step for step in hand_check(us).steps}
    ring = np.array(re.findall(r"\(([\d.]+), ([\d.]+)\)", steps["V"].places), dtype=float)
    after = np.roll(ring, -1, axis=0)
    area = 0.5 * abs(float((ring[:, 0] * after[:, 1] - after[:, 0] * ring[:, 1]).sum()))
    printed = next(p for p in steps["V"].expression if isinstance(p, Number) and p.kind == "area")
    assert area == pytest.approx(printed.value / 0.3048**2, rel=2e-3)
    at = us.project.layout.clamp_name.index(hand_check(us).clamp)
    case = [case.name for case in us.snow.cases].index(hand_check(us).case)
    beside = quantity(float(us.tributary[case, at + 1]), "force", system("US"))
    assert f"{us.project.layout.clamp_name[at + 1]} " in steps["R"].note
    assert f"T = {beside}" in steps["R"].note


def test_purlins_say_their_case_once():
    """Full spans are said in the note; where one case brings all numbers of a line, it stands alone."""
    hall = demo("tannery-hall")
    table, cases = purlins_table(hall, system("SI")), purlin_cases_table(hall)
    assert {row[1] for row in cases.rows} <= set(hall.building.held.cases)
    assert set(", ".join(row[0] for row in cases.rows).split(", ")) == {row[0] for row in table.rows}
    assert not any("e-" in cell for row in table.rows for cell in row[2:])
    assert "Spans are full where no pattern is named" in table.note


def test_judgments_stand_among_the_inputs_where_they_act():
    """The spread of a valley's stream on the governing clamp: over less rail it brings more."""
    us = demo("cedar-hollow")
    spread = next(one for one in demo_sway("cedar-hollow").inputs if one.name == VALLEY_SPREAD)
    slide = us.project.slide
    less = analyze(replace(us.project, slide=replace(slide, valley_spread=0.9 * slide.valley_spread)))
    assert spread.low == pytest.approx(less.attachment.utilization, rel=1e-9)
    assert spread.low > us.attachment.utilization > spread.high
    door = demo("granary-door")
    names = [one.name for one in tornado(door)[0]]
    assert END_SPREAD in names
    assert VALLEY_SPREAD not in names  # a gable has no valley


def test_rows_and_clamps_out_of_place_are_measured_by_the_check(analysis):
    found = out_of_place(analysis)
    assert found.step == 0.025
    table = [row.model_copy(update={"up": row.up + 0.025}) for row in analysis.project.table.row]
    up = analyze(with_rows(analysis.project, table)).attachment.utilization
    table = [row.model_copy(update={"up": row.up - 0.025}) for row in analysis.project.table.row]
    down = analyze(with_rows(analysis.project, table)).attachment.utilization
    assert found.rows == pytest.approx(max(up, down), rel=1e-9)
    # Clamps that stand farther away leave more rail to the governing one.
    assert found.clamps > analysis.attachment.utilization


def test_the_package_cautions_about_places(sway, pages):
    words = place_words(sway, system("SI"))
    assert "25 mm" in words
    assert percent(sway.place.rows) in words
    assert "Caution: Tolerance of place" in " ".join(pages)


def test_columns_of_a_wide_table_stay_apart(tmp_path):
    """Many narrow columns with long heads leave no room to a column of words; then all give way."""
    heads = ("Row", *(f"a head of several words {i}" for i in range(9)), "Case of the total", "Worst used")
    row = ("street", *("16.5",) * 9, "drift below SE2, wall facing 230 degrees", "89 %")
    one = Table("Rows", heads, "t" + "n" * 9 + "tn", (row,))
    typeset(preamble("t", "f", "a4") + table(one), {}, tmp_path / "t.pdf")
    at = {}

    def place(words, outer, inner, _font, _size):
        for word in words.split():
            at.setdefault(word, []).append(outer[0] * inner[4] + outer[4])

    pypdf.PdfReader(tmp_path / "t.pdf").pages[0].extract_text(visitor_text=place)
    assert max(at["drift"]) + 20.0 < min(at["89"])


def test_long_names_break_within_their_column(tmp_path):
    name = "UUID_fcc74528-8be9-40b2-9e0b-50b7d124706f"
    one = Table("Roof", ("Field", "Value", "Meaning"), "tts", (("building", name, "Building id. " * 12),))
    typeset(preamble("t", "f", "a4") + table(one), {}, tmp_path / "t.pdf")
    found = pypdf.PdfReader(tmp_path / "t.pdf").pages[0].extract_text()
    assert name in re.sub(r"[\s\u200b]", "", found)


def test_units_of_a_page_stand_in_no_quotes(tmp_path):
    words = "1.88 kN/m², 7.3 kN/m, 5 lbf/ft and 400 kg/m³; 2 kN/m^3"
    one = Table("Loads", ("Max kN/m", "psf"), "ns", (("7.3", words),))
    typeset(preamble("t", "f", "a4") + paragraph(words) + table(one), {}, tmp_path / "t.pdf")
    found = pypdf.PdfReader(tmp_path / "t.pdf").pages[0].extract_text()
    assert "kN/m²" in found
    assert not re.search('[“”"]', found)


def test_names_of_fields_are_no_formulas():
    fields = Table(
        "[rail]", ("Field",), "t", (("shape",),), note="Not given: I_slope, W_torsion.", plain_note=True
    )
    assert "Not given: I_slope, W_torsion." in table(fields)
    assert "#sub" in table(replace(fields, plain_note=False))


def test_letters_of_the_plans_can_be_read_on_paper(analysis, sway):
    """Small print is 6 points; a drawing that is fitted onto its page must not go below 5.5."""
    files, source = package_source(analysis, None, sway, date(2026, 1, 2))
    for name in ("plan.svg", "landing.svg"):
        width = float(re.search(rf'"{name}", width: ([\d.]+)%', source)[1]) / 100.0 * 174.0 / 25.4 * 72.0
        drawing = files[name].decode()
        box = float(re.search(r'viewBox="0 0 ([\d.]+)', drawing)[1])
        sizes = [float(size) for size in re.findall(r'font-size="([\d.]+)"', drawing)]
        assert min(sizes) * width / box >= 5.5


def test_the_tornado_can_be_read_without_color():
    grays = [style.luminance(style.rgb(color)) for color in (LESS, MORE)]
    assert (max(grays) + 0.05) / (min(grays) + 0.05) > 3.0


def test_short_tables_stay_on_one_page(tmp_path):
    for count, pages in ((SHORT, 1), (SHORT + 20, 2)):
        one = Table("Rows", ("Row",), "t", tuple((f"row {i} of it",) for i in range(count)))
        typeset(
            preamble("t", "f", "a4") + "#v(1fr)\n#block(height: 560pt)[]\n" + table(one),
            {},
            tmp_path / "t.pdf",
        )
        found = [" of it" in page.extract_text() for page in pypdf.PdfReader(tmp_path / "t.pdf").pages]
        assert sum(found) == pages


def test_pages_without_marks_for_screen_readers_say_so_themselves_and_on_standard_error(
    tmp_path, monkeypatch, capsys
):
    """Seen of typst 0.15: a picture that floats past columns of two pages; other errors stay errors."""
    real = typst.compile

    def failing(*args, pdf_tags=True, **more):
        if pdf_tags:
            raise typst.TypstError(says)
        return real(*args, pdf_tags=False, **more)

    monkeypatch.setattr(typst, "compile", failing)
    says = "internal error: tags weren't properly closed"
    typeset(preamble("t", "f", "a4") + paragraph("words"), {}, tmp_path / "t.pdf")
    said = pypdf.PdfReader(tmp_path / "t.pdf").pages[0].extract_text()
    assert "words" in said
    assert "without tags for screen readers" in said
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith("t.pdf: without tags for screen readers")
    assert line.endswith("t.html has them")
    monkeypatch.setattr(typst, "compile", real)
    typeset(preamble("t", "f", "a4") + paragraph("words"), {}, tmp_path / "t.pdf")
    assert "screen readers" not in pypdf.PdfReader(tmp_path / "t.pdf").pages[0].extract_text()
    assert not capsys.readouterr().err
    monkeypatch.setattr(typst, "compile", failing)
    says = "unknown variable"
    with pytest.raises(typst.TypstError, match=says):
        typeset(preamble("t", "f", "a4") + paragraph("words"), {}, tmp_path / "u.pdf")
    assert not (tmp_path / "u.pdf").exists()


def test_words_of_a_table_take_few_lines_and_no_number_breaks(tmp_path):
    """Columns of words get what numbers leave; a text too long for any column stands below its row."""
    heads = ("Row", *(f"a head of several words {i}" for i in range(8)), "Case of the total", "Worst used")
    case = "drift below SE2, wall facing 230 degrees"
    row = ("street-left", *("1,116.5",) * 8, case, "NOT VERIFIED")
    one = Table("Rows", heads, "t" + "n" * 8 + "tn", (row,))
    widths = [float(width.rstrip("frpt")) for width in column_widths(one, 7, len(heads))]
    assert sum(widths) <= ROOM
    lines = text_width(case, 70.0) / 10.0 / (widths[9] - PAD)
    assert lines < 3.0
    for i in (1, 5, 10):  # cells of numbers stay on one line
        assert widths[i] >= text_width(row[i], 70.0) / 10.0 + PAD - 1e-6
    values = "s = 1.300 kN/m² (ground snow, characteristic, from the user); " * 12
    row = ("snow on S1", "1.04", "5.3.2", values)
    long = Table("Snow", ("Zone", "p", "Clause", "Values"), "tnts", (row,))
    assert own_line(long, 8)
    assert not own_line(one, 7)
    typeset(preamble("t", "f", "a4") + table(long), {}, tmp_path / "t.pdf")
    told = pypdf.PdfReader(tmp_path / "t.pdf").pages[0].extract_text()
    assert told.replace("\n", " ").count("ground snow") == 12
