"""A row as two plain beams on springs: a simpler road beside what the frame gives a clamp."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve

from fea.analysis import Analysis
from viewer.quantities import quantity, system
from viewer.report.working_parts import ClampAt

Array = NDArray[np.float64]

NEAR = 1e-3  # places nearer to each other are one [m]
SAME = 0.05  # a difference that three digits of k do not show [%]
NOT_BETWEEN = "The frame's rail passes twist on from clamp to clamp, so its k need not lie between"


@dataclass(frozen=True)
class PlainBeams:
    """A row as a beam without shear or torsion on clamps that tip each by itself, and that do not tip.

    A load h above the rail's axis, which is e above the grip, tips a clamp by (R e + h T) / k_r: R on it, T
    its part of the load by lever between clamps. Its place of rest so moves by e h T / k_r.

    Attributes
    ----------
    places : (c,) float
        Clamps along the row. [m]
    spring : (2, c) float
        Of either beam: 1 / (1 / k_g + e^2 / k_r), and k_g. [N/m]
    slack : (2, c) float
        e h / k_r, and nothing; 0 where the load is at the axis. [m/N]
    bending : float
        E I of the rail. [N m^2]
    long : float
        Length of the row. [m]
    here : int
        The clamp among them.
    """

    places: Array
    spring: Array
    slack: Array
    bending: float
    long: float
    here: int


def plain_reactions(
    places: Array, spring: Array, bending: float, lines: Array, rest: Array | None = None
) -> Array:
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
    rest : (c,) float, optional
        Places of the beam, in the direction of the load, at which its springs have no force. [m]

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
    away = np.zeros(len(places)) if rest is None else rest
    np.add.at(force, 2 * at, spring * away)
    return np.asarray(spring * (solve(stiffness, force, assume_a="pos")[2 * at] - away))


def by_lever(places: Array, lines: Array) -> Array:
    """Part of even loads (k, 3) that each place takes by lever between it and the next ones, (c,). [N]."""
    low, high = lines[:, 0], lines[:, 1]
    bounds = np.unique(np.concatenate([places, low, high]))
    middle, length = 0.5 * (bounds[1:] + bounds[:-1]), np.diff(bounds)
    load = np.where((middle[:, None] > low) & (middle[:, None] < high), lines[:, 2], 0.0).sum(axis=1) * length
    share = np.stack([np.interp(middle, places, unit) for unit in np.eye(len(places))])
    return np.asarray(share @ load)


def lever(analysis: Analysis, at: ClampAt) -> float:
    """Height of the sliding force over the grip. [m]."""
    return analysis.project.clamp.height + (analysis.project.rail.section.highest_top if at.top else 0.0)


def plain_beams(analysis: Analysis, at: ClampAt) -> PlainBeams | None:
    """Those of a clamp's row; None for a lone clamp, springs that hold nothing, panels that give way."""
    project, layout = analysis.project, analysis.project.layout
    on = np.flatnonzero(layout.clamp_row == layout.clamp_row[at.clamp])
    stiff = analysis.states[at.state].frame().clamp_stiffness[on]
    grip, rocking = stiff[:, 0, 0], stiff[:, 4, 4]
    arm, above = project.clamp.height, lever(analysis, at) - project.clamp.height
    with np.errstate(divide="ignore", invalid="ignore"):
        tipping = 1.0 / (1.0 / grip + (arm**2 / rocking if arm > 0.0 else 0.0))
        slack = arm * above / rocking if arm * above > 0.0 else np.zeros(len(on))
    spring = np.stack([tipping, grip])
    if project.table.analysis.panel_flexibility or len(on) < 2 or not bool(np.all(spring > 0.0)):
        return None
    return PlainBeams(
        places=layout.clamp_s[on],
        spring=spring,
        slack=np.stack([slack, np.zeros(len(on))]),
        bending=project.rail.material.E * project.rail.section.I_z,
        long=float(layout.row_length[layout.clamp_row[at.clamp]]),
        here=int(np.searchsorted(on, at.clamp)),
    )


def row_lines(analysis: Analysis, at: ClampAt) -> tuple[Array, Array]:
    """Start, end [m] and load per length [N/m] of snow on a clamp's row and of that from beside, (k, 3)."""
    force, row = analysis.force, int(analysis.project.layout.clamp_row[at.clamp])
    on = force.row == row
    span = force.span[on]
    per = np.ptp(span, axis=1)
    snow, beside = (-load[at.case, on, 1] / per for load in (force.thrust, force.aside))
    return np.column_stack([span, snow]), np.column_stack([span, beside])


def snow_shares(analysis: Analysis, at: ClampAt, beams: PlainBeams) -> Array:
    """Shares k by either beam, (2,); a load at the rail's top brings the torque of all snow on the row."""
    force, row = analysis.force, int(analysis.project.layout.clamp_row[at.clamp])
    snow, beside = row_lines(analysis, at)
    ends = np.stack([one[0] for one in _ends(beams)]) * np.insert(
        np.ones((2, 2)), 2, force.end_bound[at.case, row], axis=1
    )
    turning = np.concatenate([snow, beside, ends])
    part = by_lever(beams.places, turning)
    total = float(analysis.tributary[at.case, at.clamp])
    return np.array(
        [
            plain_reactions(beams.places, spring, beams.bending, snow, slack * part)[beams.here] / total
            for spring, slack in zip(beams.spring, beams.slack, strict=True)
        ]
    )


def end_shares(beams: PlainBeams, end: int) -> Array:
    """k_E by either beam, (2,): a force 1 evenly on the overhang at an end, at the height of the axis."""
    line = _ends(beams)[end]
    return np.array(
        [plain_reactions(beams.places, one, beams.bending, line)[beams.here] for one in beams.spring]
    )


def _ends(beams: PlainBeams) -> tuple[Array, Array]:
    """Force 1 evenly on either overhang, and nothing on the rest of the row, (2, 3) each."""
    places, long = beams.places, beams.long
    left, right = np.clip([places[0], long - places[-1]], 2.0 * NEAR, None).tolist()
    return (
        np.array([[0.0, left, 1.0 / left], [left, long, 0.0]]),
        np.array([[long - right, long, 1.0 / right], [0.0, long - right, 0.0]]),
    )


def beam_words(analysis: Analysis, at: ClampAt) -> str:
    """What the two plain beams are, so that anyone can repeat them, and k by each."""
    if analysis.project.table.analysis.panel_flexibility:
        return "No plain beam stands beside it, as panels give way."
    beams = plain_beams(analysis, at)
    if beams is None:
        return ""
    units = system(analysis.project.table.project.units)
    soft, firm = (quantity(float(one[beams.here]), "stiffness", units, 4) for one in beams.spring)
    project, rail = analysis.project, analysis.project.rail
    young = quantity(rail.material.E, "modulus", units, 4)
    inertia = quantity(rail.section.I_z, "second moment", units, 4)
    arm, above = (
        quantity(height, "size", units, 4)
        for height in (project.clamp.height, lever(analysis, at) - project.clamp.height)
    )
    moved = ""
    if beams.slack.any():
        moved = (
            f", at rest where e h T_c / k_r has moved it: h = {above} from the axis up to the load, T_c the "
            "clamp's part, by lever between clamps, of all snow on the row, from beside too"
        )
    row = project.layout.clamp_row[at.clamp]
    without = "torsion and shear" + (", without splices" if (project.layout.splice_row == row).any() else "")
    k = snow_shares(analysis, at, beams)
    frame = float(at.parts[0, 0]) / float(analysis.tributary[at.case, at.clamp])
    return (
        f"Compare two plain beams by hand: the row (E {young}, I {inertia}, without {without}) on one "
        "spring for each clamp, under its load per length in the table above. Clamps that tip each by "
        f"itself, spring {soft} = 1 / (1 / k_g + e^2 / k_r), e = {arm} from the grip up to the axis{moved}: "
        f"k = {k[0]:.3f}; clamps that do not tip, k_g = {firm}: k = {k[1]:.3f}. {_beside(frame, k)}"
    )


def end_words(analysis: Analysis, at: ClampAt, end: int, frame: float) -> str:
    """k_E by the two plain beams."""
    beams = plain_beams(analysis, at)
    if beams is None:
        return ""
    k = end_shares(beams, end)
    return (
        "By the plain beams of step R under a force 1 evenly on the overhang, at the height of the axis: "
        f"{k[0]:.3f} and {k[1]:.3f}. {_beside(frame, k)}"
    )


def _beside(frame: float, plain: Array) -> str:
    """Where the frame is beside the two: between, or how far from the nearer one."""
    low, high = float(plain.min()), float(plain.max())
    if low <= frame <= high:
        return f"{NOT_BETWEEN}; here it does."
    off = 100.0 * (1.0 - frame / low if frame < low else frame / high - 1.0)
    if off < SAME:
        return f"{NOT_BETWEEN}; here it is the nearer one's."
    return f"{NOT_BETWEEN}; here it is {off:.1f} % {'below' if frame < low else 'above'} both."
