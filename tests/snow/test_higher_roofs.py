"""A drift cannot lie on roof that stands higher than the wall that makes it, nor behind such roof."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import Point, Polygon, box

from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.snow import Asce16Site, AsceSite, EnSite, NbccSite, snow_cases
from roofmodel.snow.higher import Heights, below_top

TOP = 4.35  # of the flat wing [m]
SITES = [
    AsceSite(ground_snow=4000.0, risk_category="II", winter_wind=0.45, slippery=False),
    Asce16Site(ground_snow=4000.0, risk_category="II", slippery=False),
    EnSite(ground_snow=2400.0),
    EnSite(ground_snow=2400.0, annex_b=True),
    NbccSite(ground_snow=4000.0, associated_rain=200.0, importance="normal", slippery=False),
]


def rectangle(left, low, right, high):
    return np.array([(left, low), (right, low), (right, high), (left, high)], float)


def house():
    """Main roof of 36 degrees, its ridge at 4.65 m, above a flat porch at 3.0 m beside a flat wing."""
    parts = [RoofPart("gable", rectangle(-10, 0, 10, 4), np.radians([36.0, np.nan] * 2), eave_height=3.2)]
    parts.append(RoofPart("flat", rectangle(-10, -6, 0, 0), eave_height=3.0))
    return build_roof([*parts, RoofPart("flat", rectangle(0, -6, 8, 0), eave_height=TOP)])


def height(roof, zone):
    planes, place = roof.planes, shapely.get_coordinates(zone.polygon)
    normal, origin = planes.normal[zone.plane], planes.origin[zone.plane]
    return origin[2] - (place - origin[:2]) @ normal[:2] / normal[2]


@pytest.mark.parametrize("site", SITES, ids=lambda s: f"{s.standard}{getattr(s, 'annex_b', False) or ''}")
def test_no_drift_around_a_corner_lies_higher_than_the_wall(site):
    """West wall of the wing: its fan goes up the main roof as high as the wall, not over the ridge."""
    roof = house()
    steps = roof.steps
    assert (steps.start[:, 2] + steps.wall[:, 0]).max() == pytest.approx(TOP)
    zones = [z for c in snow_cases(roof, site).cases for z in c.zones if z.name.endswith("around a corner")]
    heights = {roof.planes.name[z.plane]: height(roof, z) for z in zones}
    assert max(z.max() for z in heights.values()) < TOP + 0.01
    south = next(i for i, name in enumerate(roof.planes.name) if name.startswith("S"))
    assert max(height(roof, z).max() for z in zones if z.plane == south) == pytest.approx(TOP, abs=0.01)
    assert not any(name.startswith("N") for name in heights)


def test_what_stands_higher_ends_a_patch_and_hides_what_lies_behind():
    """A plane that climbs 1 m in 2 m ends a patch where it is at the top; what is behind gets none."""
    wide = 5.0
    polygon = np.array([box(0, 0, 3, wide), box(3, 0, 5, wide), box(5, 0, 9, wide)], dtype=object)
    law = np.array([[0.0, 0.0, 0.0], [-1.5, 0.5, 0.0], [0.0, 0.0, 0.0]])  # the second from 0 to 1 m
    heights = Heights(polygon, law, np.array([0.0, 1.0, 0.0]))
    patch, foot = box(0, 0, 8, wide), Point(0.0, 1.0)

    def left(heights, patch, foot, top, but=-1):
        """What is left, the same alone and among others."""
        patches, feet = np.array([patch, box(50, 50, 51, 51)]), np.array([foot, Point(50, 50)])
        one, other = below_top(heights, patches, feet, np.array([top, 0.0]), np.array([but, -1]))
        assert other is patches[1]
        return one

    assert left(heights, patch, foot, 1.0) is patch
    assert left(heights, patch, foot, 0.6).area == pytest.approx(wide * (3.0 + 1.2), abs=0.01)
    assert left(heights, patch, foot, 0.6, but=1) is patch
    tower = Heights(polygon, np.array([[2.0, 0.0, 0.0], *law[[0, 2]]]), np.array([2.0, 0.0, 0.0]))
    assert left(tower, patch, foot, 1.0) is None  # it stands at the foot itself
    for angle in np.radians([30.0, 89.0]):  # its edge runs through the corner: what lies before it stays
        beyond = Polygon([(0, 0), (9, 0), 9.0 * np.array([np.cos(angle), np.sin(angle)])])
        beside = Heights(np.array([beyond]), np.array([[3.0, 0.0, 0.0]]), np.array([3.0]))
        fan = Point(0.0, 0.0).buffer(5.0, 90).intersection(box(0, 0, 5, 5))
        area = left(beside, fan, Point(0.0, 0.0), 1.0).area
        assert area == pytest.approx(12.5 * (np.pi / 2.0 - angle), abs=0.02)
    lane = box(0, 0, 8, wide + 1.0)  # a way past it is left open: nothing is hidden
    assert left(heights, lane, foot, 0.6).area == pytest.approx(8.0 * (wide + 1.0) - wide * 0.8, abs=0.01)


def test_snow_blows_around_small_roof_that_stands_higher():
    """A dormer 2 m wide takes its own place out of the drift, not what lies behind; a long one hides that."""
    patch, foot = box(0, 0, 8, 2), Point(0.0, 1.0)
    for long, left in ((2.0, 16.0 - 2.0 * 2.0), (6.0, 2.0 * 3.0)):  # the long one stands out of the patch
        polygon = np.array([box(3, 0, 5, long)], dtype=object)
        heights = Heights(polygon, np.array([[2.0, 0.0, 0.0]]), np.array([2.0]))
        (one,) = below_top(heights, np.array([patch]), np.array([foot]), np.array([1.0]), np.array([-1]))
        assert one.area == pytest.approx(left, abs=0.02)


def test_small_roof_hides_nothing_where_the_slope_it_stands_on_climbs_above_the_wall_far_behind():
    """The slope is higher than the wall from 11 m on: it once counted as one wide roof with its dormer."""
    patch, dormer = box(0, 3.2, 12, 4.8), box(3, 3, 5, 5)
    polygon = np.array([box(0, 0, 14, 8).difference(dormer), dormer], dtype=object)
    heights = Heights(polygon, np.array([[0.0, 0.1, 0.0], [2.0, 0.0, 0.0]]), np.array([1.4, 2.0]))
    (left,) = below_top(heights, np.array([patch]), np.array([Point(0, 4)]), np.array([1.1]), np.array([-1]))
    assert left.area == pytest.approx(1.6 * (12.0 - 2.0 - 1.0), abs=0.03)


@pytest.mark.parametrize("site", SITES, ids=lambda s: s.standard)
def test_a_drift_in_front_of_a_wall_ends_where_another_plane_rises_above_it(site):
    """Valley 0.5 m in front of the wing: the far side is drifted on up to 4.35 m, 1.35 m / tan 36 beyond."""
    gable = RoofPart("gable", rectangle(-8.5, -6, -0.5, 0), np.radians([np.nan, 36.0] * 2), eave_height=3.0)
    low = RoofPart("flat", rectangle(-0.5, -6, 0, 0), eave_height=3.0)
    roof = build_roof([gable, low, RoofPart("flat", rectangle(0, -6, 12, 0), eave_height=TOP)])
    far = roof.planes.name.index("E1")
    zones = [z for c in snow_cases(roof, site).cases for z in c.zones if z.plane == far]
    drift = [z for z in zones if "drift below F" in z.name and not z.name.endswith("around a corner")]
    west = min(shapely.bounds(z.polygon)[0] for z in drift)
    assert west == pytest.approx(-0.5 - 1.35 / np.tan(np.radians(36.0)), abs=0.01)
