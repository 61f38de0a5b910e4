"""Drifts and slides that meet act at once: ASCE/SEI 7 7.7.1, 7.7.3, 7.9; NBCC 2020 4.1.6.8, 4.1.6.11."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shapely import Polygon, contains_xy
from shapely import box as rectangle
from shapely.affinity import rotate
from snow_roofs import assemble, court, named, plane_force, pressure

from roofmodel.project.obstacle_schema import ObstructionTable, ParapetTable
from roofmodel.project.obstacles import place_obstacles
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.snow import Asce16Site, AsceSite, NbccSite, snow_cases
from roofmodel.snow.cases import Zone
from roofmodel.snow.envelope import larger
from roofmodel.snow.patches import spread
from roofmodel.snow.regions import roof_plan
from roofmodel.units import SI

ASCE = AsceSite(ground_snow=2000.0, risk_category="II", winter_wind=0.5, slippery=True)
ASCE16 = Asce16Site(ground_snow=2000.0, risk_category="II", slippery=True)
NBCC = NbccSite(ground_snow=2000.0, associated_rain=200.0, importance="normal", slippery=True)
SITES = [ASCE, ASCE16, NBCC]
SHORT, LONG, WALL = 5.0, 30.0, 4.0


def unlike_corner():
    """Inner corner: a deep roof behind the north wall, a shallow one behind the east wall, room before it."""
    faces = [
        [(0, 12, WALL), (LONG, 12, WALL), (LONG, 52, WALL), (0, 52, WALL)],
        [(LONG, 0, WALL), (LONG + SHORT, 0, WALL), (LONG + SHORT, 12, WALL), (LONG, 12, WALL)],
        [(0, 0, 0), (LONG, 0, 0), (LONG, 12, 0), (0, 12, 0)],
    ]
    joints = [
        (2, 0, (LONG, 12, 0.0), (0, 12, 0.0), (WALL, WALL), 0.0),
        (2, 1, (LONG, 0, 0.0), (LONG, 12, 0.0), (WALL, WALL), 0.0),
    ]
    return assemble(faces, ("F1", "F2", "F3"), joints)


@pytest.mark.parametrize("site", [ASCE, ASCE16], ids=lambda s: s.standard)
def test_leeward_at_one_wall_meets_windward_at_the_other(site):
    """Wind toward the south-east: leeward below the deep roof, windward at the shallow one (7.7.1)."""
    roof = unlike_corner()
    snow = snow_cases(roof, site)
    lee, wind = named(snow, "leeward drift below F1"), named(snow, "windward drift at F2")
    both = named(snow, "drifts together")
    north, east = (15.0, 12.0 - 1e-9), (LONG - 1e-9, 2.0)
    for case, place in ((lee, north), (wind, east)):
        assert pressure(both, 2, place) == pytest.approx(pressure(case, 2, place), rel=1e-6)
    flat = plane_force(roof, snow.cases[0])[2]
    extra = [plane_force(roof, case)[2] - flat for case in (lee, wind, both)]
    assert extra[2] > 1.1 * max(extra[:2])
    assert extra[2] < sum(extra[:2])  # the larger in the corner, not the sum


def walled_flat(*edges, box=False):
    """House to the north, 8 m; roof of 30 x 20 m at 4 m with parapets of 1.5 m on some edges, and a box."""
    house = np.array([[0.0, 20.0], [30.0, 20.0], [30.0, 40.0], [0.0, 40.0]])
    low = np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 20.0], [0.0, 20.0]])
    roof = build_roof([RoofPart("flat", house, np.zeros(0), 8.0), RoofPart("flat", low, np.zeros(0), 4.0)])
    plane = int(roof.steps.lower[0])
    middle = 0.5 * (roof.edges.start + roof.edges.end)[:, :2]
    own = np.flatnonzero((roof.edges.plane == plane).any(axis=1))
    centers = roof.planes.to_world(plane, np.array(roof.planes.outline[plane].centroid.coords))[:, :2]
    names = [roof.edges.name[own[np.argmax((middle[own] - centers) @ np.array(way))]] for way in edges]
    parapets = [ParapetTable.model_validate({"edge": name, "height": "1.5 m"}) for name in names]
    boxes = [
        ObstructionTable.model_validate(
            {"name": "plant", "plane": roof.planes.name[plane], "across": "15 m", "up": "15 m"}
            | {"width": "6 m", "depth": "5 m", "height": "2 m"}
        )
    ]
    return replace(roof, obstacles=place_obstacles(roof, parapets, boxes if box else [], SI)), plane


@pytest.mark.parametrize("site", SITES, ids=lambda s: s.standard)
@pytest.mark.parametrize(
    ("edges", "box", "words"),
    [
        ([(1.0, 0.0)], False, "walls facing S, at parapet"),
        ([(1.0, 0.0), (0.0, -1.0)], False, "walls facing S, at parapet"),
        ([], True, "walls facing S, at plant"),
    ],
)
def test_walls_parapets_and_boxes_that_touch_act_at_once(site, edges, box, words):
    """The larger of all at every point, and no single case reaches it."""
    roof, plane = walled_flat(*edges, box=box)
    snow = snow_cases(roof, site)
    (both,) = [case for case in snow.cases if case.name.startswith("drifts together")]
    assert words in both.notes[0]
    alone = [
        case
        for case in snow.cases
        if case.name.startswith(("drift below", "drift at", "leeward drift", "windward drift"))
    ]
    points = np.random.default_rng(3).uniform([0.0, 0.0], [30.0, 20.0], (400, 2))
    found = [
        case for case in alone if plane_force(roof, case)[plane] > plane_force(roof, snow.cases[0])[plane]
    ]
    each = np.max([pressure(case, plane, *points) for case in found], axis=0)
    assert pressure(both, plane, *points) == pytest.approx(each, rel=1e-9)
    weight = [plane_force(roof, case)[plane] for case in (both, *found)]
    assert weight[0] > 1.01 * max(weight[1:])


@pytest.mark.parametrize("site", SITES, ids=lambda s: s.standard)
def test_two_roofs_that_shed_into_one_corner_do_so_at_once(site):
    """0.4 p_f W (7.9), or half of each upper slope (4.1.6.11), from both: the slides add."""
    roof = court()
    snow = snow_cases(roof, site)
    base = plane_force(roof, snow.cases[0])[2]
    singles = [c for c in snow.cases if c.name.startswith(("sliding from S1", "sliding from W1"))]
    assert len(singles) == 2
    if site is NBCC:
        both = named(snow, "drifts together")
        bare = [c for c in snow.cases if c.name.startswith("drift below")]
        slid = sum(
            plane_force(roof, c)[2] - plane_force(roof, d)[2] for c, d in zip(singles, bare, strict=True)
        )
        zones = [z for z in both.zones if z.name.startswith("snow that slid")]
        whole = plane_force(roof, replace(both, zones=tuple(zones)))[2]
        assert whole == pytest.approx(slid, rel=1e-9)
        assert plane_force(roof, both)[2] > max(plane_force(roof, c)[2] for c in singles) + 0.4 * slid
    else:
        both = named(snow, "sliding from all upper roofs")
        slid = sum(plane_force(roof, c)[2] - base for c in singles)
        assert plane_force(roof, both)[2] - base == pytest.approx(slid, rel=1e-9)


@pytest.mark.parametrize("site", SITES, ids=lambda s: s.standard)
def test_drifts_far_apart_stay_apart(site):
    roof, _ = walled_flat((0.0, -1.0))
    assert not [c for c in snow_cases(roof, site).cases if c.name.startswith("drifts together")]


@pytest.mark.parametrize("tied", [True, False])
def test_of_many_patches_the_larger_lies_at_every_point_once(tied):
    """Against the maximum over all patches, point by point."""
    random = np.random.default_rng(7)
    zones = []
    for number in range(30):
        low = random.uniform(0.0, 10.0, 2)
        law = np.array([100.0 * random.integers(1, 4), 0.0, 0.0])
        if not tied:
            law[1:] = random.uniform(-10.0, 10.0, 2)
        zones.append(Zone(str(number), 0, rectangle(*low, *(low + random.uniform(1.0, 5.0, 2))), law, "", ""))
    points = random.uniform(0.0, 15.0, (4000, 2))

    def there(some):
        inside = np.array([contains_xy(zone.polygon, *points.T) for zone in some])
        value = np.array([zone.pressure[0] + points @ zone.pressure[1:] for zone in some])
        return np.where(inside, value, -np.inf), inside.sum(axis=0)

    kept = larger(zones)
    wanted, count = there(zones)
    found, once = there(kept)
    assert found.max(axis=0) == pytest.approx(wanted.max(axis=0))
    assert (once == np.minimum(count, 1)).all()


def test_a_patch_that_begins_at_the_wall_of_a_hole_is_cut_rightly():
    """From a real roof: without a grid what both share comes out as -1.21 m2, and the snow is lost."""
    corner, wall = (-0.8130000000000003, 3.948), (0.40999999999999914, 3.618)
    far = [(1.712556666052322, 8.44535394721815), (0.4895566660523224, 8.77535394721815)]
    patch = Polygon([corner, wall, *far])
    hole = [corner, (0.4099999999999991, 3.618), (0.13199999999999923, 2.596), (-1.092, 2.9169999999999994)]
    rim = [(3.3845289999999975, 2.9572660000000006), (-3.3689729999999987, 4.721993)]
    plane = Polygon([*rim, (-2.0998809999999994, 2.3309139999999995)], [hole])
    square = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)]
    whole = roof_plan(build_roof([RoofPart("flat", square, eave_height=3.0)]))
    plan = replace(whole, polygon=(plane,))
    parts = spread(plan, [Zone("", 0, patch, np.array([1000.0, 0.0, 0.0]), "", "")])
    turned = rotate(patch, 30.0, (0.0, 0.0)).intersection(rotate(plane, 30.0, (0.0, 0.0)))
    assert sum(zone.polygon.area for zone in parts) == pytest.approx(turned.area, rel=1e-6)
    assert turned.area == pytest.approx(0.1364306840, rel=1e-6)
