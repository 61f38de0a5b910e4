"""Where walls are held: at both ends around a cell, at every fold, whatever the thicknesses and radii."""

import numpy as np
import pytest
import shapely
from shapely import affinity, box

from fea.sections.effective import effective
from roofmodel.hardware import DesignFormat, Material
from roofmodel.profiles.properties import profile_of
from roofmodel.profiles.walls import walls_of

METAL = Material("aluminum", 70e9, 27e9, 23e-6, 2700.0, 250e6)


def cell(base=4.0, side=1.6, outer=0.0, inner=0.0):
    """36 x 46 mm, one base, three other walls alike. [mm]."""
    shell, hole = box(0, 0, 36, 46), box(side, base, 36 - side, 46 - side)
    return shell.buffer(-outer).buffer(outer) - hole.buffer(-inner).buffer(inner)


@pytest.mark.parametrize("base", [1.2, 1.6, 2.5, 3.0, 4.0, 4.8])
@pytest.mark.parametrize(("outer", "inner"), [(0, 0), (0.5, 0.5), (1, 0.5), (3, 1), (4, 1)])
def test_every_wall_of_a_cell_is_held_at_both_ends(base, outer, inner):
    found = walls_of(cell(base, 1.6, outer, inner))
    assert len(found.thickness) == 4
    assert found.known
    assert not found.free.any()
    for turn, size in ((37.0, 1e-3), (90.0, 20.0)):
        moved = affinity.scale(affinity.rotate(cell(base, 1.6, outer, inner), turn), size, size)
        other = walls_of(moved)
        assert not other.free.any()
        np.testing.assert_allclose(np.sort(other.width), size * np.sort(found.width), rtol=1e-6)


@pytest.mark.parametrize("base", [1.6, 2.5, 4.0])
def test_a_thicker_base_never_weakens_a_cell(base):
    """The side wall governs: flat 46 - 1.6 - base by EN 1999-1-1 6.1.5, class B, held at both ends."""
    profile = profile_of(affinity.scale(cell(base), 1e-3, 1e-3, origin=(0, 0)), 0.33, "cell")
    beta = (46.0 - 1.6 - base) / 1.6
    own = 29.0 / beta - 198.0 / beta**2
    assert effective(profile, METAL, DesignFormat.EN).share[0] == pytest.approx(own, rel=1e-3)


def test_a_wall_between_two_cells_is_held():
    two = box(0, 0, 60, 40) - box(1, 1, 28, 39) - box(32, 1, 59, 39)  # a middle wall of 4, others of 1
    assert not walls_of(two).free.any()


@pytest.mark.parametrize("web", [1.0, 1.6, 2.9])
def test_a_thick_web_between_thin_flanges_is_held_and_they_are_outstands(web):
    channel = box(0, 0, 30, 60) - box(web, 1, 30, 59)
    found = walls_of(channel)
    up = np.abs((found.end - found.start)[:, 1]) > 30
    assert found.free[up].sum() == 0
    assert (found.free[~up].sum(axis=1) == 1).all()


def test_legs_of_an_angle_keep_their_free_edges():
    for thick in (1.0, 1.5, 2.9):
        angle = shapely.union(box(0, 0, 1, 40), box(0, 0, 30, thick))
        np.testing.assert_array_equal(walls_of(angle).free.sum(axis=1), 1)


def test_the_end_of_a_wall_is_free_however_it_is_rounded():
    for radius in (0.0, 0.4, 0.999):
        flat = box(0, 0, 40, 2).buffer(-radius).buffer(radius)
        np.testing.assert_array_equal(walls_of(flat).free, [[True, True]])
