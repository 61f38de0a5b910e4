"""Torsion modulus of sections with an odd wall: Bredt's 2 A_m t for a cell, J / t for open walls.

Thin-walled torsion as in any textbook: q = T / (2 A_m), stress q / t; open strips T t / J. A wall of a cell
has T t / J besides (EN 10219-2 annex B, from memory).
"""

import numpy as np
import pytest
import shapely
from shapely import Point, Polygon, box

from fea.checks.rail_unchecked import unchecked_words
from roofmodel.errors import InputError
from roofmodel.profiles import properties
from roofmodel.profiles.mesh import triangles
from roofmodel.profiles.peaks import ring_of
from roofmodel.profiles.properties import profile_of
from roofmodel.profiles.shapes import shape_outline
from roofmodel.profiles.torsion import elements, twisting
from roofmodel.sections import round_tube
from tests.checks.projects import project
from tests.sections.built_sections import moved
from tests.sections.test_profile_files import with_profile

ODD = ("taper", "ramp", "saw", "both", "groove", "waves")


def odd_box(kind, thin=1.2, turn=0.0):
    """80 x 60 mm, walls of 4, 3 and 5 mm but for a top of `thin` at its thinnest; Bredt's 2 A_m t. [mm]."""
    s = np.linspace(0.0, 1.0, 81)
    odd = np.arange(len(s)) % 2
    up, below = {
        "taper": (0.0 * s, thin + 2.0 * s),
        "ramp": (0.0 * s, thin + 14.0 * s),
        "saw": (0.0 * s, thin * (1.0 + 0.9 * odd)),
        "both": (-0.4 * thin * odd, thin * (1.0 + 0.3 * odd)),
        "groove": (0.0 * s, np.where((s > 0.01) & (s < 0.04), thin, 4.0)),
        "waves": (2.0 * np.sin(4.0 * np.pi * s), thin + 0.0 * s),
    }[kind]
    x = 4.0 + 73.0 * s
    top, low = np.column_stack([x, 60.0 + up])[::-1], np.column_stack([x, 60.0 + up - below])[::-1]
    outline = Polygon([[0, 0], [80, 0], [80, 60], *top, [0, 60]], [[[4, 5], [77, 5], *low]])
    outer, inner = Polygon(outline.exterior), Polygon(outline.interiors[0])
    bredt = (outer.area + inner.area) * outer.exterior.distance(inner.exterior)
    return moved(outline, turn, 1e-3), bredt * 1e-9


@pytest.mark.parametrize(("kind", "turn"), list(zip(ODD, 3 * (0.0, 27.0), strict=True)))
def test_the_thinnest_place_of_a_cell_decides_recognized_or_not(kind, turn):
    """The part left out at corners was as wide as the thickest wall: up to 7 times too much."""
    outline, bredt = odd_box(kind, turn=turn)
    assert 0.85 < profile_of(outline).section.W_t / bredt < 1.01


@pytest.mark.parametrize("kind", ["taper", "both"])
def test_a_finer_mesh_finds_no_less(kind, monkeypatch):
    outline, _ = odd_box(kind, 2.0)
    coarse = profile_of(outline).section.W_t
    monkeypatch.setattr(properties, "ACROSS", 2.0 * properties.ACROSS)
    properties._profile.cache_clear()
    fine = profile_of(outline).section.W_t
    properties._profile.cache_clear()
    assert fine == pytest.approx(coarse, rel=0.03)


def test_open_walls_with_teeth_on_both_sides_count_with_what_the_teeth_leave():
    """A thick strip whose every notch is a re-entrant corner; the thin one beside it has less stress."""
    x = np.linspace(0.0, 60.0, 121)
    cut = 0.3 * (1 - np.arange(len(x)) % 2)
    thick = Polygon([*np.column_stack([x, cut]), *np.column_stack([x, 3.0 - cut])[::-1]])
    s = profile_of(moved(thick.union(box(-40, 1, 0.1, 2)), size=1e-3)).section
    assert 0.8 < s.W_t * 2.4e-3 / s.J < 1.01


@pytest.mark.parametrize(("outer", "inner"), [(15.0, 7.0), (24.0, 22.0), (20.0, 2.0)])
def test_round_tubes_thick_and_thin(outer, inner):
    """W_t = J / R by the exact solution, and a flow of (R^2 - r^2) / (2 J) between both rings."""
    tube = Point(0, 0).buffer(outer, 64).difference(Point(0, 0).buffer(inner, 64))
    s = profile_of(moved(tube, size=1e-3)).section
    assert s.W_t * outer * 1e-3 / s.J == pytest.approx(1.0, abs=0.03)
    xy, node = triangles(tube, 1.0)
    twist = twisting(elements(xy, node), 0.3, *ring_of(xy, tube))
    assert twist.flow[0] == 0.0
    assert twist.flow[1] == pytest.approx((outer**2 - inner**2) / (2.0 * twist.J), rel=5e-3)


def test_two_cells_have_the_flows_of_bredt_and_batho():
    """Cells of 40 x 40 and 20 x 40 mm between middle lines, walls of 1 mm, their common one 2 mm thick."""
    t, web = 1.0, 2.0
    shape = box(-0.5, -0.5, 60.5, 40.5) - box(0.5, 0.5, 39, 39.5) - box(41, 0.5, 59.5, 39.5)
    area = np.array([40.0 * 40.0, 20.0 * 40.0])
    around = np.array([[120.0 / t + 40.0 / web, -40.0 / web], [-40.0 / web, 80.0 / t + 40.0 / web]])
    q = np.linalg.solve(around, 2.0 * area)
    xy, node = triangles(shape, 0.5)
    twist = twisting(elements(xy, node), 0.3, *ring_of(xy, shape))
    np.testing.assert_allclose(np.sort(twist.flow[1:]), np.sort(q / (2.0 * area @ q)), rtol=0.03)


@pytest.mark.parametrize("gap", [0.0, 1e-6])
def test_a_cell_that_touches_the_outside_is_refused_with_its_place(gap):
    """It counted as a closed box: some 140 times J of the open one (sum of b t^3 / 3)."""
    outer = [(0, 0), (80, 0), (80, 60), (40, 60), (0, 60)]
    pinched = Polygon(outer, [[(3, 3), (77, 3), (77, 57), (40, 60 - gap), (3, 57)]])
    with pytest.raises(InputError, match=r"no thickness at \(40.00 mm, 60.00 mm\)"):
        profile_of(moved(pinched, size=1e-3))


@pytest.mark.parametrize("tested", [False, True])
def test_check_says_where_torsion_is_doubtful_also_with_tested_moments(tmp_path, tested):
    """A leg with a saw of 0.5 mm pitch is no wall; tested moments say nothing of its torsion."""
    teeth = [(40.0 - 0.5 * i, 1.8 + 0.4 * (i % 2)) for i in range(81)]
    leg = Polygon([(0, 0), (40, 0), *teeth]).union(box(0, 0, 2, 40))
    rows = [f"{y},{z}" for y, z in shapely.get_coordinates(leg)[:-1]]
    (tmp_path / "leg.csv").write_text("\n".join(["y [mm],z [mm]", *rows]))
    text = with_profile('file = "leg.csv"')
    moments = 'moment_slope = "0.4 kN*m"\nmoment_normal = "0.3 kN*m"\nmoment_factor = 1.1\nmaterial = "steel"'
    text = text.replace('material = "steel"', moments, 1) if tested else text
    (told,) = [one for one in unchecked_words(project(tmp_path, text)) if "Not recognized" in one]
    assert "mm thick" in told
    assert "torsion" in told.lower()
    assert ("give tested moments" in told) != tested


@pytest.mark.parametrize(
    ("diameter", "plate", "depth", "wall"), [(30, 30, 3, 1), (30, 50, 3, 3), (60, 50, 5, 2), (42, 30, 3, 3)]
)
def test_a_tube_on_a_plate_twists_as_the_tube_does(diameter, plate, depth, wall):
    """The gap that narrows to nothing between both was refused as not to be meshed."""
    size = {"diameter": diameter, "plate": plate, "depth": depth, "wall": wall}
    s = profile_of(shape_outline("plate and tube", {name: v * 1e-3 for name, v in size.items()})).section
    tube = round_tube(diameter * 1e-3, wall * 1e-3)
    assert 1.0 < s.J / (tube.J + plate * depth**3 / 3.0 * 1e-12) < 1.2
    assert s.W_t == pytest.approx(tube.W_t, rel=0.06)
