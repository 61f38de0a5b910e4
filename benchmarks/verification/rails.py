"""Continuous rails on clamps against closed forms."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from benchmarks.verification.findings import Finding, check_cases
from fea.rails.frame import build_frame, solve_frame
from fea.rails.loads import FrameResult, RailLoads
from roofmodel.hardware import Clamp, Interaction, Material, Rail
from roofmodel.layout import Layout, SpliceKind
from roofmodel.sections import from_values

RIGID = 1e14  # no support moves by a digit that is printed [N/m]
ROLL = 1e6  # holds the twist only, which no load here calls on [N m/rad]
PIECES = 2000  # uniform pieces for a load that varies
WORDS = {
    "unequal A": "unequal spans,",
    "12clamps": "12 clamps,",
    "41springs vs hetenyi A": "41 clamps in place of an elastic foundation",
    " rigid": " rigid clamps",
    "timoshenko": "with shear",
    "missing2": "one missing",
    "hinge2750": "load, hinge,",
    "kNmm": " kN/mm clamps",
    "spring0": "0",
    "spring2": "2",
    "spring8": "8",
    " spring": " clamps on springs",
}  # in this order
EXACT = "exact beams, one a span"


def _rail(EI: float, GAs: float) -> Rail:
    unit = Material("unit", E=1.0, G=1.0, alpha=0.0, density=0.0, yield_strength=1.0)
    section = from_values(
        area=1e7,
        I_y=EI,
        I_z=EI,
        J=1e4,
        W_y=1.0,
        W_z=1.0,
        W_t=1.0,
        depth_y=0.05,
        depth_z=0.05,
        shear_y=GAs,
        shear_z=GAs,
    )
    return Rail(section, unit, np.nan, 0.0, 1.1, "")


def _clamp(stiffness: float) -> Clamp:
    free = np.full(6, np.nan)
    K = np.diag([stiffness, stiffness, stiffness, 0.0, ROLL, 0.0])
    return Clamp(K, free, free, 1.0, "", 0.0, 0.0, 0.06, 0.0, Interaction.LINEAR, "")


def _layout(length: float, clamps: np.ndarray, hinges: list[float]) -> Layout:
    c = len(clamps)
    return Layout(
        row_name=("R1",),
        row_plane=np.zeros(1, dtype=np.int64),
        row_start=np.zeros((1, 2)),
        row_end=np.array([[length, 0.0]]),
        row_full=np.ones((1, 2), dtype=bool),
        clamp_name=tuple(str(i + 1) for i in range(c)),
        clamp_row=np.zeros(c, dtype=np.int64),
        clamp_s=clamps,
        clamp_uv=np.stack([clamps, np.zeros(c)], axis=1),
        clamp_seam=np.arange(c),
        seam_angle=np.zeros(1),
        splice_row=np.zeros(len(hinges), dtype=np.int64),
        splice_s=np.array(hinges, dtype=float),
        splice_kind=(SpliceKind.HINGE,) * len(hinges),
    )


def _solve(case: dict[str, Any]) -> FrameResult:
    """Rail of a table under its loads, which pull away from the roof."""
    inputs = case["inputs"]
    shift = inputs["x_start_mm"]
    s0, s1, line, at, force = [], [], [], [], []
    for load in inputs["loads"]:
        if load["type"] == "point":
            at.append((load["x_mm"] - shift) / 1e3)
            force.append(load["P_N"])
            continue
        first, last = load["q_a_N_per_mm"] * 1e3, load["q_b_N_per_mm"] * 1e3
        pieces = 1 if first == last else PIECES
        edges = np.linspace(load["x_a_mm"] - shift, load["x_b_mm"] - shift, pieces + 1) / 1e3
        s0.append(edges[:-1])
        s1.append(edges[1:])
        line.append(first + (last - first) * (np.arange(pieces) + 0.5) / pieces)
    lines, points = np.concatenate([np.zeros(0), *line]), np.array(force, dtype=float)
    pull = np.array([0.0, 0.0, 1.0, 0.0])
    loads = RailLoads(
        row=np.zeros(len(lines), dtype=np.int64),
        s0=np.concatenate([np.zeros(0), *s0]),
        s1=np.concatenate([np.zeros(0), *s1]),
        line=(lines[:, None] * pull)[None],
        point_row=np.zeros(len(points), dtype=np.int64),
        point_s=np.array(at, dtype=float),
        point=(points[:, None] * np.array([0.0, 0.0, 1.0, 0.0, 0.0, 0.0]))[None],
        thermal=np.zeros(1),
    )
    given = inputs["clamp_k_N_per_mm"]
    stiffness = np.full(len(given), RIGID) if given[0] == "rigid" else np.array(given) * 1e3
    layout = _layout(
        (inputs["x_end_mm"] - shift) / 1e3,
        (np.array(inputs["clamp_x_mm"]) - shift) / 1e3,
        [(x - shift) / 1e3 for x in inputs["hinge_x_mm"]],
    )
    rail = _rail(inputs["EI_Nmm2"] * 1e-6, inputs["GAs_N"] or np.inf)
    top = float(stiffness.max())
    return solve_frame(build_frame(layout, rail, _clamp(top), clamp_scale=stiffness / top), loads)


def rail_on_rigid_clamps(spans: int, span: float, line: float, EI: float, height: float) -> FrameResult:
    """Rail under an even force down the slope [N/m] on clamps that hold it this far above the seam. SI."""
    places = span * np.arange(spans + 1)
    clamp = replace(_clamp(RIGID), stiffness=np.diag([RIGID, RIGID, RIGID, 1e3, RIGID, 0.0]), height=height)
    loads = RailLoads(
        row=np.zeros(1, dtype=np.int64),
        s0=np.zeros(1),
        s1=places[-1:],
        line=np.array([[[0.0, -line, 0.0, 0.0]]]),
        point_row=np.zeros(0, dtype=np.int64),
        point_s=np.zeros(0),
        point=np.zeros((1, 0, 6)),
        thermal=np.zeros(1),
    )
    layout = _layout(float(places[-1]), places, [])
    return solve_frame(build_frame(layout, _rail(EI, np.inf), clamp), loads)


def _title(name: str) -> str:
    """A table's name in words."""
    words = name.removeprefix("rail_").replace("_", " ")
    for short, long in WORDS.items():
        words = words.replace(short, long)
    return words[0].upper() + words[1:]


def rail_findings() -> list[Finding]:
    """Largest clamp force and largest moment of every table of rails."""
    found = []
    for name, case in check_cases().items():
        if not name.startswith(("rail_unequal", "rail_12", "rail_41")):
            continue
        result, expected = _solve(case), case["expected"]
        reaction = np.array(expected["reactions_N"])
        worst = int(np.abs(reaction).argmax())
        title = _title(name)
        more = {"source": case["source"].split(";")[0], "mesh": EXACT, "bar": case["tolerance"]["rel"]}
        force = float(result.clamp_force[0, worst, 2])
        found.append(
            Finding(f"{title}: clamp force", unit="N", value=force, reference=float(reaction[worst]), **more)
        )
        moment = float(np.abs(result.rail_force[0, :, 4]).max())
        top = expected["M_max_abs_Nmm"] / 1e3
        found.append(Finding(f"{title}: moment", unit="N m", value=moment, reference=top, **more))
    return found
