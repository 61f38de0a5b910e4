"""Rails on clamps (`fea.rails`) as a general model: beams, rigid arms down to the grips, springs.

The second road to the same answer, and the way of a rail layout into decks and meshes of the general model.
Rows lie side by side, each in its own axes, because a frame knows no roof.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fea.elements.beam_data import Beams
from fea.elements.beam_loads import line_load_vectors
from fea.elements.beams import rail_stiffness
from fea.model.data import GROUND, Model, Springs, Ties, node_dof
from fea.rails.loads import RailLoads
from fea.rails.rows import Frame
from roofmodel.counting import within
from roofmodel.errors import InputError

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

ROW_SPACING = 1.0  # between rows in the model, which has no effect on results [m]
SAME_PLACE = 1e-6  # loads this near a node act on it [m]


def _key(frame: Frame, row: IntArray, s: Array) -> Array:
    """One number that sorts by row, then along it."""
    return row * (2.0 * float(frame.row_length.max()) + 1.0) + s


def _load_places(frame: Frame, loads: RailLoads) -> tuple[IntArray, Array]:
    """Row and position of the ends of line loads and of point loads that stand on no node."""
    row = np.concatenate([loads.row, loads.row, loads.point_row])
    s = np.concatenate([loads.s0, loads.s1, loads.point_s])
    node = _key(frame, frame.node_row, frame.node_s)
    at = _key(frame, row, s)
    right = np.searchsorted(node, at).clip(1, len(node) - 1)
    far = np.minimum(np.abs(node[right] - at), np.abs(node[right - 1] - at)) > SAME_PLACE
    row, s, at = row[far], s[far], at[far]
    order = np.argsort(at, kind="stable")
    new = np.ones(len(order), dtype=bool)
    new[1:] = np.diff(at[order]) > SAME_PLACE
    return row[order[new]], s[order[new]]


def _pieces(frame: Frame, row: IntArray, s: Array) -> IntArray:
    """Nodes (m, 2) of the beams when spans are cut at new nodes, numbered behind those of the frame."""
    start = _key(frame, frame.span_row, frame.span_s[:, 0])
    inside = np.searchsorted(start, _key(frame, row, s), side="right") - 1
    span = np.concatenate([np.arange(len(start)), inside])
    first = np.concatenate([frame.span_node[:, 0], len(frame.node_s) + np.arange(len(s))])
    order = np.lexsort((np.concatenate([frame.span_s[:, 0], s]), span))
    span, first = span[order], first[order]
    last = np.append(span[1:] != span[:-1], True)
    second = np.where(last, frame.span_node[span, 1], np.append(first[1:], 0))
    return np.stack([first, second], axis=1)


def _splice_ties(frame: Frame) -> tuple[IntArray, IntArray, NDArray[np.bool_]]:
    """Main node, node and shared directions of the right nodes of splices."""
    shared = frame.dof[1:, :6] == frame.dof[:-1, :6]
    right = np.flatnonzero(shared.any(axis=1)) + 1
    return right - 1, right, shared[right - 1]


def _grips(frame: Frame, base: Array) -> tuple[Array, Array]:
    """Grip points (c, 3) and axes of the seams (c, 3, 3) in row axes."""
    axes = frame.clamp_grip[:, :3, :3]
    height = (frame.clamp_grip[:, :3, 3:6] @ np.swapaxes(axes, 1, 2))[:, 1, 0]
    return base - height[:, None] * np.array([0.0, 0.0, 1.0]), axes


def _line_loads(frame: Frame, beams: Beams, node_row: IntArray, node_s: Array,
                loads: RailLoads) -> tuple[IntArray, Array]:  # fmt: skip
    """Beam and nodal loads (k, w, q) of every line load on a whole beam."""
    node = beams.node
    middle = _key(frame, node_row[node[:, 0]], node_s[node].mean(axis=1))
    order = np.argsort(middle)
    low = np.searchsorted(middle[order], _key(frame, loads.row, loads.s0))
    high = np.searchsorted(middle[order], _key(frame, loads.row, loads.s1))
    many = np.maximum(high - low, 0)
    segment = np.repeat(np.arange(len(many)), many)
    piece = order[within(many) + low[segment]]
    L = np.diff(node_s[node[piece]], axis=1)[:, 0]
    vectors = line_load_vectors(np.zeros_like(L), L, L, beams.stiffness)
    return piece, vectors @ np.moveaxis(loads.line[:, segment], 0, 2)


def _loads(frame: Frame, model: Model, node_row: IntArray, loads: RailLoads) -> Array:
    beams, node_s = model.beams[0], model.xyz[:, 0]
    load = np.zeros((model.dof_count, loads.count))
    dof = node_dof(beams.node).reshape(-1, 12)
    if beams.stiffness.warping > 0.0:
        dof = np.concatenate([dof, 6 * len(model.xyz) + beams.warp], axis=1)
    piece, nodal = _line_loads(frame, beams, node_row, node_s, loads)
    np.add.at(load, dof[piece], nodal)
    heat = beams.stiffness.axial * beams.stiffness.alpha * loads.thermal
    np.add.at(load, dof[:, 0], -heat)
    np.add.at(load, dof[:, 6], heat)
    at = _key(frame, node_row, node_s[: len(node_row)])
    order = np.argsort(at, kind="stable")  # the left one of the two nodes of a hinge comes first
    wanted = _key(frame, loads.point_row, loads.point_s)
    right = np.searchsorted(at[order], wanted).clip(1, len(at) - 1)
    near = np.where(wanted - at[order[right - 1]] < at[order[right]] - wanted, right - 1, right)
    node = order[np.searchsorted(at[order], at[order[near]], side="left")]
    np.add.at(load, node_dof(node), np.moveaxis(loads.point, 0, 2))
    if loads.travel is not None:
        clamps = model.springs[0]
        turn = np.zeros((len(clamps.axes), 6, 6))
        turn[:, :3, :3] = turn[:, 3:, 3:] = np.swapaxes(clamps.axes, 1, 2)
        load[node_dof(clamps.node[:, 0])] += turn @ clamps.stiffness @ np.moveaxis(loads.travel, 0, 2)
    return load


def frame_model(frame: Frame, loads: RailLoads) -> tuple[Model, Array]:
    """Model and nodal loads of rails on clamps.

    Parameters
    ----------
    frame : Frame
    loads : RailLoads

    Returns
    -------
    model : Model
        Nodes of the frame first, then those where loads begin, end or act, then the grips in the order of
        the clamps. x runs along the rails, y up the slope, z away from the roof.
    load : (d, q) float
        Seams that move by themselves push the grips with the stiffness of their springs. [N, N m]

    Raises
    ------
    InputError
        The clamps stand on panels that join them, which no spring of the model can carry.
    """
    if frame.support is not None:
        message = "rails: clamps that panels join are no general model; take the frame on rigid seams."
        raise InputError(message)
    row, s = _load_places(frame, loads)
    pieces = _pieces(frame, row, s)
    rail = np.zeros((len(frame.node_s) + len(s), 3))
    rail[:, 0] = np.concatenate([frame.node_s, s])
    node_row = np.concatenate([frame.node_row, row])
    rail[:, 1] = -ROW_SPACING * node_row
    grip, axes = _grips(frame, rail[frame.clamp_node])
    clamps = len(grip)
    grip_node = len(rail) + np.arange(clamps)
    main, node, part = _splice_ties(frame)
    stiffness = rail_stiffness(frame.rail)
    m = len(pieces)
    model = Model(
        xyz=np.concatenate([rail, grip]),
        beams=(
            Beams(
                name="rail",
                node=pieces,
                stiffness=stiffness,
                axis_y=np.tile([0.0, 1.0, 0.0], (m, 1)),
                offset=np.zeros((m, 2, 3)),
                release=np.zeros((m, 2, 7), dtype=bool),
                warp=pieces if stiffness.warping > 0.0 else np.full((m, 2), -1),
            ),
        ),
        springs=(
            Springs(
                name="clamps",
                node=np.stack([grip_node, np.full(clamps, GROUND)], axis=1),
                stiffness=frame.clamp_stiffness,
                axes=axes,
            ),
        ),
        ties=Ties(
            rigid_main=np.concatenate([main, frame.clamp_node]),
            rigid_node=np.concatenate([node, grip_node]),
            rigid_part=np.concatenate([part, np.ones((clamps, 6), dtype=bool)]),
        ),
        sets={name: np.flatnonzero(node_row == r) for r, name in enumerate(frame.row_name)},
    )
    return model, _loads(frame, model, node_row, loads)
