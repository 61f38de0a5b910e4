"""A general frame program, written by others, on random frames in space."""

import numpy as np
from bars import group, solve
from hypothesis import given, settings
from hypothesis import strategies as st
from Pynite import FEModel3D

from fea.elements.beam_data import BeamStiffness

E, G = 210e9, 81e9
LOCAL = ("Dxi", "Dyi", "Dzi", "Rxi", "Ryi", "Rzi", "Dxj", "Dyj", "Dzj", "Rxj", "Ryj", "Rzj")
FORCES = ("FX", "FY", "FZ", "MX", "MY", "MZ")
MOVES = ("DX", "DY", "DZ", "RX", "RY", "RZ")


@settings(deadline=None, max_examples=25)
@given(st.integers(0, 2**31))
def test_same_as_another_program(seed):
    """Displacements of frames of 4 to 8 nodes with hinged members, to 1e-8 of the largest."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(4, 9))
    xyz = rng.uniform(-3.0, 3.0, (n, 3))
    tree = [(int(rng.integers(0, i)), i) for i in range(1, n)]
    more = [tuple(rng.choice(n, 2, replace=False)) for _ in range(n)]
    node = np.array([*tree, *more])
    area, I_y, I_z, J = 10.0 ** rng.uniform([-3.3, -7, -7, -7], [-2.7, -6, -6, -6])
    model = FEModel3D()
    model.add_material("steel", E, G, 0.3, 0.0)
    model.add_section("bar", area, I_y, I_z, J)
    for i, place in enumerate(xyz):
        model.add_node(f"N{i}", *map(float, place))
    for e, (i, j) in enumerate(node):
        model.add_member(f"M{e}", f"N{i}", f"N{j}", "steel", "bar", rotation=float(rng.uniform(-90, 90)))
    model.def_support("N0", *[True] * 6)
    release = np.zeros((len(node), 2, 7), dtype=bool)
    for e in range(len(tree), len(node)):  # the tree stays stiff, the others may hinge at their ends
        release[e, :, 4:6] = rng.random((2, 2)) < 0.4
        release[e, 0, 3] = rng.random() < 0.3
        names = dict(zip(LOCAL, release[e, :, :6].ravel(), strict=True))
        model.def_releases(f"M{e}", **{name: True for name, free in names.items() if free})
    loads = {}
    for i in range(1, n):
        values = rng.normal(size=6) * 1000.0
        for name, value in zip(FORCES, values, strict=True):
            model.add_node_load(f"N{i}", name, float(value))
        loads |= dict(zip(range(6 * i, 6 * i + 6), values, strict=True))
    axis_y = np.array([model.members[f"M{e}"].T()[1, :3] for e in range(len(node))])
    model.analyze_linear(check_stability=False)
    there = np.array([[getattr(model.nodes[f"N{i}"], name)["Combo 1"] for name in MOVES] for i in range(n)])
    stiff = BeamStiffness(E * area, E * np.diag([I_y, I_z]), np.zeros(2), G * J, 0.0, np.zeros(2), 0.0)
    u, _ = solve(xyz, group(node, stiff, axis_y, release=release), range(6), loads)
    np.testing.assert_allclose(u.reshape(n, 6), there, rtol=0, atol=1e-8 * np.abs(there).max())
