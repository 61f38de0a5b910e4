"""The single beam against closed forms, cut at will."""

import numpy as np
import pytest
from rails import CONTINUOUS, HINGE, SLIDING, at, make_clamp, make_layout, make_loads, make_rail, plain_rail

from fea.elements.beam_loads import line_load_vectors, point_load_vectors
from fea.elements.beams import beam_stiffness, rail_stiffness
from fea.rails.frame import build_frame, solve_frame
from roofmodel.sections import rectangular_tube

FIXED = make_clamp(np.full(6, 1e15))  # moves by 1e-12 m or rad under a kilonewton or kilonewton meter
RAIL = make_rail(rectangular_tube(0.06, 0.04, 0.003))
E, G, S = RAIL.material.E, RAIL.material.G, RAIL.section


def cantilever(lines=(), points=(), length=1.3, clamps=(0.0,), splices=(), thermal=(0.0,), clamp=FIXED):
    layout = make_layout([{"length": length, "clamps": clamps, "splices": splices}])
    return solve_frame(build_frame(layout, RAIL, clamp), make_loads(lines, points, thermal))


def test_stiffness_is_symmetric_with_six_rigid_motions():
    K = beam_stiffness(np.array([0.02, 0.4, 5.0]), rail_stiffness(RAIL))
    np.testing.assert_allclose(K, np.swapaxes(K, 1, 2), rtol=0, atol=0)
    for matrix in K:
        unit = matrix / np.sqrt(np.outer(np.diag(matrix), np.diag(matrix)))
        values = np.linalg.eigvalsh(unit)
        assert (np.abs(values[:6]) < 1e-12).all()
        assert values[6] > 1e-4


def test_cantilever_tip():
    """Timoshenko: P L^3 / 3 E I + P L / G A_s, and P L at the root (textbook, from memory)."""
    L, P, T = 1.3, 400.0, 30.0
    result = cantilever(points=[(0, L, (P, P, P, T, 0.0, 0.0))])
    tip = at(result, L, "deflection", side=-1)
    shear = 1.0 / (G * np.array([S.shear_y, S.shear_z]))
    bend = L**3 / (3.0 * E * np.array([S.I_z, S.I_y]))
    np.testing.assert_allclose(tip, [P * L / (E * S.area), *(P * (bend + L * shear))], rtol=1e-7)
    np.testing.assert_allclose(at(result, 0.0, "rail_force"), [P, P, P, T, -P * L, P * L], rtol=1e-9)


@pytest.mark.parametrize("axis", [1, 2])
def test_cantilever_under_part_load_everywhere(axis):
    """Deflection and moment along a cantilever with uniform load on [a, b], by integrals of unit loads."""
    L, a, b, q = 1.3, 0.35, 0.95, 900.0
    line = np.zeros(4)
    line[axis] = q
    places = np.linspace(0.0, L, 27)
    result = cantilever([(0, a, b, line)], [(0, s, np.zeros(6)) for s in places], L)
    EI, GA = (E * S.I_z, G * S.shear_y) if axis == 1 else (E * S.I_y, G * S.shear_z)
    node, weight = np.polynomial.legendre.leggauss(4)

    def integral(function, low, high):
        if high <= low:
            return 0.0
        x = (low + high) / 2.0 + (high - low) / 2.0 * node
        return float((function(x) * weight).sum() * (high - low) / 2.0)

    for s in places:
        cut = np.clip(s, a, b)
        w = integral(lambda x, s=s: x**2 * (3.0 * s - x) / (6.0 * EI) + x / GA, a, cut) + integral(
            lambda x, s=s: s**2 * (3.0 * x - s) / (6.0 * EI) + s / GA, cut, b
        )
        moment = integral(lambda x, s=s: x - s, cut, b) * q
        np.testing.assert_allclose(at(result, s, "deflection")[axis], q * w, rtol=1e-8, atol=2e-12)
        component, sign = (5, 1.0) if axis == 1 else (4, -1.0)
        force = at(result, s, "rail_force")
        np.testing.assert_allclose(force[component], sign * moment, rtol=1e-9, atol=1e-9)
        np.testing.assert_allclose(force[axis], q * (b - cut), rtol=1e-9, atol=1e-9)


def test_torsion_of_a_load_beside_the_axis():
    """Torsion m on [a, b] between clamps: T is linear there and reaches the clamps whole."""
    L, a, b, m = 2.0, 0.5, 1.1, 70.0
    result = cantilever([(0, a, b, (0.0, 0.0, 0.0, m))], length=L, clamps=(0.0, L))
    right = m * (b**2 - a**2) / 2.0 / L
    np.testing.assert_allclose(at(result, L, "rail_force")[3], -right, rtol=1e-8)
    np.testing.assert_allclose(at(result, 0.0, "rail_force")[3], m * (b - a) - right, rtol=1e-8)
    np.testing.assert_allclose(at(result, a, "rail_force")[3], m * (b - a) - right, rtol=1e-8)
    # across looks along x here, so the moment about across is the twist about the rail
    np.testing.assert_allclose(result.clamp_force[0, :, 4], [m * (b - a) - right, right], rtol=1e-8)


def test_heat_between_stiff_clamps_and_free():
    rise = 40.0
    held = cantilever(length=2.0, clamps=(0.0, 0.7, 2.0), thermal=(rise,))
    force = -E * S.area * RAIL.material.alpha * rise
    np.testing.assert_allclose(held.rail_force[0, :, 0], force, rtol=1e-6)
    np.testing.assert_allclose(held.clamp_force[0, [0, 2], 1], [force, -force], rtol=1e-6)
    free = cantilever(length=2.0, clamps=(0.5,), thermal=(rise,))
    expected = RAIL.material.alpha * rise * (free.sample_s - 0.5)
    np.testing.assert_allclose(free.deflection[0, :, 0], expected, rtol=1e-9, atol=1e-15)
    assert np.abs(free.rail_force).max() < 1e-6 * abs(force)
    sliding = cantilever(length=2.0, clamps=(0.0, 2.0), splices=((0.8, SLIDING),), thermal=(rise,))
    assert np.abs(sliding.rail_force[0, :, 0]).max() < 1e-6 * abs(force)
    hinged = cantilever(length=2.0, clamps=(0.0, 2.0), splices=((0.8, HINGE),), thermal=(rise,))
    np.testing.assert_allclose(hinged.rail_force[0, :, 0], force, rtol=1e-6)


def test_heat_on_elastic_clamps():
    """Two clamps of stiffness k and a bar: N = -alpha dT L / (L / EA + 2 / k)."""
    k, L, rise = 3e6, 1.8, -25.0
    result = cantilever(
        length=L, clamps=(0.0, L), thermal=(rise,), clamp=make_clamp([1e6, k, 1e6, 1e3, 1e3, 1e3])
    )
    expected = -RAIL.material.alpha * rise * L / (L / (E * S.area) + 2.0 / k)
    np.testing.assert_allclose(result.rail_force[0, :, 0], expected, rtol=1e-9)


@pytest.mark.parametrize("kind", [HINGE, SLIDING])
def test_hinge_in_a_propped_beam(kind):
    """Fixed, hinge at mid-span, fixed: two cantilevers that share a load at the hinge equally."""
    L, P = 1.6, 500.0
    result = cantilever(
        points=[(0, L / 2.0, (0.0, P, P, 0.0, 0.0, 0.0))],
        length=L,
        clamps=(0.0, L),
        splices=((L / 2.0, kind),),
    )
    half = L / 2.0
    tip = P / 2.0 * (half**3 / (3.0 * E * np.array([S.I_z, S.I_y])))
    tip += P / 2.0 * half / (G * np.array([S.shear_y, S.shear_z]))
    for side in (0, -1):
        np.testing.assert_allclose(at(result, half, "deflection", side=side)[1:], tip, rtol=1e-8)
        np.testing.assert_allclose(at(result, half, "rail_force", side=side)[4:], 0.0, atol=1e-8 * P)
    np.testing.assert_allclose(
        at(result, 0.0, "rail_force")[4:], [-P * half / 2.0, P * half / 2.0], rtol=1e-8
    )


def test_splice_passes_torsion_and_axial_force_by_kind():
    L, N, T = 1.6, 800.0, 25.0
    for kind, share in ((HINGE, 0.5), (CONTINUOUS, 0.5), (SLIDING, 1.0)):
        result = cantilever(
            points=[(0, 0.4, (N, 0.0, 0.0, T, 0.0, 0.0)), (0, 1.2, (-N, 0.0, 0.0, T, 0.0, 0.0))],
            length=L,
            clamps=(0.0, L),
            splices=((L / 2.0, kind),),
        )
        middle = at(result, L / 2.0, "rail_force")
        # bars of 0.4, 0.8 and 0.4 m between stiff ends: half of the pair returns over the ends
        np.testing.assert_allclose(middle[0], -(1.0 - share) * N, rtol=1e-6, atol=1e-6 * N)
        np.testing.assert_allclose(at(result, 0.0, "rail_force")[[0, 3]], [share * N, T], rtol=1e-6)


def test_nodal_loads_sum_up_and_a_long_line_is_many_points():
    stiff = rail_stiffness(plain_rail(2800.0, 5e5))
    L, a, b = np.array([0.9]), np.array([0.2]), np.array([0.65])
    line = line_load_vectors(a, b, L, stiff)[0]
    node, weight = np.polynomial.legendre.leggauss(9)
    x = (a + b) / 2.0 + (b - a) / 2.0 * node
    points = point_load_vectors(x, np.full(9, 0.9), stiff)
    total = np.einsum("n,nij->ij", weight * (b - a) / 2.0, points)[:, :4]
    np.testing.assert_allclose(line, total, rtol=1e-12, atol=1e-14)
    force = line[:3] + line[6:9]
    np.testing.assert_allclose(force[:, :3], 0.45 * np.eye(3), rtol=1e-12, atol=1e-15)
    moment = line[5] + line[11] + L * line[7]
    np.testing.assert_allclose(moment[1], 0.45 * 0.425, rtol=1e-12)
