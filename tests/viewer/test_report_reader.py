"""What a reader must not miss or misread: lost snow, cautions, the sums behind a number, one set of words."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from report_projects import Page, l_roof, projects, run, shed, without_anchorage
from rich.console import Console

from fea.analysis import Analysis
from fea.doubts import project_doubts
from roofmodel.surface import EdgeKind
from viewer.as_tested import plain_along, read_as_tested
from viewer.clamp_table import write_attachments
from viewer.combining import combination
from viewer.picture.row_diagrams import row_svg
from viewer.quantities import brief, system
from viewer.report.end_bounds import spreads
from viewer.report.page import report_html
from viewer.report.working import hand_check
from viewer.summary import EXCEEDED, KEPT, NOT_LOADED, NOT_VERIFIED, clamp_states, verdict
from viewer.terminal import print_summary
from viewer.unheld import falling_sentence

LIMITS = "Every limit, its worst target over all cases"


def summary(analysis: Analysis, width: int = 80, **options: bool) -> str:
    out = io.StringIO()
    print_summary(analysis, Console(file=out, width=width, **options))
    return out.getvalue()


def one_line(text: str) -> str:
    return " ".join(text.split())


def first_page(analysis: Analysis) -> str:
    text = report_html(analysis)
    return text[: text.index('id="governing"')]


def cold(text: str) -> str:
    return text.replace("deflection_ratio = 100", 'deflection_ratio = 100\ntemperature_change = "-30 K"')


def test_force_across_is_the_sum_of_its_parts(tmp_path: Path) -> None:
    """On a shed with square seams only cold pulls across; without it nothing does."""
    analysis = run(cold(shed()), tmp_path)
    working = hand_check(analysis)
    assert working is not None
    step = next(step for step in working.steps if step.symbol == "A")
    clamp = analysis.project.layout.clamp_name.index(working.clamp)
    case = analysis.attachment.case  # type: ignore[union-attr]
    factored = np.abs(analysis.clamp_force[case, :, clamp, 1])
    assert np.abs(factored - step.result.value).min() <= 1e-9 * step.result.value
    unit = abs(analysis.response.clamp_force[-1, clamp, 1]) * analysis.factors[case].thermal
    assert unit == pytest.approx(step.result.value, rel=1e-3)
    assert "γ_T H" in step.formula
    assert "(100 % of A)" in step.note
    symbols = [s.symbol for s in working.steps]
    assert symbols.index("A") < symbols.index("u_across")
    warm = hand_check(run(shed(), tmp_path))
    assert warm is not None
    assert "A" not in [s.symbol for s in warm.steps]


@pytest.mark.parametrize("name", projects())
def test_no_symbol_is_used_before_a_step_derives_it(name: str, tmp_path: Path) -> None:
    working = hand_check(run(projects()[name], tmp_path))
    assert working is not None
    known: set[str] = set()
    for step in working.steps:
        used = set(re.findall(r"(?<![\w_])(?:N_[+−]|M_[rtx]|F_t|[ADEFMPQRT])(?![\w_])", step.formula))
        # A share of zero of the force square to the roof is printed as zero.
        used -= {word for word in used if word.startswith("N_") and "zero here" in step.note}
        assert used <= known | {step.symbol}, step.title
        known.add(step.symbol)


def test_end_bound_of_a_plain_wedge_is_pressure_times_area(tmp_path: Path) -> None:
    """Row from 4 to 7 m on a shed: triangles of 45 degrees beside it, cut off by the rakes or the head."""
    analysis = run(projects()["doorway"], tmp_path)
    cos = np.cos(np.radians(20.0))
    up = 6.0 / cos - 0.5  # true length above the row
    left, right = up**2 / 2.0 - max(up - 4.0, 0.0) ** 2 / 2.0, up**2 / 2.0 - max(up - 5.0, 0.0) ** 2 / 2.0
    found = spreads(analysis)
    assert [s.name for s in found] == ["A, left end", "A, right end"]
    for spread, true in zip(found, (left, right), strict=True):
        assert spread.area == pytest.approx(true * cos, rel=1e-9)
        assert spread.pressure == pytest.approx(0.8 * 1600.0, rel=1e-9)
        assert spread.hand == pytest.approx(0.8 * 1600.0 * true * cos * np.sin(np.radians(20.0)), rel=1e-9)
        assert spread.bound == pytest.approx(spread.hand, rel=0.02)
        assert spread.plain
    table = next(t for c, t in Page(report_html(analysis)).tables.items() if c.startswith("Extra force"))
    for row in table[1:]:
        area, pressure, slope = (float(row[i]) for i in (1, 2, 3))
        assert float(row[4]) == pytest.approx(area * pressure * np.sin(np.radians(slope)), rel=0.01)


def test_the_share_of_the_end_bound_is_named(tmp_path: Path) -> None:
    analysis = run(projects()["doorway"], tmp_path)
    working = hand_check(analysis)
    assert working is not None
    steps = {step.symbol: step for step in working.steps}
    share = steps["E"].expression[0]
    assert not isinstance(share, str)
    assert 0.5 < share.value < 1.5
    assert f"k_E = {100.0 * share.value:.3g} %" in steps["E"].source
    assert "overhang" in steps["E"].note
    assert any(not isinstance(p, str) and p.value == steps["E"].result.value for p in steps["F"].expression)


def test_temperature_is_in_the_printed_combination_where_it_is_in_the_sum(tmp_path: Path) -> None:
    analysis, warm = run(cold(shed()), tmp_path), run(shed(), tmp_path)
    assert combination(analysis, 0).endswith("1.35 G + 1.5 S ± 1 T")
    assert combination(warm, 0) == warm.factors[0].clause
    for text in (one_line(summary(analysis)), first_page(analysis) + report_html(analysis)):
        assert "1.35 G + 1.5 S ± 1 T" in text
    assert "1.35 G + 1.5 S ± 1 T" in row_svg(analysis, 0)
    given = replace(warm.factors[0], thermal=1.5, clause="allowable strength: D + S, with 1.2 on S given")
    changed = replace(analysis, factors=(given,) * len(analysis.factors))
    assert combination(changed, 0) == "allowable strength: D + S ± 1.5 T, with 1.2 on S given"


def test_snow_that_no_row_holds_is_on_the_first_page(tmp_path: Path) -> None:
    analysis = run(l_roof(), tmp_path)
    force, edges = analysis.force, analysis.project.roof.edges
    sentence = falling_sentence(analysis, system("US"))
    assert f"<b>Caution</b>{sentence}" in first_page(analysis).replace("&#39;", "'")
    assert f"CAUTION {sentence}" in one_line(summary(analysis))
    said = verdict(analysis, system("US"))
    assert one_line(summary(analysis)).index(sentence) < min(
        one_line(summary(analysis)).index(one_line(line)) for line in said.cautions
    )
    assert sentence in one_line(summary(analysis))
    weight = force.exit_weight.max(axis=0)
    heaviest = int(np.argmax(weight))
    name = edges.name[force.exit_edge[heaviest]]
    assert re.match(rf"Snow that no row holds: [\d,.]+ lbf at {name}\b", sentence)
    numbers = [float(n.replace(",", "")) for n in re.findall(r"([\d.,]+) lbf", sentence)]
    assert numbers == sorted(numbers, reverse=True)
    assert numbers[0] == pytest.approx(system("US").convert(float(weight.max()), "force"), rel=5e-3)
    assert len(numbers) <= 3
    roof = force.cell_pressure @ analysis.graph.cells.plan_area
    large = int((force.exit_weight >= 0.01 * roof[:, None]).any(axis=0).sum())
    assert (f"and {large - 3} more" in sentence) == (large > 3)
    none = replace(force, exit_weight=0.0 * force.exit_weight)
    assert falling_sentence(replace(analysis, force=none), system("US")) == ""
    level = replace(force, exit_thrust=1e-4 * force.exit_weight)  # a level plane, but for its survey
    assert falling_sentence(replace(analysis, force=level), system("US")) == ""
    small = replace(force, exit_weight=force.exit_weight * 0.0 + 0.009 * roof[:, None])
    assert falling_sentence(replace(analysis, force=small), system("US")) == ""


def test_an_axis_within_the_rail_is_not_verified(tmp_path: Path) -> None:
    told = []
    for height in ("5 mm", "9 mm", "50 mm"):
        found = run(shed().replace('height = "40 mm"', f'height = "{height}"', 1), tmp_path)
        doubts = project_doubts(found.project, found.limits)
        told.append([line for line in doubts if line.startswith("clamp.height")])
        assert not [line for line in found.cautions if line.startswith("clamp.height")]
    assert [len(lines) for lines in told] == [1, 1, 0]
    assert "5.0 mm" in told[0][0]


def test_eaves_come_before_steps_and_lower_roofs(tmp_path: Path) -> None:
    analysis = run(l_roof(), tmp_path)
    force, edges, lands = analysis.force, analysis.project.roof.edges, analysis.landing
    eaves = [k for k, e in enumerate(force.exit_edge) if edges.kind[e] is EdgeKind.EAVE]
    first = min(eaves, key=lambda k: force.exit_weight[:, k].max())
    weight = force.exit_weight + 0.0
    weight[:, [k for k in eaves if k != first]] *= 3.0
    beyond = weight + 0.0
    beyond[:, [k for k in eaves if k != first]] = 0.0
    lower = replace(lands.lower, beyond=beyond)
    changed = replace(analysis, force=replace(force, exit_weight=weight), landing=replace(lands, lower=lower))
    sentence = falling_sentence(changed, system("US"))
    name = edges.name[force.exit_edge[first]]
    assert re.match(rf"Snow that no row holds: [\d,.]+ lbf at {name}\b", sentence)


def test_cautions_stand_in_the_verdict(tmp_path: Path) -> None:
    said = ("Measured snow is not factored <here>.", "Row A ends short.")
    analysis = replace(run(shed(), tmp_path), cautions=said)
    assert verdict(analysis, system("SI")).cautions == said
    words = Page(report_html(analysis)).words
    assert all(line in words for line in said)
    assert first_page(analysis).count('class="caution"') == 2 + bool(verdict(analysis, system("SI")).falling)
    quiet = replace(analysis.force, exit_weight=0.0 * analysis.force.exit_weight)
    assert 'class="caution"' not in first_page(replace(analysis, cautions=(), force=quiet))
    text = summary(analysis)
    assert text.count(" CAUTION ") == 2 + bool(verdict(analysis, system("SI")).falling)
    assert all(line in one_line(text) for line in said)
    assert re.search(r"\x1b\[1;[\d;]*m CAUTION ", summary(analysis, force_terminal=True))


def test_tested_force_is_told_from_the_plain_one(tmp_path: Path) -> None:
    analysis = run(projects()["doorway"], tmp_path)
    tested = replace(analysis, limits=tuple(_doubled(limit) for limit in analysis.limits))
    assert read_as_tested(tested)
    page = Page(report_html(tested))
    assert "clamp along the seam, as tested" in {row[0] for row in page.tables[LIMITS]}
    assert any("Along the seam, as tested: the force at the test height" in word for word in page.words)
    head, *rows = page.tables["All clamps"]
    plain, shown = head.index("F along the seam kN"), head.index("Along the seam, as tested kN")
    wanted = plain_along(tested).max(axis=0) / 1e3
    for row, value in zip(rows, wanted, strict=True):
        assert abs(float(row[plain].replace("−", "-"))) == pytest.approx(value, abs=0.051)
        assert float(row[shown]) >= float(row[plain].replace("−", "-"))
    assert "clamp along the seam*" in summary(tested)
    assert "* Along the seam, as tested" in one_line(summary(tested))
    assert "not the larger force as tested" in row_svg(tested, 0)


def _doubled(limit):  # type: ignore[no-untyped-def]
    return replace(limit, demand=2.0 * limit.demand) if limit.name == "clamp along the seam" else limit


def test_plain_force_is_in_the_file_of_clamps(tmp_path: Path) -> None:
    analysis = run(l_roof(), tmp_path)
    path = tmp_path / "attachments.csv"
    write_attachments(analysis, path)
    with path.open(encoding="utf-8-sig", newline="") as file:
        lines = list(csv.DictReader(file))
    names = [case.name for case in analysis.snow.cases]
    for clamp, line in enumerate(lines):
        q = names.index(line["worst case"])
        heights = analysis.clamp_force[q, :, clamp, 0]
        force = heights[np.abs(heights).argmax()]
        assert float(line["force along [lbf]"]) == pytest.approx(
            system("US").convert(float(force), "force"), rel=1e-3
        )


@pytest.mark.parametrize("name", projects())
def test_one_set_of_words_for_the_status(name: str, tmp_path: Path) -> None:
    analysis = run(projects()[name], tmp_path)
    allowed = {KEPT, EXCEEDED, NOT_VERIFIED, NOT_LOADED}
    page = Page(report_html(analysis))
    assert {row[5] for row in page.tables[LIMITS][1:]} <= allowed
    path = tmp_path / "attachments.csv"
    write_attachments(analysis, path)
    with path.open(encoding="utf-8-sig", newline="") as file:
        states = [line["status"] for line in csv.DictReader(file)]
    assert states == list(clamp_states(analysis)) == [row[-1] for row in page.tables["All clamps"][1:]]
    assert set(states) <= allowed


@pytest.mark.parametrize("width", [40, 50, 75])
@pytest.mark.parametrize("project", [shed(), l_roof(), without_anchorage(shed())])
def test_narrow_terminal_cuts_no_number_and_no_status(project: str, width: int, tmp_path: Path) -> None:
    analysis = run(project, tmp_path)
    text = summary(analysis, width)
    assert max(len(line) for line in text.splitlines()) <= width
    assert "…" not in text
    wide = summary(analysis, 200)
    narrow = one_line(text)
    for number in re.findall(r"[\d.,]+ (?:kN|MPa|mm|lbf|ksi|in|%)(?= )", wide):
        assert number in narrow
    for state in (EXCEEDED, NOT_VERIFIED, KEPT):
        wanted = len(re.findall(rf"(?m) {state} *$", wide[wide.index("Limits, worst") :]))
        stacked = text[text.index("Limits, worst") : text.index("Rows, snow force")]
        assert len(re.findall(rf"(?m)^ *{state} *$", stacked)) >= min(wanted, 1)


def test_next_to_nothing_is_no_row_of_zeros() -> None:
    si, us = system("SI"), system("US")
    assert brief(0.496, "force", si) == "0.50 N"
    assert brief(-0.496, "force", si) == "−0.50 N"
    assert brief(0.004, "force", si) == "0"
    assert brief(0.0, "force", us) == "0"
    assert brief(1e-3, "force", us) == "0"
    assert brief(496.0, "force", si) == "0.496 kN"


def test_print_style_lets_pages_fill(tmp_path: Path) -> None:
    """No forced page breaks; only short tables and single rows and steps stay whole."""
    text = report_html(run(l_roof(), tmp_path))
    assert "break-before: page" not in text
    assert 'class="scroll keep"' in text
    for block in text.split('<div class="scroll keep"')[1:]:
        assert block[: block.index("</table>")].count("<tr") <= 5


@pytest.mark.parametrize("row", [0, 1])
def test_type_of_row_diagrams_is_8_points_on_paper(row: int, tmp_path: Path) -> None:
    drawing = row_svg(run(l_roof(), tmp_path), row)
    width = float(re.search(r'viewBox="0 0 ([\d.]+)', drawing).group(1))  # type: ignore[union-attr]
    page = (210.0 - 30.0) / 25.4 * 72.0  # A4 less its margins
    sizes = [float(size) for size in re.findall(r'font-size="([\d.]+)"', drawing)]
    assert min(sizes) * page / width >= 8.0


def test_planes_with_rows_that_are_not_drawn_are_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    analysis = run(l_roof(), tmp_path)
    planes = analysis.project.roof.planes.name
    drawn = [name for p, name in enumerate(planes) if p in analysis.project.layout.row_plane]
    assert len(drawn) > 1
    assert "Not drawn" not in report_html(analysis)
    monkeypatch.setattr("viewer.report.page.PLANES_SHOWN", 1)
    left = re.search(r"Not drawn, as their clamps are used less: (.*?)\.", report_html(analysis))
    assert left
    assert len(set(left[1].split(", ")) & set(drawn)) == len(drawn) - 1
