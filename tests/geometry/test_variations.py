"""The given real files in other dress: the same roof must be understood.

What was read from each file is written anew in another unit, axis, place, order or division, and read again:
planes, edges of each kind and areas stay.
"""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapes import shuffled, subdivided, turned

from roofmodel.errors import InputError
from roofmodel.shape.cityjson import building_ids
from roofmodel.shape.importing import ReadOptions, import_roof, read_raw
from roofmodel.shape.planes import plan_polygons

DATA = Path(__file__).parents[1] / "data"
SENTIER = DATA.parents[1] / "models" / "sentier-house" / "zurich_lod2_25_buildings.city.json"
HAGUE = DATA / "roofs" / "denhaag_4_buildings_lod2.city.json"
ZURICH = DATA / "roofs" / "zurich_3_buildings.city.json"
SHARED = DATA / "roofs_sharealike"
FEET = 0.3048


def ids(path):
    return building_ids(json.loads(path.read_text())["CityObjects"])


FILES = {
    **{f"hague {n[-4:]}": (HAGUE, n) for n in ids(HAGUE)},
    **{f"zurich {n[-4:]}": (ZURICH, n) for n in ids(ZURICH)},
    "ladder": (DATA / "roofs" / "gable_ladder_100_citygml3.gml", "all"),
    "garage": (DATA / "roofs" / "building_and_garage_lod2_citygml2.gml", None),
    "open house": (DATA / "roofs" / "IfcOpenHouse_ifc4.ifc", None),
    "hips and valleys": (SHARED / "ingolstadt_4018149a_hip_valley_lod3.gml", None),
    "dormers": (SHARED / "ingolstadt_4018258_dormers_lod3.gml", None),
}
MORE = {f"city {n[-4:]}": (SENTIER, n) for n in ids(SENTIER)}


def raw_mesh(name):
    path, building = {**FILES, **MORE}[name]
    if path.suffix == ".ifc":
        pytest.importorskip("ifcopenshell")
    raw = read_raw(path, ReadOptions(building=building))
    used, faces = np.unique(raw.faces, return_inverse=True)
    points = raw.points[used]
    return points - points.mean(axis=0).round(-1), faces.reshape(-1, 3)


def in_another_order(points, faces):
    return shuffled(points, faces, 3)


def twice(points, faces):
    return points, np.vstack([faces, faces[:, ::-1]])


def with_corners_on_edges(points, faces):
    """Every other triangle divided in four, so that corners stand on their neighbors' edges."""
    chosen = np.random.default_rng(5).random(len(faces)) < 0.5
    more, parts = subdivided(points, faces[chosen], 1)
    return more, np.vstack([faces[~chosen], parts])


def loose(points, faces):
    """Every triangle with corners of its own."""
    return points[faces].reshape(-1, 3), np.arange(3 * len(faces)).reshape(-1, 3)


def beside_itself(points, faces):
    gap = np.ptp(points[:, 0]) + 2.0
    return np.vstack([points, points + np.array([gap, 0.0, 0.0])]), np.vstack([faces, faces + len(points)])


def y_up(points):
    return points[:, [0, 2, 1]] * [1.0, 1.0, -1.0]


DRESS = {
    "as it is": (lambda p, f: (p, f), "m", "z"),
    "millimeters": (lambda p, f: (1e3 * p, f), "mm", "z"),
    "centimeters": (lambda p, f: (1e2 * p, f), "cm", "z"),
    "feet, y up": (lambda p, f: (y_up(p) / FEET, f), "ft", "y"),
    "turned": (lambda p, f: (turned(p, 0.65), f), "m", "z"),
    "map": (lambda p, f: (p + np.array([2.6e6, 1.2e6, 400.0]), f), "m", "z"),
    "order": (in_another_order, "m", "z"),
    "twice": (twice, "m", "z"),
    "divided": (lambda p, f: subdivided(p, f, 2), "m", "z"),
    "corners on edges": (with_corners_on_edges, "m", "z"),
    "loose": (loose, "m", "z"),
    "beside itself": (beside_itself, "m", "z"),
}


def seen(folder, points, faces, unit, up):
    lines = [f"v {x:.13g} {y:.13g} {z:.13g}" for x, y, z in points.tolist()]
    lines += [f"f {a} {b} {c}" for a, b, c in (faces + 1).tolist()]
    path = folder / "dressed.obj"
    path.write_text("\n".join(lines))
    return import_roof(path, unit=unit, up=up)


def kinds(roof, least=0.05):
    """Number of edges of each kind; shorter ones may come and go with rounding."""
    pairs = zip(roof.edges.kind, roof.edges.length, strict=True)
    return Counter(kind.value for kind, length in pairs if length > least)


def lengths_by_kind(roof):
    total = Counter()
    for kind, length in zip(roof.edges.kind, roof.edges.length, strict=True):
        total[kind.value] += float(length)
    return total


def covered(roof):
    """Area on plan that has a roof. [m2]."""
    return shapely.union_all(plan_polygons(roof.planes), grid_size=1e-3).area


def both(folder, name, dress):
    points, faces = raw_mesh(name)
    change, unit, up = DRESS[dress]
    plain = seen(folder, points, faces, "m", "z")
    return plain, seen(folder, *change(points, faces), unit, up), 2 if dress == "beside itself" else 1


def check(folder, name, dress):
    plain, found, times = both(folder, name, dress)
    assert found.planes.count == times * plain.planes.count
    assert found.planes.plan_area.sum() == pytest.approx(times * plain.planes.plan_area.sum(), rel=1e-4)
    slopes = np.sort(np.repeat(plain.planes.slope, times))
    assert np.sort(found.planes.slope) == pytest.approx(slopes, abs=1e-3)
    assert kinds(found) == Counter({k: times * n for k, n in kinds(plain).items()})
    ours, theirs = lengths_by_kind(found), lengths_by_kind(plain)
    for kind in theirs:
        assert ours[kind] == pytest.approx(times * theirs[kind], rel=2e-3, abs=0.1)


OTHERS = [one for one in DRESS if one != "as it is"]
# Bays and scraps below 0.5 m2 join others by their triangles; outlines with a cut of no width.
RAGGED = {"zurich b1bb", "zurich 7649", "dormers"}


# A large file: two dresses that change numbers, and two that change how its triangles hang together.
QUICK = {"feet, y up", "turned", "twice", "corners on edges"}
SAME = [
    pytest.param(name, dress, marks=pytest.mark.slow if name == "ladder" and dress not in QUICK else ())
    for name in FILES
    if name not in RAGGED
    for dress in OTHERS
]


@pytest.mark.parametrize(("name", "dress"), SAME)
def test_the_same_roof_in_other_dress(tmp_path, name, dress):
    check(tmp_path, name, dress)


@pytest.mark.slow
@pytest.mark.parametrize("dress", OTHERS)
@pytest.mark.parametrize("name", [*MORE, *sorted(RAGGED)])
def test_a_whole_city_in_other_dress(tmp_path, name, dress):
    """Nothing is lost, and all large planes stay; once 16 m2 of a slope went without a word."""
    plain, found, times = both(tmp_path, name, dress)
    assert covered(found) == pytest.approx(times * covered(plain), rel=2e-3)
    sizes = [np.sort(roof.planes.true_area)[::-1] for roof in (plain, found)]
    large = np.repeat(sizes[0][sizes[0] > 8.0], times)
    assert sizes[1][: len(large)] == pytest.approx(large, rel=0.03, abs=0.2)


def test_a_slope_that_dormers_cut_in_two_is_kept_whole(tmp_path):
    """The same, of the building where it happened."""
    plain, found, _ = both(tmp_path, "zurich b1bb", "corners on edges")
    assert covered(found) == pytest.approx(covered(plain), rel=1e-3)


def test_a_flat_roof_with_caps_is_not_taken_for_the_ground(tmp_path):
    """A plate of 400 m2 around caps of 6 m2 was left out as ground once a scrap below them was hidden."""
    square = np.array([[0, 0, 0], [20, 0, 0], [20, 20, 0], [0, 20, 0]], dtype=float)
    cap = square * 0.1 + [9.0, 9.0, 1.5]
    walls = [[4, 5, 8], [5, 9, 8]]
    points = np.vstack([square, cap, cap - [0, 0, 1.5]])
    with pytest.raises(InputError, match="a flat roof with something on it"):
        seen(tmp_path, points, np.array([[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7], *walls]), "m", "z")
    bare = np.vstack([square, cap, [[9.1, 9.1, -0.5], [9.4, 9.1, -0.5], [9.1, 9.4, -0.5]]])
    roof = seen(tmp_path, bare, np.array([[0, 1, 2], [0, 2, 3], [4, 5, 6], [4, 6, 7], [8, 9, 10]]), "m", "z")
    assert roof.planes.plan_area.sum() == pytest.approx(400.0)
    assert roof.obstacles.height == pytest.approx([1.5])  # the cap stands on it
