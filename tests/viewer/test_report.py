"""The report stands alone, says everything, and says it safely."""

from __future__ import annotations

import base64
import re
from pathlib import Path

import numpy as np
import pytest
from report_projects import Page, l_roof, projects, run, shed, without_anchorage

from roofmodel.units import parse
from viewer.export import results
from viewer.report.page import report_html, write_report
from viewer.summary import KEPT, limit_lines

PNG = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
)


@pytest.mark.parametrize("name", projects())
def test_report_is_well_formed_and_stands_alone(name: str, tmp_path: Path) -> None:
    text = report_html(run(projects()[name], tmp_path))
    page = Page(text)
    assert text.startswith("<!DOCTYPE html>")
    for tag, attribute, value in page.attributes:
        if attribute in ("src", "href", "srcset", "data", "action"):
            assert value.startswith(("data:", "#")), (tag, attribute, value)
        assert not attribute.startswith("on"), (tag, attribute)
    style = text[text.index("<style>") : text.index("</style>")]
    assert set(re.findall(r"url\(([^,)]*)", style)) == {"data:font/woff;base64"}  # its own letters
    assert "@import" not in style
    assert "<script" not in text
    assert "://" not in text.replace("http://www.w3.org/2000/svg", "")
    assert ("html", "lang", "en") in page.attributes
    targets = {value for _, attribute, value in page.attributes if attribute == "id"}
    links = [value[1:] for _, attribute, value in page.attributes if attribute == "href"]
    assert links
    assert set(links) <= targets
    assert all(head.get("scope") in ("col", "row") for head in page.heads)


@pytest.mark.parametrize("name", projects())
def test_every_limit_row_case_and_check_is_there(name: str, tmp_path: Path) -> None:
    analysis = run(projects()[name], tmp_path)
    page = Page(report_html(analysis))
    limits = {
        row[0].removesuffix(" (service)").removesuffix(", as tested")
        for row in page.tables["Every limit, its worst target over all cases"]
    }
    assert {limit.name for limit in analysis.limits} <= limits
    rows = {row[0] for row in page.tables["Sliding force on each row"]}
    assert set(analysis.project.layout.row_name) <= rows
    cases = {row[1] for row in page.tables["Snow cases, worst limit and reserve"]}
    assert {case.name for case in analysis.snow.cases} <= cases
    proofs = {row[0] for row in page.tables["What this analysis proves about itself"]}
    assert {proof.name for proof in analysis.proofs} <= proofs
    assert {row[0] for row in page.tables["All clamps"]} >= set(analysis.project.layout.clamp_name)
    words = " ".join(page.words)
    for zone in (zone for case in analysis.snow.cases for zone in case.zones):
        assert zone.name in words
        assert zone.clause in words
    for name_skipped, _ in analysis.snow.skipped:
        assert name_skipped in words
    for note in analysis.project.roof.notes:
        assert note in words


def test_limits_printed_are_those_of_the_analysis(tmp_path: Path) -> None:
    analysis = run(l_roof(), tmp_path)
    table = Page(report_html(analysis)).tables["Every limit, its worst target over all cases"]
    printed = {row[0].removesuffix(" (service)").removesuffix(", as tested"): row for row in table[1:]}
    for limit in analysis.limits:
        row = printed[limit.name]
        worst = float(np.nanmax(np.nan_to_num(limit.utilization)))
        if limit.unverified.any():
            assert row[5] == "NOT VERIFIED"
            continue
        assert float(row[4].removesuffix("%").replace("\u00a0", "")) == pytest.approx(100.0 * worst, abs=0.51)
        assert ("EXCEEDED" in row[5]) == (worst > 1.0)


def test_si_and_us_reports_agree(tmp_path: Path) -> None:
    kinds = {"clamp along the seam": "force", "clamp pull-off": "force", "rail stress": "stress"}
    kinds |= {"panel anchorage": "force", "rail height": "length", "rail deflection (service)": "length"}
    values: dict[str, list[tuple[float, float]]] = {name: [] for name in kinds}
    for units in ("SI", "US"):
        table = Page(report_html(run(shed(units), tmp_path))).tables[
            "Every limit, its worst target over all cases"
        ]
        for row in table[1:]:
            limit = row[0].removesuffix(", as tested")
            if limit in kinds:
                demand, resistance = (_read(row[i], kinds[limit]) for i in (2, 3))
                values[limit].append((demand, resistance))
    for name, (si, us) in values.items():
        assert si == pytest.approx(us, rel=0.006), name  # three digits printed


def _read(text: str, kind: str) -> float:
    return 0.0 if text in ("–", "0") else parse(_plain(text), kind)


def _plain(text: str) -> str:
    return text.replace("\u00a0", " ").replace(",", "")


def test_inputs_come_back_from_the_report(tmp_path: Path) -> None:
    """What is printed for an input is what was entered, in either system."""
    for units in ("SI", "US"):
        page = Page(report_html(run(shed(units), tmp_path)))
        table = {row[0]: row[1] for name in ("[panel]", "[rail]", "[clamp]") for row in page.tables[name]}
        expected = {
            "seam_spacing": ("length", 0.5),
            "thickness": ("length", 0.0006),
            "diameter": ("length", 0.042),
            "anchorage": ("force", 30e3),
            "yield_strength": ("stress", 200e6),
            "stiffness.along": ("stiffness", 2e6),
            "strength.pull": ("force", 9e3),
        }
        for field, (kind, value) in expected.items():
            assert parse(_plain(table[field]), kind) == pytest.approx(value, rel=1e-4), field
        assert "(default)" in table["temperature_change"]
        assert "(default)" not in table["material"]


def test_hostile_text_stays_text(tmp_path: Path) -> None:
    bad = "<script>alert(1)</script><img src=x onerror=alert(2)>"
    text = shed().replace("Linden Yard cart shed", bad).replace("M. Okafor", bad)
    text = text.replace('"B"', f'"{bad[:25]}"')
    text = text.replace("bench series C3, 5 pulls", bad).replace('name = "shed"', f'name = "{bad}"')
    page = Page(report_html(run(text, tmp_path), picture_reason=bad))
    assert bad in page.words
    assert not any(
        tag in ("script", "iframe") or attribute == "onerror" for tag, attribute, _ in page.attributes
    )
    assert not any(tag == "img" for tag, _, _ in page.attributes)
    assert "<script" not in report_html(run(text, tmp_path), picture_reason=bad)


def test_missing_anchorage_is_not_verified_at_the_top(tmp_path: Path) -> None:
    kept = report_html(run(shed(), tmp_path))
    assert "Every limit kept" in kept
    assert "NOT VERIFIED" not in kept
    text = report_html(run(without_anchorage(shed()), tmp_path))
    assert "Every limit kept" not in text
    head = text[: text.index('id="governing"')]
    assert '<b class="open">NOT VERIFIED</b>' in head
    assert "panel.anchorage is not given" in head


def test_missing_push_strength_is_not_verified(tmp_path: Path) -> None:
    text = report_html(run(projects()["no push strength"], tmp_path))
    head = text[: text.index('id="governing"')]
    assert '<b class="open">NOT VERIFIED</b>' in head
    assert "clamp.strength.push is not given" in head


def test_failure_names_the_attachment_first(tmp_path: Path) -> None:
    analysis = run(l_roof(), tmp_path)
    text = report_html(analysis)
    assert analysis.attachment is not None
    name = analysis.project.layout.clamp_name[analysis.attachment.target]
    after = text[text.index('<b class="exceeded">EXCEEDED</b>') :]
    assert f"<p>{name} uses " in after[:300]


def test_picture_is_embedded_or_its_absence_explained(tmp_path: Path) -> None:
    analysis = run(shed(), tmp_path)
    picture = tmp_path / "picture.png"
    picture.write_bytes(PNG)
    target = tmp_path / "report.html"
    write_report(analysis, target, picture)
    images = [a for a in Page(target.read_text(encoding="utf-8")).attributes if a[0] == "img"]
    source = next(value for _, attribute, value in images if attribute == "src")
    assert base64.b64decode(source.removeprefix("data:image/png;base64,")) == PNG
    assert any(attribute == "alt" and len(value) > 20 for _, attribute, value in images)
    write_report(analysis, target, None, "no OpenGL here")
    assert "No picture: no OpenGL here." in target.read_text(encoding="utf-8")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["picture.png", "project.toml", "report.html"]


def test_long_roof_lists_its_worst_clamps(tmp_path: Path) -> None:
    analysis = run(shed(length=230.0), tmp_path)
    count = len(analysis.project.layout.clamp_name)
    assert count > 400
    page = Page(report_html(analysis))
    table = page.tables[f"The 100 most used of {count} clamps"]
    assert len(table) == 101
    combined = next(limit for limit in analysis.limits if limit.name == "clamp combined")
    use = combined.utilization.max(axis=0)
    listed = {row[0] for row in table[1:]}
    assert analysis.project.layout.clamp_name[int(np.argmax(use))] in listed
    assert "attachments.csv" in " ".join(page.words)


def test_bare_plane_leaves_nothing_to_work_out(tmp_path: Path) -> None:
    text = projects()["measured snow"].replace('shape = "shed"', 'shape = "gable"')
    text = text.replace('fall = "180 deg"\n', "").replace('kg/m^3"] }', 'kg/m^3"], plane = "N1" }')
    analysis = run(text, tmp_path)
    assert analysis.attachment is None or analysis.attachment.utilization < 0.02  # its own weight at most
    page = Page(report_html(analysis))
    total = page.tables["Sliding force on each row"][1]
    assert float(total[6]) == 0.0
    assert "N1 eave" in {row[0] for row in page.tables["Snow that no row holds, and where it lands"]}


def test_partial_row_and_valley_are_said_in_words(tmp_path: Path) -> None:
    words = " ".join(Page(report_html(run(projects()["doorway"], tmp_path))).words)
    assert "stops short of its plane's edge" in words
    assert "Every row runs to the edges" not in words
    whole = " ".join(Page(report_html(run(l_roof(), tmp_path))).words)
    assert "scalar sum" in whole
    vector = l_roof() + '\n[analysis]\nvalley_thrust = "vector"\n'
    assert "add up as vectors" in " ".join(Page(report_html(run(vector, tmp_path))).words)


def test_reserve_is_said_on_both_kinds_of_snow(tmp_path: Path) -> None:
    analysis = run(shed(), tmp_path)
    table = Page(report_html(analysis)).tables["Snow cases, worst limit and reserve"]
    for number, row in enumerate(table[1 : 1 + len(analysis.snow.cases)]):
        factored, unfactored = float(row[4]), float(row[5])
        assert factored == pytest.approx(float(analysis.reserve[number]), rel=5e-3)
        assert unfactored == pytest.approx(1.5 * factored, rel=1e-2)  # EN 1990 Eq. 6.10


def test_the_force_of_undrifted_snow_stands_beside_that_with_drift(tmp_path: Path) -> None:
    """EN 1991-1-3 6.4: F = s b sin alpha, by hand; a drift at the upper edge adds to the other only."""
    drifts = shed() + '\n[[parapet]]\nedge = "S1 head"\nheight = "1.5 m"\n'
    for text, more in ((shed(), False), (drifts, True)):
        analysis = run(text, tmp_path)
        (row,) = results(analysis)["rows"]
        b = 6.0 - 0.5 * np.cos(np.radians(20.0))
        assert row["force_undrifted"] == pytest.approx(0.8 * 1600.0 * b * np.sin(np.radians(20.0)) * 12.0)
        if more:
            assert row["force_with_drift"] > 1.02 * row["force_undrifted"]
        else:
            assert row["force_with_drift"] is None
        assert "Undrifted (6.4)" in report_html(analysis)
    (us,) = results(run(without_anchorage(l_roof()), tmp_path))["rows"][:1]
    assert us["force_undrifted"] is None


def test_a_tube_that_bends_and_cannot_turn_over_keeps_that_limit(tmp_path: Path) -> None:
    """EN 1993-1-1 6.3.2.1(2), from memory: nothing of it is used, but the rail is loaded."""
    lines = {one.limit.name: one for one in limit_lines(run(shed(), tmp_path))}
    assert lines["rail stress"].utilization > 0.01
    assert lines["rail lateral buckling"].utilization == 0.0
    assert lines["rail lateral buckling"].status == KEPT
