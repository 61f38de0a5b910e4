"""Rails of open profiles on clamps: warping carried over clamps, loads beside the shear center."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rails import CONTINUOUS, HINGE, SLIDING, SOFT, at, make_clamp, make_layout, make_loads, make_rail

from fea.checks.rail_section import bending_stress, open_words, rail_stress
from fea.elements.beams import rail_stiffness
from fea.model.assembly import build_system
from fea.model.solution import solve_model
from fea.rails.frame import build_frame, solve_frame
from fea.rails.rail_model import frame_model
from roofmodel.errors import InputError
from roofmodel.sections import from_values

STIFF = make_clamp(np.full(6, 1e15))
# lipped channel 60 x 30 x 12 x 2 on its back: values of tests/data/fea_checks.json, moduli by hand
CHANNEL = from_values(
    area=272e-6, I_y=35107e-12, I_z=151723e-12, J=364.24e-12, W_y=1.877e-6, W_z=5.057e-6, W_t=0.182e-6,
    depth_y=0.06, depth_z=0.03, center_z=-0.02545, I_w=3.0963e-11, omega_max=6e-4,
)  # fmt: skip
ANGLE = replace(CHANNEL, I_yz=2.5e-8, center_y=0.011, shear_y=1e-4, shear_z=1.5e-4)
SPANS = {"length": 3.2, "clamps": [0.15, 0.75, 1.35, 1.95, 2.9], "seam": 0.2}
LINES = [(0, 0.3, 1.1, (40.0, -1500.0, 300.0, 9.0)), (0, 1.1, 2.75, (-60.0, -700.0, -200.0, 0.0))]
POINTS = [(0, 0.5, (100.0, -400.0, 90.0, 12.0, 7.0, -9.0)), (0, 3.0, (-80.0, 300.0, 50.0, -6.0, 0.0, 4.0))]


@pytest.mark.parametrize("section", [CHANNEL, ANGLE, replace(ANGLE, I_w=0.0, omega_max=np.nan)])
@pytest.mark.parametrize("splices", [(), ((1.6, CONTINUOUS), (2.4, HINGE)), ((1.35, SLIDING),)])
def test_a_row_is_the_same_as_a_general_model(section, splices):
    """Beams of the general model end where loads begin and end; here a span is one beam."""
    frame = build_frame(make_layout([SPANS | {"splices": splices}]), make_rail(section), SOFT)
    loads = make_loads(LINES, POINTS, (25.0,))
    result = solve_frame(frame, loads)
    model, F = frame_model(frame, loads)
    u = solve_model(build_system(model), F).displacement
    n = len(frame.node_s)
    scale = np.abs(u[: 6 * n]).max()
    for i, s in enumerate(frame.node_s):
        side = 0 if i + 1 < n and frame.node_s[i + 1] == s else -1
        here = at(result, s, "deflection", side=side)
        np.testing.assert_allclose(here, u[6 * i : 6 * i + 3, 0], atol=1e-8 * scale)
    np.testing.assert_allclose(result.applied, result.reaction, atol=1e-8 * np.abs(result.applied).max())


@settings(deadline=None, max_examples=15)
@given(st.integers(0, 2**31), st.booleans())
def test_stations_inside_a_span_are_nodes_of_a_finer_row(seed, eccentric):
    """Clamps without stiffness only make nodes: forces, bimoment and deflection stay."""
    rng = np.random.default_rng(seed)
    section = replace(ANGLE, I_w=10.0 ** rng.uniform(-14, -8))
    if not eccentric:
        section = replace(section, center_y=0.0, center_z=0.0)
    coarse = make_layout([SPANS])
    extra = np.array([0.5, 1.0, 2.3, 2.5])
    places = np.sort(np.concatenate([SPANS["clamps"], extra]))
    fine = make_layout([SPANS | {"clamps": list(places)}])
    scale = (~np.isin(places, extra)).astype(float)
    loads = make_loads(LINES, [*POINTS, *((0, s, np.zeros(6)) for s in extra)])
    rail = make_rail(section)
    one = solve_frame(build_frame(coarse, rail, SOFT), loads)
    many = solve_frame(build_frame(fine, rail, SOFT, clamp_scale=scale), loads)
    top = np.abs(one.rail_force[0]).max(axis=0)
    moved = np.abs(one.deflection).max()
    for s in extra:
        for side in (0, -1):
            difference = np.abs(at(one, s, "rail_force", side=side) - at(many, s, "rail_force", side=side))
            assert (difference <= 1e-7 * top + 1e-12).all()
            np.testing.assert_allclose(
                at(one, s, "deflection", side=side), at(many, s, "deflection", side=side), atol=1e-8 * moved
            )
    np.testing.assert_allclose(
        many.clamp_force[0][scale > 0], one.clamp_force[0], atol=1e-7 * np.abs(one.clamp_force).max()
    )


def test_a_span_in_forks_twists_by_the_closed_form():
    """Snow on the axis of a channel between stiff clamps: torque p c, bimoment m / k^2 (1/cosh - 1)."""
    L, p = 1.2, 1000.0
    stiff = rail_stiffness(make_rail(CHANNEL))
    layout = make_layout([{"length": L, "clamps": [0.0, L]}])
    loads = make_loads([(0, 0.0, L, (0.0, -p, 0.0, 0.0))])
    result = solve_frame(build_frame(layout, make_rail(CHANNEL), STIFF), loads)
    m = -p * CHANNEL.center_z
    k = np.sqrt(stiff.torsion / stiff.warping)
    drop = 1.0 - 1.0 / np.cosh(0.5 * k * L)
    middle = at(result, L / 2.0, "rail_force")
    # the snow pushes down the slope over a shear center below the axis: about x by the right hand
    np.testing.assert_allclose(middle[6], m / k**2 * drop * np.sign(CHANNEL.center_z), rtol=1e-6)
    np.testing.assert_allclose(middle[[3, 7]], 0.0, atol=1e-6 * p)
    start = at(result, 0.0, "rail_force")
    np.testing.assert_allclose(start[[3, 6]], [m * L / 2.0, 0.0], rtol=1e-6, atol=1e-6)
    np.testing.assert_allclose(start[7], m / k * (0.5 * k * L - np.tanh(0.5 * k * L)), rtol=1e-6)
    # its clamps take the whole torque about the axis as if nothing twisted: the load goes through it
    np.testing.assert_allclose(result.clamp_force[0, :, 4], 0.0, atol=1e-6 * p)


def test_warping_that_clamps_pass_on_stiffens_the_next_span():
    """Two spans: a span twisted alone brings bimoment into its neighbor; a hinge keeps it out."""
    L = 0.9
    loads = make_loads([(0, 0.0, L, (0.0, 0.0, 0.0, 60.0))])
    found = {}
    for name, splices in (("one", ()), ("cut", ((L + 0.002, HINGE),))):
        layout = make_layout([{"length": 2 * L, "clamps": [0.0, L, 2 * L], "splices": splices}])
        found[name] = solve_frame(build_frame(layout, make_rail(CHANNEL), STIFF), loads)
    assert np.abs(at(found["one"], L * 1.42, "rail_force")[6]) > 1e-3
    cut = found["cut"]
    behind = cut.sample_s > L + 0.002
    assert np.abs(cut.rail_force[0, behind, 6]).max() < 1e-9
    passed = np.abs(at(found["one"], L, "rail_force")[6])
    assert passed > 10.0 * np.abs(at(cut, L, "rail_force")[6])


@pytest.mark.parametrize("tiny", [1e-22, 1e-25])
def test_little_warping_stiffness_is_st_venant(tiny):
    loads = make_loads(LINES, POINTS)
    closed = replace(ANGLE, I_w=0.0, omega_max=np.nan)
    results = [
        solve_frame(build_frame(make_layout([SPANS]), make_rail(section), SOFT), loads)
        for section in (closed, replace(ANGLE, I_w=tiny))
    ]
    assert results[0].rail_force.shape[2] == 6
    for name in ("clamp_force", "deflection"):
        a, b = (getattr(r, name) for r in results)
        np.testing.assert_allclose(a, b, atol=1e-3 * np.abs(a).max())
    np.testing.assert_allclose(
        results[0].rail_force, results[1].rail_force[..., :6], atol=1e-3 * np.abs(results[0].rail_force).max()
    )


def test_turned_axes_of_the_section_change_no_stress():
    """A flat bar at an angle: never more at its corners than told, which is at the corner of its outline."""
    b, h, angle = 0.04, 0.008, 0.6
    I_1, I_2 = b * h**3 / 12.0, h * b**3 / 12.0  # about its long and its short axis
    c, s = np.cos(angle), np.sin(angle)
    corner = np.array([[y, z] for y in (-b / 2, b / 2) for z in (-h / 2, h / 2)]) @ np.array(
        [[c, s], [-s, c]]
    )
    I_y, I_z = c**2 * I_1 + s**2 * I_2, s**2 * I_1 + c**2 * I_2
    I_yz = c * s * (I_2 - I_1)
    section = replace(
        ANGLE, I_y=I_y, I_z=I_z, I_yz=I_yz, W_y=I_y / corner[:, 1].max(), W_z=I_z / corner[:, 0].max()
    )
    for M_y, M_z in ((300.0, 0.0), (0.0, 300.0), (200.0, -100.0), (150.0, 220.0)):
        curvature = np.linalg.solve([[I_y, -I_yz], [-I_yz, I_z]], [M_y, M_z])
        true = np.abs(corner[:, 1] * curvature[0] - corner[:, 0] * curvature[1]).max()
        told = float(bending_stress(np.array(M_y), np.array(M_z), section))
        assert told >= true * (1.0 - 1e-12)
        assert told == pytest.approx(float(corner.max(axis=0) @ np.abs(curvature[::-1])))  # corner of the box
    principal = replace(section, I_yz=0.0)
    assert bending_stress(np.array(3.0), np.array(-4.0), principal) == pytest.approx(
        3.0 / principal.W_y + 4.0 / principal.W_z
    )


def test_bimoment_counts_in_the_stress_or_is_said_to_be_missing():
    rail = make_rail(CHANNEL)
    force = np.array([0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 2.0, 0.0])
    assert rail_stress(force, rail) == pytest.approx(2.0 * 6e-4 / CHANNEL.I_w)
    assert "St Venant" in open_words(rail)
    assert "omega_max" not in open_words(rail)
    unknown = make_rail(replace(CHANNEL, omega_max=np.nan))
    assert rail_stress(force, unknown) == 0.0
    assert "bimoment is NOT in it, for rail.omega_max is not given" in open_words(unknown)
    assert open_words(make_rail()) == ""
    twisted = np.array([0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, -3.0])
    assert rail_stress(twisted, rail) == pytest.approx(np.sqrt(3.0) * 3.0 / CHANNEL.W_t)


def values(**changed):
    known = {"area": 1e-4, "I_y": 1e-8, "I_z": 2e-8, "J": 1e-10, "W_y": 1e-6, "W_z": 1e-6, "W_t": 1e-7,
             "depth_y": 0.06, "depth_z": 0.03}  # fmt: skip
    return from_values(**(known | changed))


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"I_yz": 1.5e-8}, "I_yz = 1.5e-08 m\\^4 must be smaller"),
        ({"I_yz": np.nan}, "I_yz = nan"),
        ({"I_w": -1e-12}, "I_w = -1e-12 must not be negative"),
        ({"omega_max": 1e-4}, "omega_max = 0.0001 m\\^2 means nothing without"),
        ({"center_y": np.nan}, "center_y = nan must be a number"),
    ],
)
def test_sections_that_are_none_are_refused(changed, words):
    with pytest.raises(InputError, match=words):
        values(**changed)
