"""Unsymmetric and open beams, curved and elastically founded ones, against closed forms."""

from __future__ import annotations

from typing import Any

import numpy as np

from benchmarks.verification.findings import Finding, check_cases
from fea.elements.beam_data import Beams, BeamStiffness
from fea.model.assembly import build_system
from fea.model.data import GROUND, Array, IntArray, Model, Springs, Ties
from fea.model.solution import solve_model


def beams_of(node: IntArray, stiffness: BeamStiffness, axis_y: Array, warp: IntArray | None = None) -> Beams:
    """Beams without arms and releases."""
    m = len(node)
    return Beams(
        name="beam",
        node=node,
        stiffness=stiffness,
        axis_y=np.broadcast_to(axis_y, (m, 3)),
        offset=np.zeros((m, 2, 3)),
        release=np.zeros((m, 2, 7), dtype=bool),
        warp=np.full((m, 2), -1) if warp is None else warp,
    )


def chain(n: int) -> IntArray:
    """Nodes of n beams one after the other."""
    return np.stack([np.arange(n), np.arange(1, n + 1)], axis=1)


def _open_section(case: dict[str, Any]) -> tuple[BeamStiffness, float]:
    """Stiffness of a section of the tables, its x as local y and its y as local z, and the length."""
    section, test = case["expected"], case["expected"]["cantilever"]
    E = test["E_MPa"] * 1e6
    second = np.array([[section["Ixx_mm4"], section["Ixy_mm4"]], [section["Ixy_mm4"], section["Iyy_mm4"]]])
    stiffness = BeamStiffness(
        axial=E * section["A_mm2"] * 1e-6,
        bending=E * second * 1e-12,
        shear=np.zeros(2),
        torsion=E / (2.0 * (1.0 + test["nu"])) * section["J_mm4"] * 1e-12,
        warping=E * section["Cw_mm6"] * 1e-18,
        center=np.array([section["x_sc_mm"] - section["cx_mm"], section["y_sc_mm"] - section["cy_mm"]]) / 1e3,
        alpha=0.0,
    )
    return stiffness, test["L_mm"] / 1e3


def _cantilever(name: str, words: str) -> list[Finding]:
    """Bending by forces through the shear center, twist by a torque, root held against warping."""
    case = check_cases()[name]
    test = case["expected"]["cantilever"]
    stiffness, L = _open_section(case)
    node = chain(1)
    fixed = np.array([*range(6), 12])
    model = Model(
        xyz=np.array([[0.0, 0.0, 0.0], [L, 0.0, 0.0]]),
        beams=(beams_of(node, stiffness, np.array([0.0, 1.0, 0.0]), warp=node),),
        ties=Ties(fixed_dof=fixed, fixed_value=np.zeros(len(fixed))),
    )
    load = np.zeros((model.dof_count, 2))
    side, up = test["Fx_N"], test["Fy_N"]
    y, z = stiffness.center
    load[[7, 8, 9], 0] = side, up, y * up - z * side
    load[9, 1] = test["T_Nmm"] / 1e3
    u = solve_model(build_system(model), load).displacement
    more = {"source": "unsymmetric bending and Vlasov torsion, closed form", "mesh": "one beam", "bar": 1e-6}
    return [
        Finding(f"{words}, sideways", unit="mm", value=1e3 * u[7, 0], reference=test["tip_ux_mm"], **more),
        Finding(f"{words}, upward", unit="mm", value=1e3 * u[8, 0], reference=test["tip_uy_mm"], **more),
        Finding(
            f"{words}, twist",
            unit="rad",
            value=u[9, 1],
            reference=test["tip_twist_warping_fixed_root_free_tip_rad"],
            **more,
        ),
    ]


def _founded() -> list[Finding]:
    """A free beam on many springs for an elastic foundation, load in the middle."""
    case = check_cases()["hetenyi_free_free_central_A"]
    inputs, expected = case["inputs"], case["expected"]
    n, length = 800, inputs["l_mm"] / 1e3
    EI = inputs["EI_Nmm2"] * 1e-6
    share = np.full(n + 1, inputs["k_foundation_N_per_mm2"] * 1e6 * length / n)
    share[[0, -1]] /= 2.0
    K = np.zeros((n + 1, 6, 6))
    K[:, 2, 2] = share
    stiffness = BeamStiffness(1e7, EI * np.eye(2), np.zeros(2), 1e3, 0.0, np.zeros(2), 0.0)
    model = Model(
        xyz=np.linspace([0.0, 0.0, 0.0], [length, 0.0, 0.0], n + 1),
        beams=(beams_of(chain(n), stiffness, np.array([0.0, 1.0, 0.0])),),
        springs=(
            Springs(
                "foundation",
                np.stack([np.arange(n + 1), np.full(n + 1, GROUND)], axis=1),
                K,
                np.broadcast_to(np.eye(3), (n + 1, 3, 3)),
            ),
        ),
        ties=Ties(np.array([0, 1, 3, 5]), np.zeros(4)),  # what the load does not call on
    )
    load = np.zeros((model.dof_count, 1))
    load[6 * (n // 2) + 2] = inputs["P_N"]
    u = solve_model(build_system(model), load).displacement[2::6, 0] * 1e3
    more = {
        "source": "Hetényi, Beams on Elastic Foundation (from memory)",
        "mesh": f"{n} beams and springs",
        "unit": "mm",
        "bar": case["tolerance"]["rel"],
    }
    return [
        Finding(
            "beam on elastic foundation, middle", value=u[n // 2], reference=expected["w_centre_mm"], **more
        ),
        Finding("beam on elastic foundation, end", value=u[0], reference=expected["w_end_mm"], **more),
    ]


def beam_findings() -> list[Finding]:
    """All of this module."""
    return [
        *_cantilever("section_L40x40x3_sharp", "Angle 40 x 3 as a cantilever"),
        *_cantilever("section_C60x30x12x2_sharp", "Lipped channel 60 x 30 x 12 x 2 as a cantilever"),
        *_founded(),
    ]
