"""What lies in one layer on plan, told from free edges, against sheets laid over one another."""

import numpy as np
import pytest

from roofmodel.shape import roof_faces
from roofmodel.shape.cleaning import stable_order, weld
from roofmodel.shape.layers import faces_around, in_one_layer
from roofmodel.shape.roof_faces import seen_from_above


def sheet(low, high, level, count):
    """Points and faces of a level rectangle of count by count squares, faces up."""
    x, y = (np.linspace(a, b, count + 1) for a, b in zip(low, high, strict=True))
    points = np.stack([*np.meshgrid(x, y, indexing="ij"), np.full((count + 1, count + 1), level)], axis=-1)
    a = (np.arange(count)[:, None] * (count + 1) + np.arange(count)).ravel()
    b, c, d = a + count + 1, a + count + 2, a + 1
    return points.reshape(-1, 3), np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])


def both(first, second):
    return np.vstack([first[0], second[0]]), np.concatenate([first[1], second[1] + len(first[0])])


def test_sheets_over_one_another_are_told_by_their_edges():
    points, faces = both(sheet((0, 0), (2, 1), 0.0, 20), sheet((1, 0), (3, 1), 1.0, 30))
    spots = np.random.default_rng(0).uniform((0, 0), (3, 1), (4000, 2))
    told = in_one_layer(points, faces, spots)
    single = (spots[:, 0] < 1.0) | (spots[:, 0] > 2.0)
    assert not told[~single].any()
    edge = np.abs(spots[:, :1] - [0.0, 1.0, 2.0, 3.0]).min(axis=1)
    edge = np.minimum(edge, np.minimum(spots[:, 1], 1.0 - spots[:, 1]))
    assert told[single & (edge > 0.05)].all()


def test_loose_triangles_tell_nothing_that_is_wrong():
    points, faces = both(sheet((0, 0), (2, 1), 0.0, 5), sheet((1, 0), (3, 1), 1.0, 5))
    spots = np.random.default_rng(1).uniform((0, 0), (3, 1), (500, 2))
    loose = in_one_layer(points[faces].reshape(-1, 3), np.arange(faces.size).reshape(-1, 3), spots)
    assert not loose[(spots[:, 0] > 1.0) & (spots[:, 0] < 2.0)].any()


def test_what_is_seen_is_the_same_with_and_without(monkeypatch):
    """A roof over a part of a lower one, tilted, with a hole: nothing that is searched is lost."""
    monkeypatch.setattr(roof_faces, "MANY", 100)
    points, faces = both(sheet((0, 0), (4, 3), 0.0, 16), sheet((2.03, 1.07), (5, 4), 1.0, 15))
    points[:, 2] += 0.2 * points[:, 0]
    faces = np.delete(faces, np.arange(600, 640), axis=0)
    plain = seen_from_above(points, faces)
    quick = seen_from_above(points, faces, weld(points, faces))
    np.testing.assert_array_equal(quick, plain)
    assert 0 < plain.sum() < len(plain)


def test_triangles_around_spots_hold_all_that_cover_them():
    points, faces = sheet((0, 0), (3, 3), 0.0, 12)
    corner = points[faces][:, :, :2]
    spots = np.array([[0.3, 0.4], [2.2, 2.9]])
    found = faces_around(corner, spots)
    low, high = corner.min(axis=1), corner.max(axis=1)
    over = ((low[:, None] <= spots) & (spots <= high[:, None])).all(axis=2).any(axis=1)
    assert set(np.flatnonzero(over)) <= set(found.tolist())
    assert len(found) < len(faces)


@pytest.mark.parametrize("most", [50, 2**40, 2**62])
def test_equal_numbers_keep_their_order(most):
    key = np.random.default_rng(2).integers(0, most, 300)
    key = np.concatenate([key, key])
    np.testing.assert_array_equal(stable_order(key), np.argsort(key, kind="stable"))
