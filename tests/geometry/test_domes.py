"""Domes and cones found among planes, with the sphere or pitch that they were built with."""

from __future__ import annotations

import numpy as np
import pytest
from curved_meshes import ROUND, curved_mesh
from shapely import LineString, Point

from roofmodel.shape.builders import RoofPart, build_roof, regular_footprint
from roofmodel.shape.recognition import recognize


def dome(radius=10.0, rise=4.0, sides=24, rings=6, center=(0.0, 0.0), eave=4.0):
    footprint = regular_footprint(np.array(center), radius, sides)
    return RoofPart("dome", footprint, eave_height=eave, rise=rise, rings=rings)


def cone(radius=5.0, pitch=35.0, sides=12, eave=3.0, turn=0.0):
    cos, sin = np.cos(turn), np.sin(turn)
    footprint = regular_footprint(np.zeros(2), radius, sides) @ np.array([[cos, sin], [-sin, cos]])
    return RoofPart("hip", footprint, np.full(sides, np.radians(pitch)), eave)


@pytest.mark.parametrize(("sides", "rings"), [(6, 3), (12, 6), (36, 8)])
def test_a_dome_is_found_with_its_sphere(sides, rings):
    roof = build_roof([dome(sides=sides, rings=rings, center=(30.0, -7.0))])
    (found,) = roof.domes
    corner = 10.0 / np.cos(np.pi / sides)
    assert len(found.plane) == roof.planes.count == sides * rings
    assert found.center == pytest.approx([30.0, -7.0])
    assert found.reach == pytest.approx(10.0)
    assert found.outer == pytest.approx(corner)
    assert found.radius == pytest.approx((corner**2 + 4.0**2) / 8.0)
    assert found.top == pytest.approx(8.0)
    assert found.rise == pytest.approx(4.0)
    assert np.sin(found.slope_at(np.array(5.0))) == pytest.approx(5.0 / found.radius)
    assert found.smooth is (sides > 6)


def test_a_cone_is_found_with_its_pitch():
    (found,) = build_roof([cone(turn=0.4)]).domes
    assert len(found.plane) == 12
    assert found.pitch == pytest.approx(np.radians(35.0))
    assert found.reach == pytest.approx(5.0)
    assert found.top == pytest.approx(3.0 + 5.0 * np.tan(np.radians(35.0)))
    assert not found.smooth


def test_a_dome_that_other_roofs_cut_keeps_its_sphere_and_not_their_planes():
    house = np.array([[-20, -6], [5, -6], [5, 6], [-20, 6]], float)
    gable = RoofPart("gable", house, np.radians([35, np.nan, 35, np.nan]), 3.0)
    roof = build_roof([dome(8.0, 5.0, 16, 5), gable])
    (found,) = roof.domes
    assert found.radius == pytest.approx((8.157**2 + 25.0) / 10.0, rel=0.01)
    assert found.center == pytest.approx([0.0, 0.0], abs=0.05)
    for i in set(range(roof.planes.count)) - set(found.plane.tolist()):
        corners = roof.planes.to_world(i, np.array(roof.planes.outline[i].exterior.coords))
        assert np.linalg.norm(corners[:, :2], axis=1).max() > 10.0


def test_reach_is_the_distance_of_the_nearest_eave():
    roof = build_roof([dome(sides=8)])
    eaves = [k for k, kind in enumerate(roof.edges.kind) if kind == "eave"]
    lines = [LineString([roof.edges.start[k, :2], roof.edges.end[k, :2]]) for k in eaves]
    assert roof.domes[0].reach == pytest.approx(min(line.distance(Point(0.0, 0.0)) for line in lines))


@pytest.mark.parametrize("noise", [0.0, 0.03])
@pytest.mark.parametrize("kind", ["dome", "cone"])
def test_domes_and_cones_of_meshes_are_found(kind, noise):
    roof = recognize(*curved_mesh(kind, 10.0, noise, 1, 0.3, (5.0, 9.0)))
    (found,) = roof.domes
    assert found.kind == kind
    assert found.center + roof.offset[:2] == pytest.approx([5.0, 9.0], abs=0.05)
    assert found.outer == pytest.approx(ROUND["radius"], rel=0.02)
    assert roof.planes.true_area[found.plane].sum() > 0.99 * roof.planes.true_area.sum()
    if kind == "dome":
        sphere = (ROUND["radius"] ** 2 + ROUND["rise"] ** 2) / (2.0 * ROUND["rise"])
        assert found.radius == pytest.approx(sphere, rel=0.01)
    else:
        assert found.pitch == pytest.approx(ROUND["pitch"], rel=0.02)


@pytest.mark.parametrize("sides", [4, 5])
def test_hip_roofs_pyramids_and_vaults_are_no_domes(sides):
    pyramid = cone(sides=sides)
    box = np.array([[0, 0], [20, 0], [20, 10], [0, 10]], float)
    hip = RoofPart("hip", box, np.radians([30.0] * 4), 3.0)
    mansard = RoofPart(
        "mansard", box, np.radians([60.0] * 4), 3.0, upper_pitch=np.radians(20.0), break_height=2.0
    )
    vault = RoofPart("vault", box, eave_height=3.0, rise=3.0, facets=12)
    for part in (pyramid, hip, mansard, vault):
        assert build_roof([part]).domes == ()
