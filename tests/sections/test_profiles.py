"""Profiles against published values, closed forms, a second program, and themselves turned and scaled."""

import json
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon

from roofmodel import sections
from roofmodel.errors import InputError
from roofmodel.profiles.properties import Hole, profile_of
from roofmodel.profiles.shapes import shape_outline

DATA = json.loads((Path(__file__).parents[1] / "data" / "fea_checks.json").read_text())
ANGLE = Polygon([(0, 0), (0.04, 0), (0.04, 0.003), (0.003, 0.003), (0.003, 0.03), (0, 0.03)])
CHANNEL = {"width": 0.03, "depth": 0.06, "lip": 0.012, "wall": 0.002}


@pytest.mark.parametrize("name", ["section_L40x40x3_sharp", "section_C60x30x12x2_sharp"])
def test_collected_values(name):
    """Exact polygon integrals; J, I_w, shear center of another program to its own tolerance."""
    case = next(c for c in DATA["cases"] if c["name"] == name)
    want, near = case["expected"], case["tolerance"]
    found = profile_of(Polygon(np.array(case["inputs"]["polygon_xy_mm"]) / 1e3), 0.0)
    s = found.section
    exact = [s.area * 1e6, s.I_y * 1e12, s.I_z * 1e12, *found.principal * 1e12]
    values = [want[k] for k in ("A_mm2", "Ixx_mm4", "Iyy_mm4", "I1_mm4", "I2_mm4")]
    np.testing.assert_allclose(exact, values, rtol=near["A_I_rel"])
    np.testing.assert_allclose(s.I_yz * 1e12, want["Ixy_mm4"], rtol=near["A_I_rel"], atol=1e-6)
    np.testing.assert_allclose(s.J * 1e12, want["J_mm4"], rtol=near["J_rel"])
    center = np.array([s.center_y, s.center_z]) * 1e3 + [want["cx_mm"], want["cy_mm"]]
    np.testing.assert_allclose(center, [want["x_sc_mm"], want["y_sc_mm"]], atol=near["sc_mm"])
    if s.I_w:
        np.testing.assert_allclose(s.I_w * 1e18, want["Cw_mm6"], rtol=near["Cw_rel"])


def test_closed_forms():
    """Rectangular and round tube, flat bar: the closed forms of roofmodel.sections."""
    size = {"width": 0.06, "depth": 0.04, "wall": 0.003}
    for outline, form in (
        (shape_outline("rectangular tube", size, 0.003), sections.rectangular_tube(0.06, 0.04, 0.003, 0.006)),
        (shape_outline("round tube", {"diameter": 0.048, "wall": 0.003}), sections.round_tube(0.048, 0.003)),
        (shapely.box(0, 0, 0.02, 0.05), sections.rectangle(0.02, 0.05)),
    ):
        s = profile_of(outline).section
        assert 0.97 < s.W_t / form.W_t < 1.01
        for name, near in (("area", 2e-3), ("I_y", 3e-3), ("I_z", 3e-3), ("W_y", 3e-3), ("J", 2e-2)):
            np.testing.assert_allclose(getattr(s, name), getattr(form, name), rtol=near, err_msg=name)
        assert s.I_w == 0.0
        assert s.round == form.round


def test_torsion_modulus_is_that_of_the_walls_however_sharp_the_drawing():
    """J / (t + K / t) of EN 10219-2 annex B for a cell, J / t for open walls; no spike of the mesh."""
    t, size = 3e-3, {"width": 0.06, "depth": 0.04, "wall": 3e-3}
    for radius in (0.0, 0.2 * t, t, 2.5 * t, 4.0 * t):
        s = profile_of(shape_outline("rectangular tube", size, radius)).section
        around = 2.0 * (0.057 + 0.037) - (8.0 - 2.0 * np.pi) * (radius + t / 2)
        K = 2.0 * (0.057 * 0.037 - (4.0 - np.pi) * (radius + t / 2) ** 2) * t / around
        assert 0.98 < s.W_t * (t + K / t) / s.J < 1.001
    angle = [profile_of(shape_outline("angle", size, r)).section for r in (0.0, 0.2 * t, t)]
    walls = [one.W_t * t / one.J for one in angle]
    assert 0.9 < walls[0] <= min(walls[1:])
    assert max(walls) < 1.001


def test_thin_channel():
    """Shear center and warping constant of a thin channel: e = 3 b^2 / (6 b + h), textbook."""
    t, h, b = 1e-3, 0.08, 0.04
    shape = shape_outline("channel", {"width": b + t / 2, "depth": h + t, "wall": t})
    s = profile_of(shape, 0.0).section
    outer = s.center_y + (0.0 - (shape.centroid.x - t / 2)) * -1.0  # from the web's middle
    np.testing.assert_allclose(-outer, 3 * b**2 / (6 * b + h), rtol=1e-2)
    warp = h**2 * b**3 * t / 12 * (3 * b + 2 * h) / (6 * b + h)
    np.testing.assert_allclose(s.I_w, warp, rtol=1e-2)
    np.testing.assert_allclose(s.J, (2 * b + h) * t**3 / 3, rtol=1.5e-2)


def test_plastic_moduli():
    """Rectangle b h^2 / 4; of a tube outer less inner."""
    found = profile_of(shape_outline("rectangular tube", {"width": 0.06, "depth": 0.04, "wall": 0.003}))
    want = [(0.06 * 0.04**2 - 0.054 * 0.034**2) / 4, (0.04 * 0.06**2 - 0.034 * 0.054**2) / 4]
    np.testing.assert_allclose(found.plastic, want, rtol=1e-9)


def test_second_program():
    """Everything by sectionproperties, with its own mesh."""
    pytest.importorskip("sectionproperties")
    from sectionproperties.analysis import Section
    from sectionproperties.pre import Geometry, Material

    outline = shape_outline("lipped channel", CHANNEL, 0.003)
    metal = Material("metal", 1.0, 0.3, 1.0, 1.0, "grey")
    geometry = Geometry(shapely.transform(outline, lambda p: p * 1e3), metal)
    geometry.create_mesh(mesh_sizes=[0.4])
    other = Section(geometry)
    other.calculate_geometric_properties()
    other.calculate_warping_properties()
    other.calculate_plastic_properties()
    p, found = other.section_props, profile_of(outline, 0.3)
    s = found.section
    ours = [s.J * 1e12, s.I_w * 1e18, s.shear_y * 1e6, s.shear_z * 1e6, *found.plastic * 1e9]
    np.testing.assert_allclose(ours, [p.j, p.gamma, p.a_sx, p.a_sy, p.sxx, p.syy], rtol=5e-3)
    np.testing.assert_allclose(abs(found.one_sided[1]) * 1e3, abs(p.beta_y_plus), rtol=5e-3)


@settings(max_examples=10, deadline=None)
@given(st.floats(0.1, 3.0), st.floats(0.3, 3.0))
def test_turned_and_scaled(angle, scale):
    """Principal values do not turn; every value grows by its power of length."""
    turn = scale * np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    a, b = profile_of(ANGLE), profile_of(shapely.transform(ANGLE, lambda p: p @ turn.T))
    np.testing.assert_allclose(b.principal, a.principal * scale**4, rtol=1e-8)
    np.testing.assert_allclose(b.section.J, a.section.J * scale**4, rtol=5e-3)
    center = turn @ [a.section.center_y, a.section.center_z]
    np.testing.assert_allclose([b.section.center_y, b.section.center_z], center, atol=3e-3 * 0.04 * scale)
    np.testing.assert_allclose(np.cos(b.angle - a.angle - angle) ** 2, 1.0, atol=1e-6)


def test_mirrored_channel():
    shape = shape_outline("lipped channel", CHANNEL)
    a, b = profile_of(shape), profile_of(shapely.transform(shape, lambda p: p * [-1, 1]))
    np.testing.assert_allclose(b.section.center_y, -a.section.center_y, rtol=1e-3)
    for name in ("area", "I_y", "I_z", "J", "I_w", "W_z"):
        np.testing.assert_allclose(getattr(b.section, name), getattr(a.section, name), rtol=5e-3)


def test_walls():
    """A lipped channel: five walls, flanges stiffened by lips, lips free."""
    for radius in (0.0, 0.003):
        w = profile_of(shape_outline("lipped channel", CHANNEL, radius)).walls
        assert w.known
        order = np.argsort(w.width)
        take = 2.0 * (radius + 0.002)
        want = [0.012 - take / 2] * 2 + [0.03 - take] * 2 + [0.06 - take]
        np.testing.assert_allclose(w.width[order], want, atol=1e-4)
        assert w.free.sum(axis=1)[order].tolist() == [1, 1, 0, 0, 0]
        assert set(w.lip.max(axis=1)[order[2:4]]) == set(order[:2])
        assert set(w.web[order[2:4]]) == {order[4]}
    angle = profile_of(ANGLE).walls
    assert angle.free.sum(axis=1).tolist() == [1, 1]
    arc = np.radians(np.linspace(0, 180, 13))[:, None]
    ring = np.hstack([np.cos(arc), np.sin(arc)])
    facets = profile_of(Polygon(np.vstack([0.03 * ring, 0.029 * ring[::-1]])))
    assert len(facets.walls.thickness) > 5  # each longer than it is thick, and none held by the next
    assert not facets.walls.known
    step = Polygon(np.array([(0, 0), (60, 0), (60, 1), (30, 1), (30, 2), (2, 2), (2, 40), (0, 40)]) / 1e3)
    stepped = profile_of(step).walls  # one leg of its whole width and least thickness
    assert stepped.known
    np.testing.assert_allclose(np.sort(stepped.width), [0.038, 0.058], rtol=1e-3)
    np.testing.assert_allclose(stepped.thickness[np.argsort(stepped.width)], [0.002, 0.001], rtol=1e-3)
    tee = shape_outline("tee", {"width": 0.05, "depth": 0.05, "wall": 0.004})
    assert profile_of(tee).walls.known
    assert not profile_of(shape_outline("round tube", {"diameter": 0.048, "wall": 0.002})).walls.known


def test_net_section():
    """A hole through both flats of a tube, by hand."""
    tube = shape_outline("rectangular tube", {"width": 0.06, "depth": 0.04, "wall": 0.003})
    found = profile_of(tube, holes=[Hole(0.01, False, 0.03)])
    s = found.section
    taken = 2 * 0.01 * 0.003
    np.testing.assert_allclose(found.net.area, s.area - taken, rtol=1e-9)
    inertia = s.I_y - 2 * (0.01 * 0.003**3 / 12 + 0.01 * 0.003 * 0.0185**2)
    np.testing.assert_allclose(found.net.W_y, inertia / 0.02, rtol=1e-9)
    with pytest.raises(InputError, match="meets no metal"):
        profile_of(tube, holes=[Hole(0.01, False, 0.2)])
