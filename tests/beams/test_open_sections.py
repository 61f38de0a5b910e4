"""Warping torsion of open sections against closed forms (Vlasov; from memory) and the check values."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from bars import SOLID, chain, group, solve

from fea.elements.beam_data import BeamStiffness
from fea.elements.beam_inside import beam_inside
from fea.elements.beam_torsion import torque_vectors, torsion_stiffness, twist_functions
from fea.elements.beams import local_beams

CASES = {
    case["name"]: case["expected"]
    for case in json.loads((Path(__file__).parents[1] / "data" / "fea_checks.json").read_text())["cases"]
    if case["name"].startswith("section_")
}
STIFF = [1e-8, 1e-4, 0.3, 2.0, 8.9, 9.1, 40.0, 1e3, 1e6, 1e8]  # G J L^2 / E I_w


def section(name):
    """The section with its x as local y and its y as local z, E, and its test."""
    known, test = CASES[name], CASES[name]["cantilever"]
    E = test["E_MPa"] * 1e6
    return test, BeamStiffness(
        axial=E * known["A_mm2"] * 1e-6,
        bending=E
        * 1e-12
        * np.array([[known["Ixx_mm4"], known["Ixy_mm4"]], [known["Ixy_mm4"], known["Iyy_mm4"]]]),
        shear=np.zeros(2),
        torsion=E / (2.0 * (1.0 + test["nu"])) * known["J_mm4"] * 1e-12,
        warping=E * known["Cw_mm6"] * 1e-18,
        center=np.array([known["x_sc_mm"] - known["cx_mm"], known["y_sc_mm"] - known["cy_mm"]]) * 1e-3,
        alpha=0.0,
    )


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("n", [1, 3])
def test_open_cantilevers_of_the_check_values(name, n):
    """Tip forces through the shear center bend without twist; a torque twists about it."""
    test, stiff = section(name)
    L = test["L_mm"] * 1e-3
    xyz = np.linspace([0.0, 0.0, 0.0], [L, 0.0, 0.0], n + 1)
    rate, tip = 6 * (n + 1), 6 * n
    y, z = stiff.center
    side, up, torque = test["Fx_N"], test["Fy_N"], test["T_Nmm"] * 1e-3
    loads = {tip + 1: [side, 0.0], tip + 2: [up, 0.0], tip + 3: [y * up - z * side, torque]}
    beams = group(chain(n), stiff, warp=chain(n))
    u, reaction = solve(xyz, beams, [*range(6), rate], loads)
    twist = u[tip + 3]
    # the centroid stays where the shear center takes it, for the section does not twist
    np.testing.assert_allclose(twist[0], 0.0, atol=1e-12)
    np.testing.assert_allclose(
        u[[tip + 1, tip + 2], 0] * 1e3, [test["tip_ux_mm"], test["tip_uy_mm"]], rtol=1e-6
    )
    np.testing.assert_allclose(twist[1], test["tip_twist_warping_fixed_root_free_tip_rad"], rtol=1e-6)
    bimoment = np.abs(reaction[rate, 1]) * 1e6
    np.testing.assert_allclose(bimoment, test["bimoment_root_abs_Nmm2"], rtol=1e-6)
    np.testing.assert_allclose(np.abs(reaction[4, 0]) * 1e3, test["M_root_about_x_Nmm"], rtol=1e-6)
    u, _ = solve(xyz, group(chain(n), stiff), range(6), loads)
    np.testing.assert_allclose(u[tip + 3, 1], test["tip_twist_St_Venant_only_rad"], rtol=1e-6)


def bar(ratio, L=0.9, warping=3.0):
    return replace(SOLID, torsion=ratio * warping / L**2, warping=warping), L


@pytest.mark.parametrize("ratio", STIFF)
@pytest.mark.parametrize("n", [1, 4])
def test_torque_and_bimoment_at_the_tip(ratio, n):
    """T (L - tanh(kL)/k) / GJ and T tanh(kL)/k at the root; B (1 - 1/cosh kL) / GJ."""
    stiff, L = bar(ratio)
    kL = np.sqrt(ratio)
    T, B = 30.0, 2.0
    # 1 - tanh(x)/x and 1 - 1/cosh(x), from series where they would cancel
    lag = ratio / 3.0 - ratio**2 / 7.5 if kL < 1e-2 else 1.0 - np.tanh(kL) / kL
    lift = 0.5 * ratio - 5.0 / 24.0 * ratio**2 if kL < 1e-2 else 1.0 - 1.0 / np.cosh(min(kL, 700.0))
    xyz = np.linspace([0.0, 0.0, 0.0], [L, 0.0, 0.0], n + 1)
    rate = 6 * (n + 1)
    u, reaction = solve(
        xyz,
        group(chain(n), stiff, warp=chain(n)),
        [*range(6), rate],
        {6 * n + 3: [T, 0.0], rate + n: [0.0, B]},
    )
    np.testing.assert_allclose(
        u[6 * n + 3], [T * L * lag / stiff.torsion, B * lift / stiff.torsion], rtol=1e-6
    )
    np.testing.assert_allclose(np.abs(reaction[rate, 0]), T * L * np.tanh(kL) / kL, rtol=1e-7)


@pytest.mark.parametrize("ratio", STIFF)
def test_fork_bearings_under_a_uniform_torque(ratio):
    """B = m / k^2 (1/cosh(kL/2) - 1) in the middle; twist m L^2 / 8 GJ less that over GJ."""
    stiff, L = bar(ratio)
    k2, m = ratio / L**2, 80.0
    half = 0.5 * np.sqrt(ratio)
    drop = 0.5 * half**2 - 5.0 / 24.0 * half**4 if half < 5e-3 else 1.0 - 1.0 / np.cosh(min(half, 700.0))
    load = torque_vectors(np.zeros(1), np.array([L]), np.array([L]), stiff.torsion, stiff.warping)[0].sum(
        axis=1
    )
    K = torsion_stiffness(np.array([L]), stiff.torsion, stiff.warping)[0]
    rates = np.linalg.solve(K[np.ix_([1, 3], [1, 3])], load[[1, 3]])
    u = np.zeros((1, 14, 1))
    u[0, 12:, 0] = rates
    local = local_beams(np.array([[[0.0, 0.0, 0.0], [L, 0.0, 0.0]]]), group([[0, 1]], stiff, warp=[[0, 1]]))
    line = np.zeros((1, 4, 2, 1))
    line[0, 3] = m
    inside = beam_inside(local, m * u, line, np.array([0.0, 0.5, 1.0]))
    bimoment = inside.force[0, :, 6, 0]
    # m / k^2 of a bar that hardly twists by St Venant is large and cancels in the closed form, not here
    np.testing.assert_allclose(bimoment[1], -m / k2 * drop, rtol=1e-7)
    np.testing.assert_allclose(bimoment[[0, 2]], 0.0, atol=1e-9 * abs(bimoment[1]))
    if ratio > 0.1:
        middle = m * L**2 / (8.0 * stiff.torsion) - m / k2 / stiff.torsion * drop
    else:
        middle = 5.0 / 384.0 * m * L**4 / stiff.warping
    np.testing.assert_allclose(
        inside.displacement[0, 1, 3, 0], middle, rtol=2e-4 if 1e-6 < ratio < 0.1 else 1e-7
    )
    # the torque is carried by both kinds of torsion
    np.testing.assert_allclose(inside.force[0, :, 3, 0], m * L * np.array([0.5, 0.0, -0.5]), atol=1e-9 * m)


@pytest.mark.parametrize("ratio", STIFF)
def test_shape_functions_solve_their_equation(ratio):
    """Ends take their unit values, halves join, and nodal loads of a torque are sums of point torques."""
    stiff, L = bar(ratio)
    GJ, EI_w = stiff.torsion, stiff.warping
    both = twist_functions(np.array([0.0, L]), np.array([L, L]), GJ, EI_w)
    np.testing.assert_allclose(both.value, [[1, 0, 0, 0], [0, 0, 1, 0]], atol=1e-12)
    np.testing.assert_allclose(both.slope, [[0, 1, 0, 0], [0, 0, 0, 1]], atol=1e-10)
    K = torsion_stiffness(np.array([L, L / 3.0, 2.0 * L / 3.0]), GJ, EI_w)
    np.testing.assert_allclose(EI_w * both.curvature, [-K[0, 1], K[0, 3]], rtol=1e-9, atol=1e-9 * K[0, 1, 1])
    whole = np.zeros((6, 6))
    whole[:4, :4] += K[1]
    whole[2:, 2:] += K[2]
    keep, out = [0, 1, 4, 5], [2, 3]
    inner = np.linalg.solve(whole[np.ix_(out, out)], whole[np.ix_(out, keep)])
    condensed = whole[np.ix_(keep, keep)] - whole[np.ix_(keep, out)] @ inner
    for i, j in np.ndindex(4, 4):
        size = np.sqrt(K[0, i, i] * K[0, j, j])
        assert abs(condensed[i, j] - K[0, i, j]) <= 1e-9 * size
    at = twist_functions(np.array([L / 3.0]), np.array([L]), GJ, EI_w)
    np.testing.assert_allclose(at.value[0], -inner[0], atol=1e-10)
    np.testing.assert_allclose(at.slope[0], -inner[1], rtol=1e-6, atol=1e-8)


@pytest.mark.parametrize("ratio", STIFF)
def test_a_load_on_part_is_the_sum_of_its_parts(ratio):
    """One long linear torque is many short ones; Gauss points and integration by parts agree."""
    stiff, L = bar(ratio)
    n = 2000
    edge = np.linspace(0.1, 0.8, n + 1)
    many = torque_vectors(edge[:-1], edge[1:], np.full(n, L), stiff.torsion, stiff.warping)
    share = (edge - edge[0]) / (edge[-1] - edge[0])
    falling = many[..., 0].T @ (1.0 - share[:-1]) + many[..., 1].T @ (1.0 - share[1:])
    rising = many[..., 0].T @ share[:-1] + many[..., 1].T @ share[1:]
    one = torque_vectors(edge[:1], edge[-1:], np.array([L]), stiff.torsion, stiff.warping)[0]
    np.testing.assert_allclose(one, np.stack([falling, rising], axis=1), rtol=1e-9)
    np.testing.assert_allclose(one[0] + one[2], (edge[-1] - edge[0]) / 2.0, rtol=1e-12)
    # equilibrium of moments about the start: what a bar that only twists rigidly cannot resist
    assert (one[1] > 0.0).all()
    assert (one[3] < 0.0).all()


def test_a_load_beside_the_shear_center_twists_by_its_arm():
    """Weight through the centroid of a channel twists it as a torque of weight times the offset."""
    _, stiff = section("section_C60x30x12x2_sharp")
    L = 0.6
    local = local_beams(np.array([[[0.0, 0.0, 0.0], [L, 0.0, 0.0]]]), group([[0, 1]], stiff, warp=[[0, 1]]))
    line = np.zeros((1, 4, 2, 2))
    line[0, 2, :, 0] = 300.0
    line[0, 3, :, 1] = -stiff.center[0] * 300.0
    inside = beam_inside(local, np.zeros((1, 14, 2)), line, np.linspace(0.0, 1.0, 5))
    np.testing.assert_allclose(
        inside.force[0, :, [3, 6, 7], 0], inside.force[0, :, [3, 6, 7], 1], rtol=1e-9, atol=1e-9
    )
    np.testing.assert_allclose(inside.displacement[0, :, 3, 0], inside.displacement[0, :, 3, 1], atol=1e-15)
    assert np.abs(inside.displacement[0, 2, 3, 0]) > 1e-4
