"""Snow above a dormer runs down the valleys on both sides and on to the row below it; nothing is lost."""

from __future__ import annotations

import numpy as np
import pytest
from roofs import rectangle, rows, turned, uniform

from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.shape.dormers import Dormer
from roofmodel.sliding.thrust import slide

P = 2000.0
SLOPE = np.radians(40.0)
WIDTH, HEIGHT, PITCH = 3.0, 1.2, np.radians(30.0)


def dormered(kind, across, angle):
    part = RoofPart(
        "gable",
        turned(rectangle(16.0, 12.0), angle, (5.0, -3.0)),
        np.radians([40.0, np.nan, 40.0, np.nan]),
        3.0,
    )
    planes = build_roof([part]).planes
    first = part.footprint[1] - part.footprint[0]  # the eave that faces south before the turn
    outward = np.array([first[1], -first[0]])
    main = planes.name[int(np.argmin(planes.upslope[:, :2] @ outward))]
    dormer = Dormer(main, across, 2.0, WIDTH, HEIGHT, PITCH, kind)
    return build_roof([part], [dormer]), main


@pytest.mark.parametrize("angle", np.radians([0.0, 33.0, 90.0, 211.0]))
@pytest.mark.parametrize("across", [6.0, 2.2])
@pytest.mark.parametrize("kind", ["gable", "hip"])
def test_valleys_at_a_dormer_reach_the_row_below(kind, across, angle):
    """The row gets all of its plane but the strip below it, and what the dormer sheds into the valleys."""
    roof, main = dormered(kind, across, angle)
    layout = rows(roof, {"plane": main, "up": "0.3 m"})
    force = slide(roof, (uniform(roof, P),), layout)[1]
    assert force.balance.error.max() < 1e-12
    left = {roof.edges.name[e]: w for e, w in zip(force.exit_edge, force.exit_weight[0], strict=True)}
    assert not [name for name in left if "valley" in name]
    number = roof.planes.name.index(main)
    eave = 0.3 * np.cos(SLOPE) * 16.0
    # What lies up the slope from the ends of the dormer's eaves runs into the valleys.
    own = P * (roof.planes.plan_area[number] - eave)
    ridge = (HEIGHT + 0.5 * WIDTH * np.tan(PITCH)) / np.tan(SLOPE)
    cheek = HEIGHT / np.tan(SLOPE)
    beyond = 0.5 * (ridge - cheek) * WIDTH
    if kind == "hip":  # its front slope runs a little past the cheeks
        beyond -= (0.5 * WIDTH - cheek) ** 2
    assert force.weight[0].sum() == pytest.approx(own + P * beyond, rel=1e-6)


def test_both_sides_of_a_dormer_get_the_same():
    roof, main = dormered("gable", 8.0, 0.0)
    layout = rows(roof, {"plane": main, "up": "0.3 m"})
    force = slide(roof, (uniform(roof, P),), layout)[1]
    middle = force.span.mean(axis=1)
    thrust = -force.thrust[0, :, 1]
    assert thrust[middle < 8.0].sum() == pytest.approx(thrust[middle > 8.0].sum(), rel=1e-9)
    shadow = np.abs(middle - 8.0) < 0.5 * WIDTH - 0.6
    open_run = middle < 3.0
    width = np.diff(force.span, axis=1)[:, 0]
    assert thrust[shadow].sum() / width[shadow].sum() < 0.3 * thrust[open_run].sum() / width[open_run].sum()
