"""Outlines that touch in lines and points leave more than polygons behind; none of it may stop a roof."""

import numpy as np
from shapely import GeometryCollection, LineString, box

from roofmodel.shape.covering import _opened
from roofmodel.shape.envelopes import areal


def test_polygons_of_a_mixed_overlay_are_kept():
    mixed = GeometryCollection([box(0, 0, 4, 3), LineString([(4, 0), (9, 0)])])
    assert np.isclose(_opened(mixed).area, 12.0)
    assert np.isclose(areal(mixed).area, 12.0)
