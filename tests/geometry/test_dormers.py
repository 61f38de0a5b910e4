"""Dormers by intersection with their plane: closed plane geometry, watertight, the same after a mesh file."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from shapes import GABLE, edge_lengths, rectangle, turned

from roofmodel.errors import InputError
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.shape.dormers import Dormer
from roofmodel.shape.importing import import_roof
from roofmodel.shape.planes import plan_polygons
from roofmodel.surface import EdgeKind

MAIN = RoofPart("gable", rectangle(0, 0, 16, 12), np.radians([40.0, GABLE, 40.0, GABLE]), 3.0)
FORTY = np.tan(np.radians(40.0))
THIRTY = np.radians(30.0)
ON_S = Dormer("S1", across=6.0, up=2.0, width=3.0, height=1.2, pitch=THIRTY, name="D1")
EVERY = {
    "gable": ON_S,
    "hip": replace(ON_S, kind="hip"),
    "shed": replace(ON_S, kind="shed", pitch=np.radians(10.0)),
    "valleys only": replace(ON_S, up=0.0, height=0.0),
    "on the wall": replace(ON_S, up=0.0),
    "near the rake": replace(ON_S, across=1.5),
}


def built(*dormers, turn=0.0):
    return build_roof([replace(MAIN, footprint=turned(MAIN.footprint, turn, (5.0, -3.0)))], dormers)


@pytest.mark.parametrize("name", EVERY)
@pytest.mark.parametrize("turn", [0.0, 33.0])
def test_plan_is_covered_once_and_the_mesh_closes(name, turn):
    plain = built(turn=np.radians(turn))
    main = plain.planes.name[int(np.argmin(np.abs(np.degrees(plain.planes.azimuth) - (180.0 - turn))))]
    roof = built(replace(EVERY[name], plane=main), turn=np.radians(turn))
    assert roof.planes.plan_area.sum() == pytest.approx(192.0, rel=1e-9)
    assert shapely.union_all(plan_polygons(roof.planes), grid_size=1e-8).area == pytest.approx(
        192.0, rel=1e-7
    )
    sides = np.sort(roof.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    pair, count = np.unique(sides, axis=0, return_counts=True)
    assert count.max() == 2
    alone = pair[count == 1]
    free = roof.edges.length[roof.edges.plane[:, 1] < 0].sum()
    length = np.linalg.norm(roof.points[alone[:, 0]] - roof.points[alone[:, 1]], axis=1).sum()
    assert length == pytest.approx(free, rel=1e-6)
    assert (
        len(roof.planes.name)
        == 2 + len(np.unique(EVERY[name].kind)) + {"gable": 1, "hip": 2, "shed": 0}[EVERY[name].kind]
    )


@pytest.mark.parametrize("name", EVERY)
def test_round_trip_over_a_mesh_file(name, tmp_path):
    roof = built(EVERY[name])
    trimesh.Trimesh(roof.points, roof.faces, process=False).export(tmp_path / "roof.stl")
    again = import_roof(tmp_path / "roof.stl", unit="m", up="z")
    assert sorted(again.planes.true_area) == pytest.approx(sorted(roof.planes.true_area), rel=1e-4)
    lengths, built_lengths = edge_lengths(again), edge_lengths(roof)
    # A mesh shows no wall lower than some centimeters: there the foot of a cheek is a free edge.
    for one in (lengths, built_lengths):
        one["rake or step"] = one.pop("rake") + one.pop("step", 0.0)
    assert lengths == pytest.approx(built_lengths, rel=1e-4)
    assert again.steps.count == roof.steps.count


@given(
    height=st.floats(0.0, 1.5), width=st.floats(1.0, 4.0), pitch=st.floats(15.0, 50.0), up=st.floats(0.5, 2.0)
)
@settings(max_examples=20, deadline=None)
def test_gable_dormer_closed_form(height, width, pitch, up):
    """Ridge (height + w/2 tan p) / tan 40 long; plan of each side: that depth and the eave's, averaged."""
    dormer = replace(ON_S, height=height, width=width, pitch=np.radians(pitch), up=up)
    roof = built(dormer)
    rise = 0.5 * width * np.tan(np.radians(pitch))
    ridge, eave = (height + rise) / FORTY, height / FORTY
    own = [i for i, name in enumerate(roof.planes.name) if name[0] in "EW"]
    np.testing.assert_allclose(
        roof.planes.plan_area[own], 0.5 * width * 0.5 * (ridge + eave), rtol=1e-6, atol=1e-6
    )
    np.testing.assert_allclose(roof.planes.slope[own], np.radians(pitch), rtol=1e-9)
    lengths = edge_lengths(roof)
    assert lengths["ridge"] == pytest.approx(16.0 + ridge, rel=1e-6)
    valley = np.linalg.norm([0.5 * width, ridge - eave, rise])
    assert lengths["valley"] == pytest.approx(2.0 * valley, rel=1e-6)


def test_cheeks_and_front_are_steps_onto_the_main_plane():
    """Cheek walls fall from the dormer's height to nothing; under the front the gable wall stands."""
    roof = built(ON_S)
    main = roof.planes.name.index("S1")
    assert set(roof.steps.lower.tolist()) == {main}
    walls = roof.steps.wall
    along = np.linalg.norm((roof.steps.end - roof.steps.start)[:, :2], axis=1)
    depth = 1.2 / FORTY
    cheeks = np.abs(along - depth) < 0.01
    assert cheeks.sum() == 2
    np.testing.assert_allclose(np.sort(walls[cheeks], axis=1), [[0.0, 1.2]] * 2, atol=0.01)
    front = walls[~cheeks]
    assert front.max() == pytest.approx(1.2 + 1.5 * np.tan(THIRTY), rel=1e-6)
    assert front.min() == pytest.approx(1.2, rel=1e-6)


def test_shed_dormer_meets_its_plane_in_a_pitch_break():
    """Depth = height / (tan 40 - tan 10)."""
    roof = built(EVERY["shed"])
    depth = 1.2 / (FORTY - np.tan(np.radians(10.0)))
    own = int(np.argmin(roof.planes.slope))
    assert roof.planes.plan_area[own] == pytest.approx(3.0 * depth, rel=1e-6)
    assert roof.edges.kind.count(EdgeKind.BREAK) == 1
    assert edge_lengths(roof)["pitch break"] == pytest.approx(3.0, rel=1e-6)


def test_dormer_of_a_mansard_runs_into_the_upper_slope():
    """Front 0.4 m up a 65 degree slope, ridge above the break: it ends where the upper slope reaches it."""
    lower, upper, own = np.tan(np.radians([65.0, 20.0, 35.0]))
    part = RoofPart(
        "mansard",
        rectangle(0, 0, 18, 10),
        np.radians([65.0] * 4),
        6.0,
        upper_pitch=np.radians(20.0),
        break_height=2.4,
    )
    up = 0.4 / np.sin(np.radians(65.0))
    roof = build_roof([part], [Dormer("S2", 5.0, up, 1.2, 1.7, np.radians(35.0))])
    assert roof.planes.plan_area.sum() == pytest.approx(180.0, rel=1e-9)
    top = 0.4 + 1.7 + 0.6 * own  # above the main eave, and over the break
    assert top > 2.4
    ridge = (2.4 / lower + (top - 2.4) / upper) - 0.4 / lower
    found = [
        length
        for kind, length, name in zip(roof.edges.kind, roof.edges.length, roof.edges.name, strict=True)
        if kind is EdgeKind.RIDGE and length < 5.0
    ]
    assert found == pytest.approx([ridge], rel=1e-6)


def test_several_dormers_on_both_sides():
    row = [replace(ON_S, across=x, name=f"D{x:g}") for x in (3.0, 8.0, 13.0)]
    back = replace(ON_S, plane="N1", kind="hip", name="B")
    roof = built(*row, back)
    assert roof.planes.plan_area.sum() == pytest.approx(192.0, rel=1e-9)
    assert len(roof.planes.name) == 2 + 3 * 2 + 3


@pytest.mark.parametrize(
    ("dormer", "words"),
    [
        (replace(ON_S, plane="E1"), "no plane 'E1'"),
        (replace(ON_S, height=4.5), "runs over the ridge"),
        (replace(ON_S, across=1.0), "front reaches off the plane S1"),
        (replace(ON_S, kind="shed", pitch=np.radians(45.0)), "below that of its plane, 40"),
        (replace(ON_S, kind="shed", height=0.0), "height above 0"),
        (replace(ON_S, kind="hip", height=0.0), "front slope would lie below"),
        (replace(ON_S, kind="eyebrow"), "is not known"),
        (replace(ON_S, pitch=0.0), "pitch above 0"),
    ],
)
def test_refusals(dormer, words):
    with pytest.raises(InputError, match=words):
        built(dormer)


def test_two_in_one_place():
    with pytest.raises(InputError, match="D2: it stands in the place of D1"):
        built(ON_S, replace(ON_S, across=7.0, name="D2"))


def test_level_planes_take_none():
    flat = RoofPart("flat", rectangle(0, 0, 9, 9), eave_height=3.0)
    with pytest.raises(InputError, match="is level"):
        build_roof([flat], [replace(ON_S, plane="F1")])
