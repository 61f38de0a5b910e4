"""What rows stand on: clamps in series with the panel fields, and the travel of the sheets by warmth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.checks.strips import panel_strips
from fea.panel.holds import refuse_off_the_seam, without_clips
from fea.panel.plane import TOUCH, clamp_strips, plane_field, series
from fea.panel.restraint import Restraints, free_travel, second_points
from roofmodel.project.load import Project

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class PanelSupport:
    """Panels under the clamps of a layout.

    Attributes
    ----------
    stiffness : sparse (6 c, 6 c) or None
        Of clamps and panels in series at the grips, seam axes; None where panels count as rigid.
        [N/m, N, N m/rad]
    travel : (c, 6) float
        Free motion of the seams at the clamps by their change of temperature. [m, rad]
    restraint : Restraints or None
        Second fixed points of the strips with clamps, in the order of `fea.checks.strips.panel_strips`.
    notes : tuple of str
    """

    stiffness: sparse.csr_array | None
    travel: Array
    restraint: Restraints | None
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Strips:
    """Strips with clamps: length (s,), strip of every clamp (c,), place (c,) up it [m], and cut ones (s,)."""

    length: Array
    strip: IntArray
    place: Array
    cut: NDArray[np.bool_]


def strips_of(project: Project) -> Strips:
    """Strips that carry clamps, in the order of `fea.checks.strips.panel_strips`.

    A seam that is cut in pieces counts from its lowest piece with a clamp to its highest one.
    """
    layout, planes = project.layout, project.roof.planes
    strip, names = panel_strips(layout)
    up, low, high = np.zeros(len(strip)), np.full(len(names), np.inf), np.full(len(names), -np.inf)
    own = np.zeros(len(strip))
    for plane in np.unique(layout.row_plane).tolist():
        chosen, up[chosen], ends = clamp_strips(layout, plane, planes.outline[plane], planes.name[plane])
        own[chosen] = ends[:, 1] - ends[:, 0]
        np.minimum.at(low, strip[chosen], ends[:, 0])
        np.maximum.at(high, strip[chosen], ends[:, 1])
    cut = np.zeros(len(names), dtype=bool)
    cut[strip] = own < (high - low)[strip] - TOUCH
    return Strips(high - low, strip, up - low[strip], cut)


def _cut_words(project: Project, strips: Strips) -> tuple[str, ...]:
    """What is assumed of seams that carry clamps on more than one of their pieces."""
    names = np.array(panel_strips(project.layout)[1])[strips.cut]
    if not len(names):
        return ()
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    return (
        f"The plane cuts {', '.join(names[:3])}{more} in pieces with clamps on more than one: they count as "
        "one panel strip with one fixed point, which takes the drag of all.",
    )


def panel_support(project: Project) -> PanelSupport:
    """Panels of a project under its clamps.

    Raises
    ------
    InputError
        A plane with more clamps or heights than the dense field can hold; clips, screws or purlins off the
        seam.
    """
    layout, detail = project.layout, project.seam
    travel = np.zeros((len(layout.clamp_s), 6))
    if detail is None:
        return PanelSupport(None, travel, None, ())
    strips = strips_of(project)
    refuse_off_the_seam(project, detail, strips.length)
    travel[:, 0] = free_travel(strips.length, strips.strip, strips.place, detail)
    restraint = second_points(
        project.panel,
        detail,
        strips.length,
        strips.strip,
        strips.place,
        grip_length=project.clamp.grip_length,
        grips_clip=detail.clamps_pin_clips,
    )
    said = (*_cut_words(project, strips), *without_clips(project, detail, strips.length))
    if not project.table.analysis.panel_flexibility:
        return PanelSupport(None, travel, restraint, said)
    blocks, order = [], []
    notes = list(said)
    for plane in np.unique(layout.row_plane):
        outline, name = project.roof.planes.outline[plane], project.roof.planes.name[plane]
        field = plane_field(layout, int(plane), outline, project.panel, detail, project.clamp, name=name)
        own = np.asarray(np.kron(np.eye(len(field.clamp)), project.clamp.stiffness), dtype=np.float64)
        blocks.append(series(own, field.stiffness))
        order.append((6 * field.clamp[:, None] + np.arange(6)).ravel())
        notes += field.notes
    place = np.argsort(np.concatenate(order))
    joined: Any = sparse.block_diag(blocks, format="csr")[place][:, place]
    return PanelSupport(sparse.csr_array(joined), travel, restraint, tuple(dict.fromkeys(notes)))
