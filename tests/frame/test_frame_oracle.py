"""A general frame program, written by others, on the same rails, grips and arms."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from Pynite import FEModel3D
from rails import HINGE, SLIDING, at, make_clamp, make_layout, make_loads, make_rail

from fea.rails.frame import build_frame, solve_frame

HEIGHT = 0.07
SPRINGS = np.array([2e6, 3e6, 5e6, 800.0, 900.0, 300.0])  # along, across, pull, and about them
SECTION = replace(
    make_rail().section, shear_y=np.inf, shear_z=np.inf
)  # the other program has no shear strain
RAIL = make_rail(SECTION)

CASES = {
    "square": {"length": 3.2, "clamps": [0.15, 0.75, 1.35, 1.95, 2.9]},
    "oblique": {"length": 3.2, "clamps": [0.15, 0.75, 1.35, 1.95, 2.9], "seam": 0.35, "tilt": -0.25},
    "hinge in a span": {"length": 4.0, "clamps": [0.2, 0.8, 1.9, 3.1, 3.8], "seam": -0.3,
                        "splices": [(2.4, HINGE)]},
    "hinge at a clamp": {"length": 4.0, "clamps": [0.2, 0.8, 1.9, 3.1, 3.8], "seam": 0.3, "tilt": 0.1,
                         "splices": [(1.9, HINGE)]},
    "sliding": {"length": 4.0, "clamps": [0.2, 0.8, 1.9, 3.1, 3.8], "seam": 0.3,
                "splices": [(1.4, SLIDING), (2.4, HINGE)]},
}  # fmt: skip


def directions(row):
    """Row axes in the other program's axes X across, Y away from the roof, Z along the seam downward."""
    seam, tilt = row.get("seam", 0.0), row.get("tilt", 0.0)
    across = np.array([np.cos(seam), -np.sin(seam)])
    along = -np.array([np.sin(seam), np.cos(seam)])
    run, up = np.array([np.cos(tilt), np.sin(tilt)]), np.array([-np.sin(tilt), np.cos(tilt)])
    return np.array(
        [[run @ across, 0.0, run @ along], [up @ across, 0.0, up @ along], [0.0, 1.0, 0.0]]
    )  # rows: x, y, z of the row


def other_program(row, lines, points):
    model, axes = FEModel3D(), directions(row)
    metal = RAIL.material
    model.add_material("metal", metal.E, metal.G, 0.3, 0.0)
    model.add_material("rigid", 1e12, 1e12, 0.0, 0.0)
    # its local y is away from the roof, which is z of the row
    model.add_section("rail", SECTION.area, SECTION.I_z, SECTION.I_y, SECTION.J)
    model.add_section("arm", 1.0, 1e-3, 1e-3, 1e-3)
    splices = row.get("splices", [])
    places = sorted({0.0, row["length"], *row["clamps"], *(s for s, _ in splices), *(s for s, _ in points)})
    for i, s in enumerate(places):
        model.add_node(f"N{i}", *(s * axes[0]))
    for i, (a, b) in enumerate(pairwise(places)):
        model.add_member(f"M{i}", f"N{i}", f"N{i + 1}", "metal", "rail")
        kind = dict(splices).get(a)
        if kind:
            model.def_releases(f"M{i}", Dxi=kind is SLIDING, Ryi=True, Rzi=True)
        for s0, s1, force in lines:
            low, high = max(a, s0), min(b, s1)
            if high > low:
                for name, value in zip(("FX", "FY", "FZ"), np.array(force[:3]) @ axes, strict=True):
                    model.add_member_dist_load(f"M{i}", name, value, value, low - a, high - a)
    for s, force in points:
        values = np.concatenate([np.array(force[:3]) @ axes, np.array(force[3:]) @ axes])
        for name, value in zip(("FX", "FY", "FZ", "MX", "MY", "MZ"), values, strict=True):
            model.add_node_load(f"N{places.index(s)}", name, value)
    for j, s in enumerate(row["clamps"]):
        model.add_node(f"G{j}", *(s * axes[0] - [0.0, HEIGHT, 0.0]))
        model.add_member(f"A{j}", f"G{j}", f"N{places.index(s)}", "rigid", "arm")
        for dof, stiffness in zip(("DZ", "DX", "DY", "RZ", "RX", "RY"), SPRINGS, strict=True):
            model.def_support_spring(f"G{j}", dof, stiffness)
    model.analyze_linear(check_stability=False)
    combo = "Combo 1"
    grip = [
        [getattr(model.nodes[f"G{j}"], dof)[combo] for dof in ("DZ", "DX", "DY", "RZ", "RX", "RY")]
        for j in range(len(row["clamps"]))
    ]
    moved = [
        [getattr(model.nodes[f"N{i}"], dof)[combo] for dof in ("DX", "DY", "DZ")] for i in range(len(places))
    ]
    return np.array(grip) * SPRINGS, places, np.array(moved) @ axes.T


@pytest.mark.parametrize("name", CASES)
def test_same_as_another_program(name):
    row = CASES[name]
    lines = [(0.3, 1.1, (40.0, -1500.0, 300.0, 0.0)), (1.1, 2.75, (-60.0, -700.0, -200.0, 0.0))]
    points = [(0.5, (100.0, -400.0, 90.0, 12.0, 7.0, -9.0)), (3.0, (-80.0, 300.0, 50.0, -6.0, 0.0, 4.0))]
    force, places, moved = other_program(row, lines, points)
    loads = make_loads([(0, *line) for line in lines], [(0, *point) for point in points])
    result = solve_frame(build_frame(make_layout([row]), RAIL, make_clamp(SPRINGS, HEIGHT)), loads)
    np.testing.assert_allclose(result.clamp_force[0], force, rtol=0, atol=1e-6 * np.abs(force).max())
    for s, there in zip(places, moved, strict=True):
        here = at(result, s, "deflection")
        np.testing.assert_allclose(here, there, rtol=0, atol=1e-6 * np.abs(moved).max())
