"""Slabs as solid bodies: their square-cut ends look up, and are no roof."""

from __future__ import annotations

import numpy as np
import pytest
from ifc_models import slab
from shapes import edge_lengths, shuffled, subdivided, turned

from roofmodel.shape.importing import import_roof
from roofmodel.shape.recognition import recognize
from roofmodel.shape.roof_faces import RawMesh, pick_roof_faces


def body(corners, thickness=0.25):
    points, quads = slab(corners, thickness)
    return points, np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])


def together(*bodies):
    base = np.cumsum([0, *(len(points) for points, _ in bodies[:-1])])
    faces = np.concatenate([faces + at for (_, faces), at in zip(bodies, base, strict=True)])
    return np.vstack([points for points, _ in bodies]), faces


def read(points, faces):
    picked = pick_roof_faces(RawMesh(points, faces, ()))
    return recognize(picked.points, picked.faces, offset=picked.offset, notes=picked.notes)


def shed(pitch):
    rise = 6.0 * np.tan(np.radians(pitch))
    return body([(0, 0, 3), (12, 0, 3), (12, 6, 3 + rise), (0, 6, 3 + rise)])


@pytest.mark.parametrize("pitch", [18.0, 25.0, 40.0, 60.0])
@pytest.mark.parametrize("seed", range(2))
def test_a_slab_cut_square_is_one_plane_with_a_free_head(pitch, seed):
    """By hand: 12 by 6 m on plan; an end of 0.25 m made a gable of it, with snow of a gable."""
    points, faces = shuffled(*subdivided(*shed(pitch), seed), seed)
    roof = read(turned(points, 0.7 * seed), faces)
    assert np.degrees(roof.planes.slope) == pytest.approx([pitch])
    assert roof.planes.plan_area == pytest.approx([72.0])
    assert edge_lengths(roof) == pytest.approx(
        {"eave": 12.0, "head": 12.0, "rake": 12.0 / np.cos(np.radians(pitch))}
    )
    assert any("ends of slabs" in note for note in roof.notes)


@pytest.mark.parametrize("gap", [0.0, 0.06])
def test_two_slabs_that_all_but_meet_have_one_ridge(gap):
    """The ends cross below the ridge where slabs are thick."""
    rise, y = np.tan(np.radians(40.0)), 4.0 - 0.5 * gap
    top = 3.0 + y * rise
    south = body([(0, 0, 3), (12, 0, 3), (12, y, top), (0, y, top)])
    north = body([(12, 8, 3), (0, 8, 3), (0, 8 - y, top), (12, 8 - y, top)])
    roof = read(*together(south, north))
    assert roof.planes.count == 2
    assert roof.planes.plan_area == pytest.approx([48.0, 48.0])
    assert edge_lengths(roof)["ridge"] == pytest.approx(12.0)
    assert roof.steps.count == 0


def test_planes_square_to_each_other_without_an_underside_stay():
    """A gable of 50 and 40 degrees of thin sheets: its ridge has a right angle."""
    low, high = np.tan(np.radians([40.0, 50.0]))
    yz = [(0, 3), (0.5, 3 + 0.5 * high), (0.5 + 0.5 * high / low, 3)]
    points = np.array([(x, *yz[k]) for k, x in ((0, 0), (0, 9), (1, 9), (1, 0), (2, 9), (2, 0))])
    roof = read(points, np.array([[0, 1, 2], [0, 2, 3], [3, 2, 4], [3, 4, 5]]))
    assert np.sort(np.degrees(roof.planes.slope)) == pytest.approx([40.0, 50.0])


def test_a_file_with_such_a_slab(tmp_path):
    from test_importing import save

    roof = import_roof(save(tmp_path / "slab.stl", *shed(30.0)), unit="m", up="z")
    assert roof.planes.name == ("S1",)
