"""Curved regions in the table, the data and the picture; and a user who knows better."""

from __future__ import annotations

import io
import json
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import trimesh
from rich.console import Console

import viewer
from roofmodel.errors import InputError
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.shape.corrections import Corrections, correct
from roofmodel.snow.inputs import EnSite
from roofmodel.snow.registry import snow_cases
from tests.geometry.curved_meshes import ROUND, VAULT, circle_of, curved_mesh
from viewer import style
from viewer.picture.sheet import Overlay
from viewer.roof.curved import curved_regions, outline_of
from viewer.roof.export import roof_data
from viewer.roof.plan import CURVED, PlanView, draw_plan
from viewer.roof.read import see_roof
from viewer.roof.terminal import print_roof

SCHEMA = json.loads((Path(viewer.__file__).parent / "roof.schema.json").read_text())
RADIUS = {
    "vault": circle_of(VAULT["span"], VAULT["rise"]),
    "dome": circle_of(2.0 * ROUND["radius"], ROUND["rise"]),
    "cone": np.nan,
}
SPAN = {"vault": VAULT["span"], "dome": 2.0 * ROUND["radius"], "cone": 2.0 * ROUND["radius"]}


def looked_at(folder, kind, noise=0.03):
    points, faces = curved_mesh(kind, 10.0, noise, 2)
    trimesh.Trimesh(points, faces, process=False).export(folder / "roof.ply")
    return see_roof(folder / "roof.ply", "SI", {"unit": "m", "up": "z"})


@pytest.mark.parametrize("kind", RADIUS)
def test_a_surveyed_curve_stands_in_table_data_and_plan(tmp_path, kind):
    seen = looked_at(tmp_path, kind)
    (region,) = curved_regions(seen.roof)
    word = "barrel vault" if kind == "vault" else kind
    assert region.kind == word
    assert region.radius == pytest.approx(RADIUS[kind], rel=0.01, nan_ok=True)
    assert region.span == pytest.approx(SPAN[kind], rel=0.01)
    data = roof_data(seen)
    jsonschema.validate(data, SCHEMA)
    (entry,) = data["curved"]
    assert entry["kind"] == word
    assert set(entry["planes"]) == {seen.roof.planes.name[i] for i in region.plane}
    console = Console(record=True, width=160, file=io.StringIO())
    print_roof(seen, console)
    text = console.export_text()
    assert "Curved regions" in text
    assert f"({len(region.plane)} facets)" in text
    overlay = Overlay((1200, 900))
    draw_plan(overlay, seen.roof, PlanView(seen.roof.points, (0.0, 0.0, 900.0, 900.0)), seen.units)
    around = [s for s in overlay.shapes if s.line == style.INK and s.width == CURVED * overlay.point]
    assert len(around) == 1
    assert outline_of(seen.roof, region).area == pytest.approx(
        seen.roof.planes.plan_area[region.plane].sum(), rel=1e-3
    )


def test_a_gable_has_no_curved_regions():
    box = np.array([[0, 0], [12, 0], [12, 8], [0, 8]], dtype=float)
    gable = build_roof([RoofPart("gable", box, np.radians([30, np.nan, 30, np.nan]), 3.0)])
    assert curved_regions(gable) == []


def test_a_user_may_take_a_vault_for_planes(tmp_path):
    roof = looked_at(tmp_path, "vault").roof
    facet = roof.planes.name[roof.vaults[0].plane[2]]
    plain = correct(roof, Corrections(not_curved=(facet,)))
    assert plain.vaults == ()
    assert plain.planes is roof.planes
    assert any(f"curved region of {facet}" in note for note in plain.notes)
    named = [case.name for case in snow_cases(plain, EnSite(ground_snow=1500.0)).cases]
    assert not any("vault" in name for name in named)
    with pytest.raises(InputError, match="no facet of a vault, dome or cone"):
        correct(plain, Corrections(not_curved=(facet,)))
