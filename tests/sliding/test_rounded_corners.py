"""Corners that a file rounds: edges a hair off the fall line change nothing but a hair."""

from __future__ import annotations

import numpy as np
import pytest
from roofs import rectangle, rows, uniform

from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.shape.dormers import Dormer
from roofmodel.shape.recognition import recognize
from roofmodel.sliding.flow import NARROW
from roofmodel.sliding.thrust import slide

P = 2000.0
LENGTH, RUN, RISE = 24.6, 6.0, 4.4


FACES = np.array([[0, 1, 2], [0, 2, 3]])


def shed_corners(skew):
    high = 3.0 + RISE
    return np.array([[0.0, 0.0, 3.0], [LENGTH, 0.0, 3.0], [LENGTH + skew, RUN, high], [skew, RUN, high]])


def shed(skew):
    """One plane whose left and right ends lean by `skew` over the slope, to the same side. [m]."""
    return recognize(shed_corners(skew), FACES)


@pytest.mark.parametrize("skew", [-2e-6, 0.0, 2e-7, 1e-6, 2e-6, 4e-6, 2e-5])
def test_ends_a_hair_off_the_fall_line_change_nothing(skew):
    """Rows and levels meet such an end at places so close together that they count as one; none is lost."""
    roof = shed(skew)
    up = np.arange(0.2, 7.3, 0.5)
    layout = rows(roof, *({"plane": roof.planes.name[0], "up": f"{v:.1f} m"} for v in up))
    force = slide(roof, (uniform(roof, P),), layout)[1]
    slope, top = np.arctan2(RISE, RUN), np.hypot(RUN, RISE)
    line = P * np.cos(slope) * np.sin(slope) * np.diff(np.append(up, top))
    caught = -force.thrust[0, :, 1]
    per_row = np.bincount(force.row, caught)
    assert per_row == pytest.approx(line * LENGTH, rel=1e-5)
    assert force.balance.error.max() < 1e-9
    width = np.diff(force.span)[:, 0]
    wide = width > NARROW
    assert caught[wide] / width[wide] == pytest.approx(line[force.row[wide]], rel=1e-3)


@pytest.mark.parametrize("lean", [0.0, 9e-6, -9e-6, 8e-4, 4e-3])
def test_a_row_on_an_eave_a_hair_out_of_level_runs_along_all_of_it(lean):
    """A line through the lowest corner of such an eave leaves the plane beyond it."""
    corners = shed_corners(0.0)
    corners[1] += lean * np.array([0.0, RUN, RISE]) / np.hypot(RUN, RISE)
    roof = recognize(corners, FACES)
    layout = rows(roof, {"plane": roof.planes.name[0], "up": "0 m"})
    assert layout.row_length[0] > LENGTH - 0.1
    force = slide(roof, (uniform(roof, P),), layout)[1]
    total = P * roof.planes.plan_area[0] * np.sin(roof.planes.slope[0])
    assert -force.thrust[0, :, 1].sum() == pytest.approx(total, rel=2e-3)


@pytest.mark.parametrize("hair", [0.0, 2.4e-7, 7e-6, 1e-3])
def test_stream_of_a_valley_arrives_over_a_width(hair):
    """A strip a hair wide below a dormer's corner takes no stream: no meter of row gets millions."""
    gable = RoofPart("gable", rectangle(20.0, 12.0), np.radians([40.0, np.nan, 40.0, np.nan]), 3.0)
    roof = build_roof([gable], [Dormer("S1", 10.0, 2.5, 3.0, 1.2, np.radians(30.0), "gable")])
    side = {"plane": "S1", "up": "1.5 m"}  # its end makes the strip; the cheeks stand at 8.5 m and 11.5 m
    layout = rows(
        roof,
        {"plane": "S1", "up": "0.5 m"},
        {**side, "end": f"{8.5 - hair:.7f} m"},
        {**side, "start": f"{11.5 + hair:.7f} m"},
    )
    force = slide(roof, (uniform(roof, P),), layout)[1]
    per_meter = -force.thrust[0, :, 1] / np.diff(force.span)[:, 0]
    slope = np.radians(40.0)
    assert per_meter.max() < 10.0 * P * np.sin(slope) * 6.0
    assert force.balance.error.max() < 1e-9
