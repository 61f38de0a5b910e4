"""Smooth vaults, domes and cones in fine or noisy meshes: found, and kept usable for snow and sliding."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
import shapely
from curved_meshes import EAVE, ROUND, VAULT, circle_of, curved_mesh, height, outline, points_over, triangles
from shapes import GABLE, gable, hip, l_part, rectangle, turned
from test_importing import save
from test_survey import measured

from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.shape.curves import find_curves
from roofmodel.shape.cutting import cut_triangles
from roofmodel.shape.importing import import_roof
from roofmodel.shape.planes import height_at, plan_polygons
from roofmodel.shape.recognition import recognize
from roofmodel.shape.regions import make_mesh
from roofmodel.shape.survey import survey_normals
from roofmodel.shape.survey_regions import survey_regions
from roofmodel.snow.inputs import Asce16Site, EnSite, NbccSite
from roofmodel.snow.registry import snow_cases
from tests.snow.snow_roofs import plane_force

RADIUS = circle_of(VAULT["span"], VAULT["rise"])
SITES = [
    EnSite(ground_snow=1500.0),
    Asce16Site(ground_snow=1900.0, risk_category="II", slippery=False),
    NbccSite(ground_snow=2000.0, associated_rain=300.0, importance="normal", slippery=False),
]
BUILT = RoofPart(
    "vault", rectangle(0, 0, VAULT["length"], VAULT["span"]), eave_height=EAVE, rise=VAULT["rise"], facets=16
)


@pytest.mark.parametrize("noise", [0.0, 0.03])
@pytest.mark.parametrize(("turn", "seed"), [(0.0, 0), (0.4, 1), (1.9, 2)])
def test_a_vault_is_one_curved_region(noise, turn, seed):
    roof = recognize(*curved_mesh("vault", 8.0, noise, seed, turn, (20.0, -7.0)))
    (found,) = roof.vaults
    assert roof.planes.true_area[found.plane].sum() > 0.99 * roof.planes.true_area.sum()
    assert found.radius == pytest.approx(RADIUS, rel=0.01)
    assert found.span == pytest.approx(VAULT["span"], rel=0.015)
    middle = turned(np.array([[0.5 * VAULT["length"], 0.5 * VAULT["span"]]]), turn, (20.0, -7.0))[0]
    middle = middle - roof.offset[:2]
    assert found.across @ middle - found.crown == pytest.approx(0.0, abs=0.05)
    assert found.top == pytest.approx(EAVE + VAULT["rise"] - roof.offset[2], abs=0.03)
    assert roof.planes.plan_area.sum() == pytest.approx(outline("vault").area, rel=0.01)
    assert any("barrel vault" in note for note in roof.notes)


@pytest.mark.parametrize("site", SITES, ids=lambda s: s.standard)
@pytest.mark.parametrize("noise", [0.0, 0.03])
def test_a_smooth_vault_carries_the_snow_of_the_built_one(tmp_path, site, noise):
    points, faces = curved_mesh("vault", 12.0, noise, 3)
    found = import_roof(save(tmp_path / "v.stl", points, faces), unit="m", up="z", ground=0.0)
    built = build_roof([BUILT])
    loads = [
        sorted(plane_force(roof, case).sum() for case in snow_cases(roof, site).cases)
        for roof in (found, built)
    ]
    assert len(loads[0]) == len(loads[1]) >= 3
    assert loads[0] == pytest.approx(loads[1], rel=0.015)


@pytest.mark.parametrize("noise", [0.0, 0.03])
@pytest.mark.parametrize(("kind", "rings"), [("dome", 5), ("cone", 1)])
def test_domes_and_cones_become_regular_facets(kind, rings, noise):
    roof = recognize(*curved_mesh(kind, 10.0, noise, 1, 0.3, (5.0, 9.0)))
    assert any(f"taken as a {kind}" in note for note in roof.notes)
    large = roof.planes.true_area > 0.2  # smaller ones hang on by a corner
    assert large.sum() == 24 * rings
    assert roof.planes.plan_area.sum() == pytest.approx(outline(kind).area, rel=0.015)
    if kind == "cone":  # facets whose hips lie on the cone are a little steeper
        fall = np.tan(ROUND["pitch"]) / np.cos(np.pi / 24)
        assert np.tan(roof.planes.slope[large]) == pytest.approx(fall, rel=0.015)
    # Every facet lies on the surface, but for the sagitta of its chords.
    rings = [np.array(p.exterior.coords) for p in plan_polygons(roof.planes)]
    number = np.repeat(np.arange(roof.planes.count), [len(ring) for ring in rings])
    corners = np.concatenate(rings)
    found = height_at(roof.planes, number, corners) + roof.offset[2]
    local = turned(corners + roof.offset[:2] - [5.0, 9.0], -0.3)
    inside = np.hypot(*local.T) < ROUND["radius"] - 0.1
    assert found[inside] == pytest.approx(height(kind, local[inside]), abs=0.09 + 2.0 * noise)


def test_a_vault_between_flat_roofs_is_cut_out():
    """A lean-to on one side and a flat roof on the other stay planes."""
    area = shapely.box(0.0, -5.0, 16.0, 16.0)
    xy = points_over(area, 10.0, 4)
    lines = [np.column_stack([np.arange(0.0, 16.01, 0.25), np.full(65, y)]) for y in (0.0, 10.0)]
    xy = np.vstack([xy, *lines])
    z = np.where(xy[:, 1] < 0.0, EAVE + 0.1 * xy[:, 1], EAVE)
    on = (xy[:, 1] >= 0.0) & (xy[:, 1] <= 10.0)
    z[on] = height("vault", xy[on])
    points = np.column_stack([xy, z])
    roof = recognize(points, triangles(points, area))
    (found,) = roof.vaults
    assert found.radius == pytest.approx(RADIUS, rel=0.01)
    assert found.span == pytest.approx(10.0, rel=0.01)
    others = np.setdiff1d(np.arange(roof.planes.count), found.plane)
    large = others[roof.planes.true_area[others] > 1.0]
    assert sorted(roof.planes.plan_area[large].round(0)) == [80.0, 96.0]
    assert roof.planes.plan_area.sum() == pytest.approx(area.area, rel=2e-3)


NOT_CURVED = {
    **{f"hip {pitch}": hip(14.0, 10.0, pitch) for pitch in (8, 12, 25)},
    **{f"pyramid {pitch}": hip(10.0, 10.0, pitch) for pitch in (8, 12, 25)},
    "L": l_part((12.0,) * 6),
    "gable": gable(14.0, 10.0, (10.0, GABLE, 10.0, GABLE)),
    "octagon": RoofPart(
        "hip", 6.0 * np.array([[np.cos(t), np.sin(t)] for t in np.radians(np.arange(8) * 45)]),
        np.radians([20.0] * 8), 3.0,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", NOT_CURVED)
@pytest.mark.parametrize("seed", [0, 1])
def test_planes_that_meet_gently_are_no_curve(name, seed):
    """Noise of 3 cm hides the creases of gentle roofs; two planes still say more than one circle."""
    points, faces = measured(build_roof([NOT_CURVED[name]]), 8, seed)
    mesh = make_mesh(points, faces)
    normal, noise = survey_normals(points, faces)
    turned_up = mesh.__class__(points, faces, normal, mesh.area, mesh.pairs, mesh.twin)
    assert find_curves(turned_up, survey_regions(turned_up, noise), noise) == []


@pytest.mark.parametrize("seed", range(3))
def test_cut_triangles_keep_the_surface(seed):
    """Area by side is exact, no face crosses the cut, neighbors still share whole edges."""
    rng = np.random.default_rng(seed)
    area = shapely.box(0.0, 0.0, 6.0, 5.0)
    xy = points_over(area, 6.0, seed)
    points = np.column_stack([xy, 0.3 * xy[:, 0]])
    faces = triangles(points, area)
    side = xy @ [np.cos(seed), np.sin(seed)] - 2.0
    side[rng.random(len(side)) < 0.05] *= 0.0
    cut_points, cut, parent = cut_triangles(points, faces, side)
    new = np.interp(np.arange(len(cut_points)), np.arange(len(points)), side)[: len(points)]
    full = np.concatenate([new, np.zeros(len(cut_points) - len(points))])
    assert not ((full[cut].min(axis=1) < -1e-12) & (full[cut].max(axis=1) > 1e-12)).any()
    before, after = make_mesh(points, faces), make_mesh(cut_points, cut)
    assert np.bincount(parent, after.area, len(faces)) == pytest.approx(before.area, rel=1e-9)
    assert (after.twin < 0).sum() == (before.twin < 0).sum() + _new_on_rim(before, after)
    some = np.zeros(len(faces), dtype=bool)
    some[: len(faces) // 2] = True
    part_points, part, origin = cut_triangles(points, faces, side, some)
    halves = make_mesh(part_points, part)
    assert np.bincount(origin, halves.area, len(faces)) == pytest.approx(before.area, rel=1e-9)
    assert (halves.twin < 0).sum() == (before.twin < 0).sum() + _new_on_rim(before, halves)


def _new_on_rim(before, after):
    """Cuts that end on the rim divide one of its edges in two."""
    rim = np.unique(after.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)[after.twin < 0])
    return int((rim >= len(before.points)).sum())


@pytest.mark.parametrize("site", SITES, ids=lambda s: s.standard)
@pytest.mark.parametrize("kind", ["dome", "cone"])
def test_smooth_domes_and_cones_carry_the_snow_of_built_ones(site, kind):
    """Built of as many sectors over the same area; imported as a survey of thousands of triangles."""
    roofs = _measured_and_built(kind)
    assert [[dome.kind for dome in roof.domes] for roof in roofs] == [[kind]] * 2
    forces = [[plane_force(roof, case).sum() for case in snow_cases(roof, site).cases] for roof in roofs]
    assert forces[0][0] == pytest.approx(forces[1][0], rel=0.02)
    assert max(forces[0]) == pytest.approx(max(forces[1]), rel=0.03)


@cache
def _measured_and_built(kind):
    found = recognize(*curved_mesh(kind, 12.0, 0.02, 3), ground=0.0)
    grown = ROUND["radius"] * np.sqrt(np.pi / 24 / (np.sin(np.pi / 24) * np.cos(np.pi / 24)))
    turn = 2.0 * np.pi * np.arange(24) / 24
    ring = grown * np.column_stack([np.cos(turn), np.sin(turn)])
    if kind == "dome":
        part = RoofPart("dome", ring, eave_height=EAVE, rise=ROUND["rise"], rings=5)
    else:
        part = RoofPart("hip", ring, np.full(24, ROUND["pitch"]), EAVE)
    return found, build_roof([part])
