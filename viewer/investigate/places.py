"""Where depth along the rows is still to be measured: beside the loss, where snow still lies."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roofmodel.project.evidence import Evidence
from viewer.investigate.case import CaseFindings

IntArray = NDArray[np.int64]

OUT = 3  # clamps from the loss at which depth is asked for; closer the torn sheet has moved (judgment)
NEXT = 10  # clamps from the loss within which a reading tells of one side of it (judgment)
BLOCKS = 3  # longest losses beside which it is asked for
EVEN = 1.1  # times even snow, up to which depth beside the loss excludes a drift (judgment)
IN_DRIFT = 0.5  # of the most drift that a standing clamp has, from which a reading is one in the drift


def _standing(evidence: Evidence) -> NDArray[np.bool_]:
    return np.asarray(evidence.known & ~evidence.gave_way)


def _sides(evidence: Evidence) -> list[IntArray]:
    """Standing clamps within `NEXT` of each end of the longest losses, the nearest first."""
    row, stands = evidence.project.layout.clamp_row, _standing(evidence)
    at = np.flatnonzero(evidence.gave_way)
    parts = np.split(at, np.flatnonzero((np.diff(at) > 2 * OUT) | (np.diff(row[at]) != 0)) + 1)
    sides = []
    for part in sorted(parts, key=len, reverse=True)[:BLOCKS]:
        for end, way in ((part[0], -1), (part[-1], 1)):
            near = end + way * np.arange(1, NEXT + 1)
            near = near[(near >= 0) & (near < len(row))]
            near = near[stands[near] & (row[near] == row[end])]
            if len(near):
                sides.append(near)
    return sides


def depth_places(evidence: Evidence) -> tuple[str, ...]:
    """Clamps at which depth tells most of the snow along the row and was not told, by name."""
    told = np.array([clamp for clamp, *_ in evidence.along], dtype=np.int64)
    left = [side[min(OUT, len(side)) - 1] for side in _sides(evidence) if not np.isin(told, side).any()]
    name = evidence.project.layout.clamp_name
    return tuple(name[c] for c in dict.fromkeys(int(c) for c in left))


def depth_enough(evidence: Evidence) -> bool:
    """Whether depth along the rows was told on all sides of the loss where snow still lies."""
    return bool(evidence.along) and not depth_places(evidence)


def drift_excluded(evidence: Evidence) -> bool:
    """Whether all depths along the row told beside the loss, one or more, are about those of even snow."""
    beside = [side for side in _sides(evidence) if len(side)]
    near = np.concatenate(beside) if beside else np.zeros(0, dtype=np.int64)
    over = [deep for clamp, deep, _ in evidence.along if clamp in near]
    return bool(over) and max(over) <= EVEN


def depth_look(evidence: Evidence) -> str:
    """The look at depth along the rows, with the clamps at which it can still be measured."""
    places = depth_places(evidence)
    where = f", by standing clamps beside the loss: {', '.join(places)}" if places else " every few meters"
    return (
        f"depth along the rows where snow still lies{where} (it has slid off above the clamps that came off: "
        "there it cannot be measured, only told by its mark on walls, dormers and the torn edge)"
    )


def _drift_at(found: CaseFindings) -> IntArray:
    """Standing clamps in the most drift of the project's cases, the deepest first."""
    deeper = np.where(_standing(found.evidence), found.roof.deeper.max(axis=0), 0.0)
    order = np.argsort(-deeper, kind="stable")
    return np.asarray(order[(deeper[order] > 0.0) & (deeper[order] >= IN_DRIFT * deeper.max())])


def drift_enough(found: CaseFindings) -> bool:
    """Whether depth was told at a standing clamp in the drift."""
    return bool(np.isin([clamp for clamp, *_ in found.evidence.along], _drift_at(found)).any())


def drift_place(found: CaseFindings) -> str:
    """Name of the standing clamp that has most of the drift; empty for none."""
    at = _drift_at(found)
    return found.evidence.project.layout.clamp_name[at[0]] if len(at) else ""


def drift_look(found: CaseFindings) -> str:
    """The look at the drift, with the standing clamp that has most of it, and why there."""
    name = drift_place(found)
    if not name:
        return "depth in the drift (snow has slid off there: only its mark tells) against depth away from it"
    return f"depth in the drift, at {name}{_by_what(found, name)}, against depth away from it"


def _by_what(found: CaseFindings, name: str) -> str:
    """Which box on the roof the drift at a clamp lies at, and on which side of it; empty for none near."""
    layout, roof = found.evidence.project.layout, found.evidence.project.roof
    what, clamp = roof.obstacles, layout.clamp_name.index(name)
    plane = int(layout.row_plane[layout.clamp_row[clamp]])
    boxes = np.flatnonzero((what.plane == plane) & ~what.parapet)
    if not len(boxes):
        return ""
    foot = 0.5 * (what.start + what.end)
    middle = np.array([foot[what.face == box].mean(axis=0) for box in boxes])  # a few
    at = roof.planes.to_world(plane, layout.clamp_uv[clamp])
    nearest = int(np.linalg.norm(middle[:, :2] - at[:2], axis=1).argmin())
    side = "up" if at[2] > middle[nearest, 2] else "down"
    return f" ({side} the slope of the {what.name[boxes[nearest]]})"


def standing_beside(evidence: Evidence) -> IntArray:
    """Standing clamps within `NEXT` of each end of the longest losses."""
    sides = _sides(evidence)
    return np.unique(np.concatenate(sides)) if sides else np.zeros(0, dtype=np.int64)
