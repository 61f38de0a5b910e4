"""A row as a plain beam on springs: the second, simpler road to what the frame gives a clamp."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve

from fea.analysis import Analysis
from viewer.quantities import quantity, system
from viewer.report.working_parts import ClampAt

Array = NDArray[np.float64]

NEAR = 1e-3  # places nearer to each other are one [m]
BESIDE = 0.015  # so much may the frame lie outside the two beams and still agree [-]
SHEAR, SPLIT = "the rail's shear, twist and warping", "splices"


def plain_reactions(places: Array, spring: Array, bending: float, lines: Array) -> Array:
    """Reactions of springs under a beam without shear or torsion, exact for even loads between nodes.

    Parameters
    ----------
    places : (c,) float
        Springs along the beam, sorted. [m]
    spring : (c,) float
        [N/m]
    bending : float
        E I. [N m^2]
    lines : (k, 3) float
        Start, end [m] and load per length [N/m] of even loads; together they reach over the whole beam.

    Returns
    -------
    (c,) float
        [N]
    """
    bounds = np.unique(np.round(lines[:, :2] / NEAR)) * NEAR
    bounds = bounds[np.abs(bounds[:, None] - places).min(axis=1) > NEAR]
    nodes = np.sort(np.concatenate([places, bounds]))
    at = np.abs(nodes[:, None] - places).argmin(axis=0)
    n, length = len(nodes), np.diff(nodes)
    middle = 0.5 * (nodes[1:] + nodes[:-1])
    load = np.where((middle[:, None] > lines[:, 0]) & (middle[:, None] < lines[:, 1]), lines[:, 2], 0.0).sum(
        1
    )
    one, none = np.ones(n - 1), length
    shape = np.array(
        [
            [12.0 * one, 6.0 * none, -12.0 * one, 6.0 * none],
            [6.0 * none, 4.0 * none**2, -6.0 * none, 2.0 * none**2],
            [-12.0 * one, -6.0 * none, 12.0 * one, -6.0 * none],
            [6.0 * none, 2.0 * none**2, -6.0 * none, 4.0 * none**2],
        ]
    ) * (bending / length**3)
    dof = 2 * np.arange(n - 1)[:, None] + np.arange(4)
    stiffness, force = np.zeros((2 * n, 2 * n)), np.zeros(2 * n)
    np.add.at(stiffness, (dof[:, :, None], dof[:, None, :]), shape.transpose(2, 0, 1))
    parts = np.stack([0.5 * length, length**2 / 12.0, 0.5 * length, -(length**2) / 12.0], axis=1)
    np.add.at(force, dof, load[:, None] * parts)
    np.add.at(stiffness, (2 * at, 2 * at), spring)
    return np.asarray(spring * solve(stiffness, force, assume_a="pos")[2 * at])


def springs(analysis: Analysis, at: ClampAt) -> tuple[Array, Array]:
    """Springs (2, c) of the row's clamps at the rail, free to tip and held upright, and their places (c,)."""
    layout = analysis.project.layout
    on = np.flatnonzero(layout.clamp_row == layout.clamp_row[at.clamp])
    stiff = analysis.states[at.state].frame().clamp_stiffness[on]
    grip, rocking = stiff[:, 0, 0], stiff[:, 4, 4]
    arm = lever(analysis, at)
    with np.errstate(divide="ignore", invalid="ignore"):
        tipping = 1.0 / (1.0 / grip + (arm**2 / rocking if arm > 0.0 else 0.0))
    return np.stack([tipping, grip]), layout.clamp_s[on]


def lever(analysis: Analysis, at: ClampAt) -> float:
    """Height of the sliding force over the grip. [m]."""
    return analysis.project.clamp.height + (analysis.project.rail.section.highest_top if at.top else 0.0)


def plain_shares(analysis: Analysis, at: ClampAt) -> tuple[Array, Array]:
    """Of plain beams on clamps that tip freely and not at all: k (2,), and k_E (2, 2) by row end."""
    project = analysis.project
    layout, force = project.layout, analysis.force
    row = int(layout.clamp_row[at.clamp])
    stiff, places = springs(analysis, at)
    bending = project.rail.material.E * project.rail.section.I_z
    here = int(np.flatnonzero(np.flatnonzero(layout.clamp_row == row) == at.clamp)[0])
    on, long = force.row == row, float(layout.row_length[row])
    span = force.span[on]
    line = -force.thrust[at.case, on, 1] / np.ptp(span, axis=1)
    over = np.clip([places[0], long - places[-1]], 2.0 * NEAR, None)
    ends = (
        np.array([[0.0, over[0], 1.0 / over[0]], [over[0], long, 0.0]]),
        np.array([[long - over[1], long, 1.0 / over[1]], [0.0, long - over[1], 0.0]]),
    )
    total = float(analysis.tributary[at.case, at.clamp])
    snow, bound = np.zeros(2), np.zeros((2, 2))
    for k, spring in enumerate(stiff):
        if total > 0.0:
            snow[k] = plain_reactions(places, spring, bending, np.column_stack([span, line]))[here] / total
        bound[k] = [plain_reactions(places, spring, bending, one)[here] for one in ends]
    return snow, bound


def tipping_least(analysis: Analysis, at: ClampAt) -> float:
    """k_M of a rail that cannot twist: all clamps of the row tip alike and share the moment."""
    layout = analysis.project.layout
    on = np.flatnonzero(layout.clamp_row == layout.clamp_row[at.clamp])
    force = analysis.clamp_force[at.case][:, on, 0]
    here = int(np.flatnonzero(on == at.clamp)[0])
    reading = int(np.abs(force[:, here] - at.force[0]).argmin())
    return float(force[reading].mean() / force[reading, here])


def beam_words(analysis: Analysis, at: ClampAt) -> str:
    """What the two plain beams are, so that anyone can repeat them, and k by each."""
    if _none(analysis, at):
        return ""
    units = system(analysis.project.table.project.units)
    stiff, _ = springs(analysis, at)
    here = int(at.clamp - np.flatnonzero(analysis.project.layout.clamp_row == _row(analysis, at))[0])
    soft, firm = (quantity(float(one[here]), "stiffness", units, 4) for one in stiff)
    rail = analysis.project.rail
    young = quantity(rail.material.E, "modulus", units, 4)
    inertia = quantity(rail.section.I_z, "second moment", units, 4)
    arm = quantity(lever(analysis, at), "size", units, 4)
    k = plain_shares(analysis, at)[0]
    frame = float(at.parts[0, 0]) / float(analysis.tributary[at.case, at.clamp])
    return (
        f"By hand: the row as a plain beam (E {young}, I {inertia}) on one spring for each clamp, under its "
        f"load per length. Clamps free to tip, spring {soft} = 1 / (1 / k_g + e^2 / k_r), e = {arm}: "
        f"k = {k[0]:.3f}; held upright, k_g = {firm}: k = {k[1]:.3f}. {_verdict(frame, k)}"
    )


def end_words(analysis: Analysis, at: ClampAt, end: int, frame: float) -> str:
    """k_E by the two plain beams."""
    if _none(analysis, at):
        return ""
    k = plain_shares(analysis, at)[1][:, end]
    return (
        f"By the plain beams of step R under a force 1 evenly on the overhang: {k[0]:.3f} and {k[1]:.3f}. "
        f"{_verdict(frame, k)}"
    )


def tipping_words(analysis: Analysis, at: ClampAt, frame: float) -> str:
    """Between which bounds k_M lies."""
    least = tipping_least(analysis, at)
    if not 0.0 < least < 1.0:
        return ""
    said = (
        f"Bounds by hand: 1 where the rail passes on no twist, and ΣF / (n F) = {least:.3f} where it cannot "
        "twist, so that all n clamps of the row tip alike (F of all clamps: see Clamps)."
    )
    return (
        said
        if least - BESIDE <= frame <= 1.0 + BESIDE
        else f"{said} The frame is outside: {SPLIT} and {SHEAR}."
    )


def _verdict(frame: float, bounds: Array) -> str:
    low, high = float(bounds.min()), float(bounds.max())
    if low * (1.0 - BESIDE) <= frame <= high * (1.0 + BESIDE):
        return "The frame, whose rail twists and so tips its clamps together, must lie about between them."
    off = max(low / frame - 1.0, frame / high - 1.0) if frame > 0.0 else 1.0
    return (
        f"The frame is {100.0 * off:.0f} % outside them: the plain beams leave out {SPLIT}, {SHEAR} and what "
        "panels give way."
    )


def _row(analysis: Analysis, at: ClampAt) -> int:
    return int(analysis.project.layout.clamp_row[at.clamp])


def _none(analysis: Analysis, at: ClampAt) -> bool:
    """Whether there are no plain beams: panels give way, a lone clamp, or springs that hold nothing."""
    stiff, places = springs(analysis, at)
    soft = bool(analysis.project.table.analysis.panel_flexibility)
    return soft or len(places) < 2 or not bool(np.all(stiff > 0.0))
