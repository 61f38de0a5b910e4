"""Roof told from walls and floors by sight, beside the marks of city models."""

from __future__ import annotations

import numpy as np

from roofmodel.shape.cleaning import face_vectors
from roofmodel.shape.roof_faces import STEEPEST, pick_roof_faces
from roofmodel.shape.surfaces import ROOF, building_mesh, triangulate_surfaces


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
