"""A picked roof understood: its planes, edges and steps, and what stands on them."""

from __future__ import annotations

import numpy as np

from roofmodel.shape.recognition import recognize
from roofmodel.shape.roof_faces import RoofFaces
from roofmodel.shape.uprights import with_narrow, with_uprights
from roofmodel.surface import RoofSurface

ANGLE, TOLERANCE = np.radians(3.0), 0.03  # [rad, m]


def understood(
    picked: RoofFaces,
    angle_tolerance: float = ANGLE,
    distance_tolerance: float = TOLERANCE,
    boxes: bool = True,
) -> RoofSurface:
    """Recognize a roof with the chimneys, screens and parapets that its model shows.

    Parameters
    ----------
    picked : RoofFaces
    angle_tolerance, distance_tolerance, boxes
        See `recognize`. [rad, m]

    Returns
    -------
    RoofSurface

    Raises
    ------
    InputError
    """
    roof = recognize(
        picked.points,
        picked.faces,
        offset=picked.offset,
        notes=picked.notes,
        angle_tolerance=angle_tolerance,
        distance_tolerance=distance_tolerance,
        ground=picked.ground,
        boxes=boxes,
        memory=picked.memory,
    )
    return with_narrow(with_uprights(roof, picked.points, picked.walls, boxes))
