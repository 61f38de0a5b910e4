"""What zones and cells share, and how far a roof runs behind a line, against closed forms and overlays."""

import numpy as np
import pytest
import shapely
from shapely import MultiPolygon, Point, Polygon

from roofmodel.snow.fetches import _over, fetch
from roofmodel.snow.sharing import shared_moments

RING = Point(0.0, 0.0).buffer(5.0).difference(Point(0.0, 0.0).buffer(2.0))
ELL = Polygon([(0, 0), (6, 0), (6, 2), (2, 2), (2, 5), (0, 5)])
SHAPES = np.array([RING, ELL, MultiPolygon([ELL, shapely.box(-4, -4, -1, -1)]), ELL.reverse()], dtype=object)


def trapezoids(seed, count):
    """Convex polygons of four sides, some with two corners in one place, either way round."""
    rng = np.random.default_rng(seed)
    x = np.sort(rng.uniform(-5.0, 5.0, (count, 2)), axis=1)
    y = rng.uniform(-5.0, 5.0, (count, 2))
    up = rng.uniform(0.1, 3.0, (count, 2)) * np.where(np.arange(count)[:, None] % 3 == 0, [1.0, 0.0], 1.0)
    corners = np.stack([x[:, [0, 1, 1, 0]], np.column_stack([y, (y + up)[:, ::-1]])], axis=2)
    corners[::2] = corners[::2, ::-1]
    return np.asarray(shapely.polygons(corners))


def pairs(shapes, cells):
    """Every shape with every cell."""
    return tuple(grid.ravel() for grid in np.indices((len(shapes), len(cells))))


@pytest.mark.parametrize("seed", range(3))
def test_what_is_shared_is_what_an_overlay_gives(seed):
    cells = trapezoids(seed, 60)
    which, on = pairs(SHAPES, cells)
    area, moment = shared_moments(SHAPES, cells, (which, on))
    both = shapely.intersection(SHAPES[which], cells[on])
    center = np.array([part.centroid.coords[0] if part.area else (0.0, 0.0) for part in both])
    assert area == pytest.approx(shapely.area(both), abs=1e-9)
    assert moment == pytest.approx(shapely.area(both)[:, None] * center, abs=1e-8)
    assert area.max() > 1.0


def test_cells_without_gaps_share_all_of_a_shape():
    edges = np.linspace(-7.0, 7.0, 15)
    cells = np.array([shapely.box(a, b, a + 1, b + 1) for a in edges[:-1] for b in edges[:-1]], dtype=object)
    which, on = pairs(SHAPES, cells)
    area, moment = shared_moments(SHAPES, cells, (which, on))
    assert np.bincount(which, area) == pytest.approx(shapely.area(SHAPES), rel=1e-12)
    for axis, center in enumerate(shapely.get_coordinates(shapely.centroid(SHAPES)).T):
        total = np.bincount(which, moment[:, axis])
        assert total == pytest.approx(shapely.area(SHAPES) * center, abs=1e-10)


def test_a_cell_in_the_corner_of_its_plane_shares_no_more_than_itself():
    # Two corners less than a rounding apart, as strips leave them at an oblique eave.
    cell = Polygon([(0.0, 0.0), (0.065, 0.52), (0.065, 0.52 + 1e-16), (-0.95, -0.22)])
    plane = Polygon([(0.065, 0.52), (-3.0, -1.714), (0.0, -4.0), (3.0, 0.0)])
    area, _ = shared_moments(
        np.array([plane], dtype=object), np.array([cell], dtype=object), (np.zeros(1, int), np.zeros(1, int))
    )
    assert area[0] <= cell.area * (1.0 + 1e-12)
    assert area[0] == pytest.approx(shapely.intersection(plane, cell, grid_size=1e-9).area, abs=1e-7)


def test_polygons_that_are_not_convex_are_overlaid():
    area, moment = shared_moments(
        np.array([RING], dtype=object), np.array([ELL], dtype=object), (np.zeros(1, int), np.zeros(1, int))
    )
    both = RING.intersection(ELL)
    assert area[0] == pytest.approx(both.area, abs=1e-8)
    assert moment[0] == pytest.approx(both.area * np.array(both.centroid.coords[0]), abs=1e-7)


def test_a_cell_that_touches_its_plane_along_a_line_besides_shares_the_rest():
    """Overlays leave such a line beside the polygons (a crash of framing below a dormer's corner)."""
    mixed = shapely.GeometryCollection(
        [shapely.box(-4.0, 0.0, -1.0, 1.0), shapely.LineString([(1, 1), (2, 1)])]
    )
    one = np.zeros(1, int)
    area, moment = shared_moments(np.array([RING], dtype=object), np.array([mixed], dtype=object), (one, one))
    both = RING.intersection(shapely.box(-4.0, 0.0, -1.0, 1.0))
    assert area[0] == pytest.approx(both.area, abs=1e-8)
    assert moment[0] == pytest.approx(both.area * np.array(both.centroid.coords[0]), abs=1e-7)


def test_rays_run_over_a_roof_as_far_as_its_outline_says():
    turn = np.radians(37.0)
    way = np.array([np.cos(turn), np.sin(turn)])
    foot = np.array([-9.0, -5.0]) + np.linspace(0.0, 9.0, 40)[:, None] * [-way[1], way[0]]
    ways = np.array([way if k % 2 else -way for k in range(len(SHAPES))])
    feet = np.array([foot if k % 2 else foot + 40.0 * way for k in range(len(SHAPES))])
    shape, ray, near, far = _over(SHAPES, feet, ways)
    lines = shapely.linestrings(np.stack([foot, foot + 40.0 * way], axis=1))
    length = shapely.length(shapely.intersection(SHAPES[:, None], lines[None]))
    found = np.zeros_like(length)
    np.add.at(found, (shape, ray), far - near)
    assert found == pytest.approx(length, abs=1e-9)
    assert length.max() > 5.0


def test_a_fetch_ends_at_a_court_and_begins_at_the_line():
    court = shapely.box(0, 0, 10, 30).difference(shapely.box(2, 8, 8, 12))
    start, end, up = np.array([3.0, 0.0]), np.array([7.0, 0.0]), np.array([0.0, 1.0])
    assert fetch(court, start, end, up) == pytest.approx(8.0)
    assert fetch(court, np.array([0.5, 0.0]), np.array([9.5, 0.0]), up) == pytest.approx(30.0)
    assert fetch(court, start - [0, 1], end - [0, 1], up) == 0.0
    assert fetch(court, start - [0, 1], end - [0, 1], up, gap=1.0) == pytest.approx(8.0)
