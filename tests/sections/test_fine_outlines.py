"""Outlines of very many corners: the same rail as with few, or one line that says why not."""

import numpy as np
import pytest
import shapely
from shapely import Polygon, affinity, box

from fea.sections.effective import effective
from roofmodel.errors import InputError
from roofmodel.hardware import DesignFormat
from roofmodel.profiles.chains import _crossed
from roofmodel.profiles.mesh import triangles
from roofmodel.profiles.plates import ROUNDED, faces_of
from roofmodel.profiles.properties import profile_of
from roofmodel.profiles.walls import walls_of
from tests.sections.built_sections import matched, moved
from tests.sections.test_tapered_walls import METAL, share_by_hand


def finely(corners):
    """80 x 60 x 2 mm box, corners rounded by 4 mm inside, drawn with about so many corners. [m]."""
    arc = corners // 16
    outer = box(0, 0, 80, 60).buffer(-6).buffer(6, quad_segs=arc)
    inner = box(2, 2, 78, 58).buffer(-4).buffer(4, quad_segs=arc)
    rings = [shapely.segmentize(r.exterior, 4.0 * r.length / corners).coords for r in (outer, inner)]
    return moved(Polygon(rings[0], [rings[1]]), 27.0, 1e-3)


@pytest.mark.parametrize("corners", [3000, 10_000])
def test_a_rail_drawn_finely_is_the_rail(corners):
    plain, fine = profile_of(finely(300)), profile_of(finely(corners))
    assert shapely.get_num_coordinates(fine.outline) <= 2001 < shapely.get_num_coordinates(finely(corners))
    np.testing.assert_allclose(np.sort(fine.walls.width), np.sort(plain.walls.width), rtol=2e-3)
    np.testing.assert_allclose(fine.walls.thickness, 2e-3, rtol=1e-3)
    for name in ("area", "I_y", "I_z", "J", "W_t", "shear_y"):
        assert getattr(fine.section, name) == pytest.approx(getattr(plain.section, name), rel=2e-3), name


def test_an_outline_of_noise_is_refused_in_one_line():
    turn = np.linspace(0.0, 2.0 * np.pi, 30_000, endpoint=False)
    radius = 0.03 + np.random.default_rng(1).uniform(-5e-5, 5e-5, len(turn))
    rough = Polygon(np.column_stack([radius * np.cos(turn), radius * np.sin(turn)]))
    with pytest.raises(InputError, match=r"30,001 corners, and more than 2,000 stand out") as told:
        profile_of(rough)
    assert "\n" not in str(told.value)


def test_slits_by_the_hundred_are_refused_before_memory_runs_out():
    x = np.repeat(np.arange(994) * 2e-5, 2)
    comb = Polygon([[0, 0], *np.column_stack([x, np.tile([2e-3, 32e-3, 32e-3, 2e-3], 497)]), [x[-1], 0]])
    assert comb.is_valid
    with pytest.raises(InputError, match="cannot be meshed"):
        triangles(comb, 1e-5)


def test_lines_across_an_outline_run_in_its_metal():
    """Their lengths times their distance make up the area; each within the metal, on edges at both ends."""
    shape = box(0, 0, 80, 60) - box(3, 4, 40, 50) - affinity.rotate(box(50, 10, 70, 40), 20.0)
    at = np.linspace(-1.0, 81.0, 8201)[:-1] + 0.005
    line, across = _crossed(faces_of(shape)[0], at)
    assert np.diff(across).sum() * 0.01 == pytest.approx(shape.area, rel=1e-5)
    assert (np.diff(across) >= 0.0).all()
    middle = across.mean(axis=1)
    assert shapely.contains_xy(shape, at[line], middle).all()


@pytest.mark.parametrize(
    ("at", "deep", "turn"),
    [(18.0, 0.49, 0.0), (20.606773377549, 0.5660165275987064, 33.0), (29.98, 0.4685, 55.0)],
)
def test_the_flank_of_a_groove_is_no_thickness(at, deep, turn):
    """A line along the flank left a piece as long as the groove is deep, for the wall that it leaves."""
    groove = box(0, 0, 80, 60) - box(1.35, 1.35, 78.65, 58.65) - box(at, 60 - deep, at + 4.0, 61)
    walls = walls_of(moved(groove, turn))
    assert walls.known
    np.testing.assert_allclose(np.sort(walls.thickness), [1.35 - deep, 1.35, 1.35, 1.35], rtol=1e-6)


@pytest.mark.parametrize("turn", [0.0, 33.0])
@pytest.mark.parametrize(("wide", "left"), [(0.2, 0.2), (0.2, 0.05), (0.5, 0.8), (0.5, 0.5), (1.0, 0.8)])
def test_narrow_deep_grooves_do_not_part_a_wall_nor_hide(wide, left, turn):
    """A groove that reaches past the middle of a 2 mm wall: it was passed as two held walls, or as none."""
    groove = box(0, 0, 80, 60) - box(2, 2, 78, 58) - box(39, 58 + left, 39 + wide, 61)
    profile = profile_of(moved(groove, turn, 1e-3))
    walls = profile.walls
    assert walls.known
    assert walls.width[np.isclose(walls.thickness, left * 1e-3)].max() == pytest.approx(0.076)
    share = effective(profile, METAL, DesignFormat.EN).share[0]
    assert share == pytest.approx(share_by_hand(76.0, left), rel=1e-3)


@pytest.mark.parametrize("seed", range(12))
def test_points_rounded_to_a_micrometer_leave_the_walls(seed):
    """Programs write turned outlines with many points on straight faces, each rounded to 0.001 mm."""
    rng = np.random.default_rng(seed)
    width, depth = rng.uniform(0.03, 0.08, 2)
    left, low, right, high = rng.uniform(0.0008, 0.004, 4)
    outline = shapely.box(0, 0, width, depth).difference(shapely.box(left, low, width - right, depth - high))
    if seed % 2:
        outline = outline.difference(shapely.box(0.4 * width, 0.5 * depth, 0.6 * width, 2.0 * depth))
    dense = shapely.segmentize(moved(outline, rng.uniform(0.0, 180.0)), 10 ** rng.uniform(-3.5, -2.0))
    noisy = shapely.transform(dense, lambda xy: np.round(xy, 6))
    exact, found = walls_of(moved(outline)), walls_of(noisy)
    assert exact.known
    assert found.known
    assert len(found.thickness) == len(exact.thickness)
    same = matched(found, np.column_stack([exact.width, exact.thickness]))
    np.testing.assert_allclose(found.width[same], exact.width, rtol=2e-3)
    np.testing.assert_allclose(found.thickness[same], exact.thickness, atol=2.0 * ROUNDED)
    np.testing.assert_array_equal(found.free[same].sum(axis=1), exact.free.sum(axis=1))


@pytest.mark.parametrize("radius", [9.0, 12.0])
def test_the_octagon_around_a_round_hollow_is_less_metal_whose_walls_are_known(radius):
    """As the page on profiles says: its sides touch the circle."""
    box, angles = shapely.box(-16e-3, -16e-3, 16e-3, 18e-3), np.radians(22.5 + 45.0 * np.arange(8))
    hollow = shapely.Point(0.0, 0.0).buffer(1e-3 * radius, quad_segs=32)
    far = 1e-3 * radius / np.cos(np.radians(22.5))
    octagon = shapely.Polygon(far * np.stack([np.cos(angles), np.sin(angles)], axis=1))
    assert hollow.difference(octagon).area < 1e-6 * hollow.area
    round_, straight = (profile_of(box.difference(one), 0.3, "x") for one in (hollow, octagon))
    for name in ("area", "I_y", "I_z", "J", "W_y", "W_z"):
        assert getattr(straight.section, name) < getattr(round_.section, name), name
    assert straight.section.W_t < 1.01 * round_.section.W_t
    assert not len(straight.walls.lost)
