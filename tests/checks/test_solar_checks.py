"""Solar arrays through the whole job: clamps, panel strips, verdict, report and results."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest

import viewer
from fea.analysis import Analysis, analyze
from fea.checks.strips import panel_strips
from roofmodel.project.load import load_project
from roofmodel.units import SYSTEMS
from viewer.export import results
from viewer.report.arrays import array_table
from viewer.summary import verdict

PROJECT = Path(__file__).parents[2] / "models" / "ridge-school" / "project.toml"
FOOT, PSF, LBF = 0.3048, 47.880259, 4.4482216
ARRAY = """
[[solar]]
name = "glass"
plane = "S1"
across = "40 ft"
up = "12 ft"
width = "16 ft"
depth = "7 ft"
gap = "4 in"
weight = "3 psf"
clamp_every = 2
"""


def checked(tmp_path: Path, more: str = "", spot: tuple[str, str] = ("", "")) -> Analysis:
    path = tmp_path / "project.toml"
    path.write_text(PROJECT.read_text(encoding="utf-8").replace(*spot) + more, encoding="utf-8")
    return analyze(load_project(path))


def balanced(analysis: Analysis) -> int:
    return next(i for i, case in enumerate(analysis.snow.cases) if case.name == "balanced")


@pytest.fixture(scope="module")
def glazed(tmp_path_factory: pytest.TempPathFactory) -> Analysis:
    return checked(tmp_path_factory.mktemp("solar"), ARRAY + 'clamp_strength = "900 lbf"\n')


def limit(analysis: Analysis, name: str):  # type: ignore[no-untyped-def]
    return next(one for one in analysis.limits if one.name == name)


def test_clamps_by_hand(glazed: Analysis) -> None:
    """Two clamps on every second seam: p b sin of all above the edge, half of the glass and of the weight."""
    q, arrays = balanced(glazed), glazed.project.roof.arrays
    plane = int(arrays.plane[0])
    sine, cosine = (f(glazed.project.roof.planes.slope[plane]) for f in (np.sin, np.cos))
    zone = next(z for z in glazed.snow.cases[q].zones if z.plane == plane)
    assert zone.pressure[1:] == pytest.approx([0.0, 0.0])
    pressure = zone.pressure[0]
    rows = glazed.project.layout
    between = [v[1] for v in rows.row_start[rows.row_plane == plane] if v[1] > arrays.high[0, 1]]
    top = min([*between, glazed.project.roof.planes.outline[plane].bounds[3]])
    width = 2.0 * glazed.project.panel.seam_spacing
    leaning = pressure * (top - arrays.high[0, 1]) * cosine * sine * width
    on_glass = pressure * 7.0 * FOOT * cosine * sine * width
    weight = 3.0 * PSF * 7.0 * FOOT * width * sine
    factors = glazed.factors[q]
    want = factors.snow * (leaning + 0.5 * on_glass) + factors.dead * 0.5 * weight
    found = limit(glazed, "solar clamp").demand[q]
    assert len(found) == len(arrays.line_u) == 6
    np.testing.assert_allclose(found[1:-1], want, rtol=1e-6)


def test_a_shared_line_leans_on_all_its_clamps(glazed: Analysis, tmp_path: Path) -> None:
    shared = checked(tmp_path, ARRAY + "clamps_share = true\nclamps_up = 4\n")
    q = balanced(glazed)
    forces, factors = glazed.array_forces, glazed.factors[q]
    whole = factors.snow * (forces.leaning + forces.on_glass)[q] + factors.dead * forces.weight
    np.testing.assert_allclose(limit(shared, "solar clamp").demand[q], whole / 4.0, rtol=1e-9)


def test_strips_carry_rows_and_array_together(glazed: Analysis, tmp_path: Path) -> None:
    """What the strips' fixed points get beside the clamps of rows is the array, once, and nowhere else."""
    plain, q = checked(tmp_path), balanced(glazed)
    forces, factors = glazed.array_forces, glazed.factors[q]
    more = glazed.strip_loads.snow[q] - plain.strip_loads.snow[q]
    assert more.sum() == pytest.approx(factors.snow * (forces.leaning + forces.on_glass)[q].sum(), rel=1e-9)
    dead = glazed.strip_loads.weight[q] - plain.strip_loads.weight[q]
    assert dead.sum() == pytest.approx(factors.dead * forces.weight.sum(), rel=1e-9)
    names = panel_strips(glazed.project.layout)[1]
    on = {names[i].split(" at ")[0] for i in np.flatnonzero(more > 1e-6)}
    assert on == {f"seam {seam + 1}" for seam in glazed.project.roof.arrays.line_seam}
    anchorage = [limit(a, "panel anchorage").demand[q] for a in (plain, glazed)]
    under = more > 1e-6
    # What parts around the array shifts the rails by a little beside this.
    assert (anchorage[1] - anchorage[0] >= 0.98 * (more + dead))[under].all()
    assert all(proof.met for proof in glazed.proofs)


def test_a_strip_without_rows_is_checked_too(tmp_path: Path) -> None:
    alone = checked(tmp_path, ARRAY.replace('"S1"', '"N1"').replace('"16 ft"', '"12 ft"'))
    found = limit(alone, "panel anchorage at arrays")
    forces, q = alone.array_forces, balanced(alone)
    plane = alone.project.roof.planes
    p = plane.name.index("N1")
    sheet = alone.project.panel.weight * alone.project.panel.seam_spacing
    own = sheet * plane.outline[p].bounds[3] * np.sin(plane.slope[p])
    factors = alone.factors[q]
    want = factors.snow * (forces.leaning + forces.on_glass)[q] + factors.dead * (forces.weight + own)
    np.testing.assert_allclose(found.demand[q], want, rtol=1e-9)


def test_without_a_strength_nothing_passes(glazed: Analysis, tmp_path: Path) -> None:
    units = SYSTEMS["US"]
    weak = checked(tmp_path, ARRAY + 'clamp_strength = "300 lbf"\n')
    assert weak.exceeded
    assert any(line.startswith("Solar clamp:") for line in verdict(weak, units).more)
    bare = checked(tmp_path, ARRAY)
    assert not bare.passed
    assert any("solar.clamp_strength is not given" in line for line in verdict(bare, units).more)


def test_where_only_the_array_fails_it_leads(glazed: Analysis, tmp_path: Path) -> None:
    text = PROJECT.read_text(encoding="utf-8")
    line = next(row for row in text.splitlines() if row.startswith("ground_snow"))
    light = (line, 'ground_snow = "15 psf"')
    first = verdict(checked(tmp_path, ARRAY + 'clamp_strength = "60 lbf"\n', light), SYSTEMS["US"]).sentence
    assert "of the strength of a solar clamp" in first
    assert "EXCEEDED. Of the rows, " in first


def test_released_snow_leaves_own_weight_only(tmp_path: Path) -> None:
    free = checked(tmp_path, ARRAY + 'snow = "released"\n')
    assert not free.array_forces.leaning.any()
    assert not free.array_forces.on_glass.any()
    assert free.array_forces.weight.all()
    assert any("no snow ever leans" in caution for caution in free.cautions)


def test_a_gap_lets_only_shallow_snow_pass(glazed: Analysis, tmp_path: Path) -> None:
    wide = ARRAY.replace('"4 in"', '"39 in"') + "gap_passes = true\n"
    assert not checked(tmp_path, wide).array_forces.leaning[balanced(glazed)].any()
    low = checked(tmp_path, ARRAY.replace('"4 in"', '"1 in"') + "gap_passes = true\n")
    np.testing.assert_allclose(low.array_forces.leaning, glazed.array_forces.leaning, rtol=1e-12)


def test_report_and_results(glazed: Analysis) -> None:
    table = array_table(glazed, SYSTEMS["US"])
    assert table is not None
    assert table.rows[0][0] == "glass"
    whole_file = json.loads(json.dumps(results(glazed)))
    schema = Path(viewer.__file__).parent / "results.schema.json"
    jsonschema.validate(whole_file, json.loads(schema.read_text(encoding="utf-8")))
    said = whole_file["sliding"]["solar_arrays"][0]
    lines = np.array([line["force_per_case"] for line in said["clamp_lines"]])
    whole = np.array(said["leaning_per_case"]) + np.array(said["snow_on_glass_per_case"])
    np.testing.assert_allclose(lines.sum(axis=0), whole, rtol=1e-9)
    worst = max(line["worst_clamp_demand"] for line in said["clamp_lines"])
    assert worst == pytest.approx(limit(glazed, "solar clamp").demand.max())
