"""Roof told from walls and floors by sight, against what city models say their surfaces are."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from roofmodel.shape import citygml, cityjson
from roofmodel.shape.cleaning import face_vectors
from roofmodel.shape.roof_faces import STEEPEST, pick_roof_faces
from roofmodel.shape.surfaces import ROOF, building_mesh, triangulate_surfaces

DATA = Path(__file__).parents[1] / "data"
FILES = {
    "Zürich": (cityjson, "../../models/sentier-house/zurich_lod2_25_buildings.city.json", 25),
    "The Hague": (cityjson, "roofs/denhaag_4_buildings_lod2.city.json", 4),
    "ladder": (citygml, "roofs/gable_ladder_100_citygml3.gml", 100),
    "garage": (citygml, "roofs/building_and_garage_lod2_citygml2.gml", 1),
    "hips": (citygml, "roofs_sharealike/ingolstadt_4018149a_hip_valley_lod3.gml", 1),
    "dormers": (citygml, "roofs_sharealike/ingolstadt_4018258_dormers_lod3.gml", 1),
}


def areas(building):
    """Area picked by sight, area marked as roof (without cheeks steeper than a roof), area of both. [m2]."""
    marked, _ = triangulate_surfaces(building.points, [one for one in building.surfaces if one[1] == ROOF])
    middle = building.points.mean(axis=0)
    vector = face_vectors(building.points - middle, marked)
    marked = marked[np.abs(vector[:, 2]) > np.cos(STEEPEST) * np.linalg.norm(vector, axis=1)]
    picked = pick_roof_faces(building_mesh(building, marks=False)).faces

    def area(faces):
        return 0.5 * np.linalg.norm(face_vectors(building.points - middle, faces), axis=1).sum()

    known = {tuple(sorted(face)) for face in marked.tolist()}
    both = np.array([tuple(sorted(face)) in known for face in picked.tolist()])
    return np.array([area(picked), area(marked), area(picked[both])])


# The rest of Ingolstadt's dormers is a terrace, a floor in the open air by its mark; snow lies on it too.
@pytest.mark.parametrize(
    ("name", "precision", "recall"),
    [
        ("Zürich", 0.999, 0.99),
        ("The Hague", 0.999, 0.999),
        ("ladder", 0.999, 0.999),
        ("garage", 0.999, 0.999),
        ("hips", 0.999, 0.999),
        ("dormers", 0.92, 0.999),
    ],
)
def test_what_is_seen_from_above_is_what_the_city_calls_roof(name, precision, recall):
    """By area: all six files together have a precision of 0.998 and a recall of 0.998."""
    module, file, count = FILES[name]
    every = np.array([areas(building) for building in module.city_buildings(DATA / file)])
    picked, marked, both = every.sum(axis=0)
    assert len(every) == count
    assert both / picked > precision
    assert both / marked > recall
