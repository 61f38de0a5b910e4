"""The plan of the ground where snow lands."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest

import viewer
from fea.analysis import Analysis, analyze
from roofmodel.project.load import load_project
from roofmodel.units import SYSTEMS
from viewer.export import results
from viewer.picture.landing import landing_svg
from viewer.report.falling import heap_table
from viewer.unheld import falling_sentence

MODELS = Path(__file__).parents[2] / "models"


@pytest.fixture(scope="module")
def analysis() -> Analysis:
    return analyze(load_project(MODELS / "tannery-hall" / "project.toml"))


def strips(drawing: str) -> list[np.ndarray]:
    """Corners of the dashed outlines."""
    found = re.findall(r'<path d="([^"]+)"[^>]*stroke-dasharray="5 3"', drawing)
    return [np.array(re.findall(r"-?[\d.]+", one), dtype=float).reshape(-1, 2) for one in found]


def test_strips_are_drawn_to_scale_and_told_in_the_users_units(analysis: Analysis) -> None:
    drawing = landing_svg(analysis)
    found = strips(drawing)
    landing = analysis.landing
    throws = landing.throw[landing.throw > 0.05]
    assert len(found) == len(throws)
    depth = sorted(np.linalg.norm(one[3] - one[0]) for one in found)
    np.testing.assert_allclose(np.array(depth) / depth[-1], np.sort(throws) / throws.max(), rtol=0.02)
    assert f"{throws.max():.2f} m out" in drawing
    heaviest = landing.line.max() / 1000.0
    assert f"{heaviest:.2f} kN/m" in drawing or f"{heaviest:.1f} kN/m" in drawing


def test_nothing_is_drawn_where_nothing_slides(analysis: Analysis) -> None:
    still = replace(analysis.landing, throw=0.0 * analysis.landing.throw)
    assert landing_svg(replace(analysis, landing=still)) == ""


def test_snow_on_a_lower_roof_is_drawn_there(analysis: Analysis) -> None:
    """The loading roof catches a part below the hall's eave; the patch reaches as far as the snow does."""
    lower = analysis.landing.lower
    assert len(lower.plane) == 1
    drawing = landing_svg(analysis)
    name = analysis.project.roof.planes.name[lower.plane[0]]
    assert f"{lower.line.max() / 1000.0:.2f} kN/m on {name}" in drawing
    patch = re.findall(r'<path d="([^"]+)"[^>]*stroke-dasharray="2 3"', drawing)
    assert len(patch) == 1
    bare = replace(lower, reach=0.0 * lower.reach)
    without = landing_svg(replace(analysis, landing=replace(analysis.landing, lower=bare)))
    assert 'stroke-dasharray="2 3"' not in without


TOWER = """
[[roof.part]]
name = "tower"
shape = "flat"
footprint = "0 17, 24 17, 24 21, 0 21 m"
eave_height = "14 m"

[surface]
"""


def test_a_wall_that_stops_snow_is_told_and_drawn(analysis: Analysis, tmp_path: Path) -> None:
    """Beside a tower 3 m off, snow of the north eave lies at its foot; drawing, report and results agree."""
    path = tmp_path / "project.toml"
    text = (MODELS / "tannery-hall" / "project.toml").read_text(encoding="utf-8")
    path.write_text(text.replace("\n[surface]\n", TOWER, 1), encoding="utf-8")
    found = analyze(load_project(path))
    heaps, roof = found.landing.lower.heaps, found.project.roof
    north = [i for i, e in enumerate(found.force.exit_edge) if roof.edges.name[e] == "N1 eave"]
    at = int(np.flatnonzero(np.isin(heaps.edge, north))[0])
    np.testing.assert_allclose(heaps.ends[at][:, 1], 17.0, atol=0.01)
    words = f"{heaps.line[:, at].max() / 1000.0:.2f} kN/m at the wall"
    assert words in landing_svg(found)
    assert "at the wall" not in landing_svg(analysis)
    table = heap_table(found, SYSTEMS["SI"])
    assert table is not None
    assert table.rows[0][:3] == ("N1 eave", roof.edges.name[heaps.wall[at]], "the ground")
    assert heap_table(analysis, SYSTEMS["SI"]) is None
    data = results(found)
    jsonschema.validate(data, json.loads((Path(viewer.__file__).parent / "results.schema.json").read_text()))
    told = next(one for one in data["sliding"]["edges"] if one["edge"] == "N1 eave")["stopped_by_walls"]
    assert told[0]["highest"] == pytest.approx(heaps.high[at])
    assert told[0]["plane"] is None


def test_every_strip_of_ground_carries_its_number(analysis: Analysis) -> None:
    """Also below an edge part of whose snow a lower roof stops: beside that roof all of it flies on."""
    drawing = landing_svg(analysis)
    assert len(re.findall(r" out</text>", drawing)) == 2 * len(strips(drawing))  # each with its halo
    stopped = analysis.landing.lower.edge[0]
    full, far = analysis.landing.line[:, stopped].max(), analysis.landing.throw[stopped]
    units = SYSTEMS["SI"]
    assert f"{units.text(float(full), 'line')}, {units.text(float(far), 'length')} out" in drawing


def test_the_farthest_landing_is_told_and_drawn_however_light(analysis: Analysis) -> None:
    """An edge that sheds 0.5 % of the roof's snow, and so is not named, throws farther than all others."""
    force, landing = analysis.force, analysis.landing
    south = [analysis.project.roof.edges.name[e] for e in force.exit_edge].index("S2 eave")
    one = np.arange(len(force.exit_edge)) == south
    roof = float((force.cell_pressure @ analysis.graph.cells.plan_area).max())
    light = replace(force, exit_weight=np.where(one, 0.005 * roof, force.exit_weight))
    lower = replace(landing.lower, beyond=np.where(one, light.exit_weight, landing.lower.beyond))
    line = np.where(one, 1e-3 * landing.line.max(), landing.line)
    far = replace(landing, throw=np.where(one, 9.0, landing.throw), line=line, lower=lower)
    changed = replace(analysis, force=light, landing=far)
    sentence = falling_sentence(changed, SYSTEMS["SI"])
    assert f"up to {landing.throw[~one].max():.2f} m out from the edge" in sentence
    assert re.search(r"[\d.]+ kN at S2 eave up to 9.00 m\.$", sentence)
    drawing = landing_svg(changed)
    assert "S2 eave" in drawing
    assert "9.00 m out" in drawing
    crumbs = replace(light, exit_weight=np.where(one, 5.0, force.exit_weight))  # half a kilogram
    assert "S2 eave" not in falling_sentence(replace(changed, force=crumbs), SYSTEMS["SI"])


def test_what_lands_on_lower_roofs_is_named_as_such(analysis: Analysis) -> None:
    """S1 eave sheds more than S2 eave, but mostly onto S2: it comes last and says so."""
    assert re.search(
        r"at N1 eave, 20\.2 kN at S2 eave; mostly onto lower roofs 21\.4 kN at S1 eave \(",
        falling_sentence(analysis, SYSTEMS["SI"]),
    )
