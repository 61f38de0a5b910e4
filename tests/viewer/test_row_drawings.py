"""The plan and the diagrams of rows: to scale, true, and readable back."""

import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from picture_projects import GABLE, read, without_strength

from fea.analysis import Analysis
from roofmodel.units import SYSTEMS
from viewer import style
from viewer.picture import svg
from viewer.picture.deflected import bend
from viewer.picture.findings import row_case, shown_case
from viewer.picture.plan import plan_svg
from viewer.picture.row_diagrams import (
    LEFT,
    PANEL,
    RIGHT,
    TYPE,
    WIDTH,
    _Axes,
    _limit_line,
    _load,
    _off_the_edge,
    along_row,
    hardest,
    row_svg,
)
from viewer.quantities import quantity


@pytest.fixture(scope="module")
def gable(tmp_path_factory: pytest.TempPathFactory) -> Analysis:
    return read(GABLE, tmp_path_factory.mktemp("gable"))


@pytest.fixture(scope="module")
def unverified(tmp_path_factory: pytest.TempPathFactory) -> Analysis:
    return read(without_strength(), tmp_path_factory.mktemp("unverified"))


def elements(drawing: str, name: str) -> list[ElementTree.Element]:
    return list(ElementTree.fromstring(drawing).iter("{http://www.w3.org/2000/svg}" + name))


def test_plan_is_to_scale_and_dimensioned(gable: Analysis) -> None:
    drawing = plan_svg(gable)
    words = [e.text for e in elements(drawing, "text")]
    assert words.count("14.00 m") == words.count("9.00 m") == 4  # on two sides, each with its halo
    for name in (*gable.project.layout.row_name, "S1", "N1", "24.0°", "N", "not verified"):
        assert name in words
    bar = next(
        e for e in elements(drawing, "path") if e.get("stroke-width") == "1.3" and e.get("fill") == "none"
    )
    x = [float(n) for n in re.findall(r"[ML]([0-9.]+) ", bar.get("d", ""))]
    label = next(float(w.split()[0]) for w in words if w and re.fullmatch(r"[0-9.]+ m", w) and "." not in w)
    outline = elements(drawing, "path")[1]
    across = [float(n) for n in re.findall(r"[ML]([0-9.]+) ", outline.get("d", ""))]
    assert (max(across) - min(across)) / 14.0 == pytest.approx((max(x) - min(x)) / label, rel=1e-3)


def test_plan_turns_with_the_compass(tmp_path: Path, gable: Analysis) -> None:
    """A plane that falls south has its arrow pointing down the page."""
    heads = [e.get("d", "") for e in elements(plan_svg(gable), "path") if e.get("fill") == style.INK]
    heads = [np.array(re.findall(r"[ML]([0-9.]+) ([0-9.]+)", d), dtype=float) for d in heads]
    tips = [h[0] - h[1:3].mean(axis=0) for h in heads if len(h) == 3]
    south = [t for t in tips if t[1] > 7.0 and abs(t[0]) < 0.1]
    north = [t for t in tips if t[1] < -7.0 and abs(t[0]) < 0.1]
    assert len(south) == 1
    assert len(north) == 2  # the north plane and the north arrow


@pytest.mark.parametrize("row", [0, 1, 2])
def test_row_diagram_carries_the_force_of_the_row(gable: Analysis, row: int) -> None:
    """The area under the line load is the factored thrust on the row."""
    drawing = row_svg(gable, row)
    case = row_case(gable, row)
    load = next(e for e in elements(drawing, "path") if e.get("fill") == style.SNOW_ANCHORS[2])
    points = np.array(re.findall(r"[ML](-?[0-9.]+) (-?[0-9.]+)", load.get("d", "")), dtype=float)
    x, y = points.T
    area = 0.5 * abs(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))
    texts = elements(drawing, "text")
    start = next(i for i, e in enumerate(texts) if "Sliding snow" in (e.text or ""))
    top = float(texts[start + 2].text or "nan")  # the zero, then the top of the axis
    low = y.max()
    high = float(texts[start + 2].get("y", "nan")) - 3.5
    width = float(x.max() - x.min())
    length = gable.project.layout.row_length[row]
    force = area * (top / (low - high)) * (length / width) * 1e3  # kN/m to N
    on = gable.force.row == row
    wanted = -gable.force.thrust[case, on, 1].sum() * gable.factors[case].snow
    assert force == pytest.approx(wanted, rel=5e-3)
    assert gable.snow.cases[case].name in (texts[1].text or "")


@pytest.mark.parametrize("row", [0, 1, 2])
def test_shear_of_the_diagrams_is_the_slope_of_the_moment_and_jumps_by_the_clamps(
    gable: Analysis, row: int
) -> None:
    """Equilibrium of a piece of rail: dM/ds = V between places, and the load is what the clamps take."""
    case = row_case(gable, row)
    factors, force = gable.factors[case], gable.response.rail_force
    s, shear, _ = along_row(gable, row, factors, case, force, (1, 2))
    _, moment, _ = along_row(gable, row, factors, case, force, (5, 4))
    inside = np.diff(s) > 1e-9
    rise = np.diff(moment)[inside]
    area = (0.5 * (shear[1:] + shear[:-1]) * np.diff(s))[inside]
    assert np.abs(np.abs(rise) - np.abs(area)).max() < 2e-3 * np.abs(moment).max()
    jumps = np.diff(shear)[~inside]
    on = gable.project.layout.clamp_row == row
    axis = next(i for i, reading in enumerate(gable.readings) if not reading.top and reading.warmth == 1.0)
    taken = gable.clamp_force[case, axis, on, 0].sum()
    assert abs(jumps.sum()) == pytest.approx(taken, rel=1e-6)


def test_words_of_the_worst_clamp_keep_off_the_line_of_the_limit(gable: Analysis) -> None:
    for row in range(len(gable.project.layout.row_name)):
        texts = elements(row_svg(gable, row), "text")
        limit = next(float(e.get("y", "0")) + 4.0 for e in texts if e.text == "limit 1.0")
        name = gable.project.layout.row_name[row]
        words = [float(e.get("y", "0")) for e in texts if (e.text or "").startswith(f"{name}-")]
        assert words
        assert all(y < limit - 3.0 or y - 9.0 > limit for y in words)


def test_row_diagram_marks_limit_and_worst_clamp(gable: Analysis, unverified: Analysis) -> None:
    governing = gable.attachment
    assert governing is not None
    row = int(gable.project.layout.clamp_row[governing.target])
    words = " ".join(e.text or "" for e in elements(row_svg(gable, row), "text"))
    name = gable.limits[governing.limit].target_name[governing.target]
    assert f"{name}  {style.utilization_text(governing.utilization)}" in words
    strength = quantity(float(gable.project.clamp.strength[0]), "force", SYSTEMS["SI"])
    assert f"design strength along the seam {strength}" in words
    assert row_case(gable, row) == shown_case(gable)
    together = next(limit for limit in unverified.limits if limit.name == "clamp combined")
    on = unverified.project.layout.clamp_row == row
    unknown = int(np.isnan(together.utilization[row_case(unverified, row), on]).sum())
    assert 0 < unknown == row_svg(unverified, row).count(">?</text>")


def test_names_are_escaped(tmp_path: Path) -> None:
    analysis = read(GABLE.replace('"Low"', '"<Low & wet>"').replace("Sorrel Bank", "Tom & <b>"), tmp_path)
    assert "<Low & wet>" in [e.text for e in elements(plan_svg(analysis), "text")]
    assert "Tom & <b> seed store" in (elements(plan_svg(analysis), "title")[0].text or "")
    assert elements(row_svg(analysis, 0), "text")[0].text == "Row <Low & wet>"


def test_words_at_row_ends_keep_off_the_edge_of_the_load():
    """On a high load they stand in it, on a low one above it; the edge never crosses the letters."""
    for height in (6.0, 12.0, 20.0, 44.0):
        edge = 100.0 + PANEL - height
        steps = np.array([[0.0, 100.0 + PANEL], [0.0, edge], [300.0, edge], [300.0, 100.0 + PANEL]])
        for x, reach in ((10.0, 150.0), (290.0, -150.0)):
            base = _off_the_edge(steps, x, reach, 100.0)
            assert edge >= base + 3.0 or edge <= base - 0.75 * TYPE
            assert 100.0 < base < 100.0 + PANEL


def test_words_of_both_ends_keep_off_each_other(gable: Analysis) -> None:
    """A long overhang at one end leaves both words the same half of the row."""
    row, layout, s = 2, gable.project.layout, gable.project.layout.clamp_s.copy()
    s[np.flatnonzero(layout.clamp_row == row)[0]] = 0.35 * layout.row_length[row]
    even = gable.force.thrust.copy()
    even[..., 1] = -2e3 * np.diff(gable.force.span, axis=1)[:, 0]
    bound = np.full_like(gable.force.end_bound, 9e3)
    long = replace(
        gable,
        project=replace(gable.project, layout=replace(layout, clamp_s=s)),
        force=replace(gable.force, end_bound=bound, thrust=even),
    )
    drawing = (
        f'<svg xmlns="http://www.w3.org/2000/svg">{"".join(_load(long, row, 0, 50.0, SYSTEMS["SI"]))}</svg>'
    )
    ends = [float(e.get("y", "")) for e in elements(drawing, "text") if "beyond the end" in (e.text or "")]
    assert max(ends) - min(ends) >= TYPE
    assert 50.0 < min(ends) <= max(ends) < 50.0 + PANEL


def test_the_deflected_shape_is_that_of_the_worst_place_of_the_snow(gable: Analysis) -> None:
    """As in the limits: this rail stands 45 mm above the grips and leans with snow at its top."""
    bent = bend(gable)
    assert bent is not None
    case = row_case(gable, bent.row)
    assert case == bent.case
    factors, unit = gable.service[case], gable.response.deflection
    _, axis, _ = along_row(gable, bent.row, factors, case, unit, (1, 2))
    _, worst, _ = along_row(gable, bent.row, factors, case, unit, (1, 2), worst=True)
    largest = float(np.abs(worst).max())
    assert largest > 1.02 * np.abs(axis).max()
    assert largest >= np.abs(bent.move[:, 1]).max() * (1.0 - 1e-9)
    texts = [e.text for e in elements(row_svg(gable, bent.row), "text")]
    assert quantity(largest, "size", SYSTEMS["SI"]) in texts


def test_moment_and_shear_are_of_the_worse_splices(gable: Analysis) -> None:
    """With torsion that may be passed on or not, the state that bends the row more, for both."""
    mild, hard = gable.response, replace(gable.response, rail_force=1.5 * gable.response.rail_force)
    row, case = 0, row_case(gable, 0)
    for both in ((mild, hard), (hard, mild)):
        assert hardest(replace(gable, responses=both), row, case) is hard
    _, shear, _ = along_row(gable, row, gable.factors[case], case, hard.rail_force, (1, 2), of=hard)
    drawn = [e.text for e in elements(row_svg(replace(gable, responses=(mild, hard)), row), "text")]
    assert quantity(float(np.abs(shear).max()), "force", SYSTEMS["SI"]) in drawn


def test_words_of_a_limit_keep_off_bars() -> None:
    """At the other end, else in the middle, else above the bars."""
    axes, s = _Axes(100.0, 10.0, 0.0, 4.0), np.array([0.2, 5.0, 9.8])
    line = float(axes.y(np.array(1.0)))
    for bars, x, above in (
        ([0.5, 0.5, 3.0], LEFT + 4.0, 0.0),
        ([3.0, 0.5, 0.5], WIDTH - RIGHT, 0.0),
        ([3.0, 0.5, 3.0], 0.5 * (LEFT + WIDTH - RIGHT), 0.0),
        ([3.0, 2.0, 3.0], 0.5 * (LEFT + WIDTH - RIGHT), 1.0),
    ):
        drawn = svg.document(
            WIDTH, 200.0, "", _limit_line(axes, 1.0, "limit", s, np.array(bars), left=bars[0] < bars[2])
        )
        words = elements(drawn, "text")[-1]
        assert float(words.get("x", "nan")) == pytest.approx(x, abs=0.1)
        foot = float(axes.y(np.array(1.0 + above)))
        assert float(words.get("y", "nan")) == pytest.approx(foot - 4.0, abs=0.1)
        assert foot <= line
