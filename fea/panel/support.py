"""What rows stand on: clamps in series with the panel fields, and the travel of the sheets by warmth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse

from fea.checks.strips import panel_strips
from fea.panel.groups import Tell
from fea.panel.holds import refuse_off_the_seam, without_clips
from fea.panel.plane import TOUCH, clamp_strips, plane_field, series
from fea.panel.restraint import Restraints, free_travel, second_points, with_rails
from roofmodel.errors import InputError
from roofmodel.hardware import Bearing, SeamDetail
from roofmodel.memory import Memory, recall
from roofmodel.project.load import Project
from roofmodel.units import SYSTEMS
from roofmodel.words import shortlist

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

BORNE: tuple[tuple[str, dict[str, bool]], ...] = (
    ("bearing and clips act both ways", {}),
    ("the sheet bears on nothing", {"bearing": False}),
)
LOOSE = 1e-9  # of the stiffness of the clamps; less is none
STATES_NOTE = (
    "Bearing only pushes, but panel flexibility is linear: the rows are solved with bearing that acts both "
    "ways and again without any, with clips both ways, and the worse counts for every limit. One-way contact "
    "may still ask a little more: up to 2 % at single clamps of small fields, 0.6 % at the worst one.",
)


@dataclass(frozen=True)
class PanelSupport:
    """Panels under the clamps of a layout.

    Attributes
    ----------
    stiffness : tuple of sparse (6 c, 6 c)
        Of clamps and panels in series at the grips, seam axes, in every state of the panels that is looked
        at; none where panels count as rigid. [N/m, N, N m/rad]
    states : tuple of str
        What each state is, in words.
    travel : (c, 6) float
        Free motion of the seams at the clamps by their change of temperature. [m, rad]
    held : (c, 6) float or None
        The same where all second fixed points hold; None where there are none. [m, rad]
    restraint : Restraints or None
        Second fixed points of the strips with clamps, in the order of `fea.checks.strips.panel_strips`.
    notes : tuple of str
    """

    stiffness: tuple[sparse.csr_array, ...]
    states: tuple[str, ...]
    travel: Array
    held: Array | None
    restraint: Restraints | None
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Strips:
    """Strips with clamps: length (s,), strip of every clamp (c,), place (c,) up it [m], and cut ones (s,)."""

    length: Array
    strip: IntArray
    place: Array
    cut: NDArray[np.bool_]


def strips_of(project: Project, memory: Memory | None = None) -> Strips:
    """Strips that carry clamps, in the order of `fea.checks.strips.panel_strips`.

    A seam that is cut in pieces counts from its lowest piece with a clamp to its highest one.
    """
    layout, planes = project.layout, project.roof.planes
    strip, names = panel_strips(layout)
    up, low, high = np.zeros(len(strip)), np.full(len(names), np.inf), np.full(len(names), -np.inf)
    own = np.zeros(len(strip))
    for plane in np.unique(layout.row_plane).tolist():
        chosen, up[chosen], ends = clamp_strips(
            layout, plane, planes.outline[plane], planes.name[plane], memory
        )
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
    return (
        f"The plane cuts {shortlist(names.tolist(), 3)} in pieces with clamps on more than one: they count "
        "as one panel strip with one fixed point, which takes the drag of all.",
    )


def _gap_words(project: Project, detail: SeamDetail) -> tuple[str, ...]:
    """What clips with a gap are taken for."""
    if not detail.clip_gap > 0.0:
        return ()
    gap = SYSTEMS[project.table.project.units].text(detail.clip_gap, "size")
    return (
        f"The gap of the clips, {gap}, is not counted in this check: they hold at once. Until a seam has "
        "risen that far it is softer than either state that was solved.",
    )


def panel_support(project: Project, tell: Tell | None = None, memory: Memory | None = None) -> PanelSupport:
    """Panels of a project under its clamps.

    Parameters
    ----------
    project : Project
    tell : callable, optional
        Is told in words how far the work has come.
    memory : Memory, optional
        Keeps the fields of planes whose rows do not move.

    Raises
    ------
    InputError
        A plane with more clamps or heights than the dense field can hold; clips, screws or purlins off the
        seam.
    """
    layout, detail = project.layout, project.seam
    travel = np.zeros((len(layout.clamp_s), 6))
    if detail is None:
        return PanelSupport((), (), travel, None, None, ())
    strips = strips_of(project, memory)
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
    held = None
    if restraint.kind:
        held = np.zeros_like(travel)
        held[:, 0] = detail.sheet.alpha * detail.thermal * restraint.way
    said = (*_cut_words(project, strips), *without_clips(project, detail, strips.length))
    if not project.table.analysis.panel_flexibility:
        return PanelSupport((), (), travel, held, restraint, said)
    states = BORNE if detail.bearing is not Bearing.NONE else BORNE[:1]
    found = [_recalled(project, int(p), states, tell, memory) for p in np.unique(layout.row_plane)]
    clamps = np.concatenate([part.clamp for part in found])
    place = np.argsort((6 * clamps[:, None] + np.arange(6)).ravel())
    joined: list[Any] = [
        sparse.block_diag(blocks, format="csr")[place][:, place]
        for blocks in zip(*(part.stiffness for part in found), strict=True)
    ]
    notes = dict.fromkeys(
        [
            *(STATES_NOTE if len(states) > 1 else ()),
            *_gap_words(project, detail),
            *said,
            *(note for part in found for note in part.notes),
        ]
    )
    return PanelSupport(
        tuple(sparse.csr_array(K) for K in joined),
        tuple(w for w, _ in states),
        travel,
        held,
        restraint,
        tuple(notes),
    )


@dataclass(frozen=True)
class _PlaneStates:
    """Clamps (c,) of a plane, their stiffness (6 c, 6 c) on its panels in every state, and notes."""

    clamp: IntArray
    stiffness: list[Array]
    notes: tuple[str, ...]


def _recalled(
    project: Project,
    plane: int,
    states: Sequence[tuple[str, dict[str, bool]]],
    tell: Tell | None,
    memory: Memory | None,
) -> _PlaneStates:
    """States of a plane, found again when its clamps have not moved, whatever their numbers are now."""
    layout = project.layout
    own = np.flatnonzero(layout.row_plane[layout.clamp_row] == plane)
    names = tuple(layout.clamp_name[i] for i in own)
    places = layout.clamp_uv[own].tobytes(), layout.clamp_seam[own].tobytes()
    key = ("panels", plane, names, *places)
    return replace(recall(memory, key, lambda: _plane_states(project, plane, states, tell)), clamp=own)


def _plane_states(
    project: Project, plane: int, states: Sequence[tuple[str, dict[str, bool]]], tell: Tell | None
) -> _PlaneStates:
    planes, clamp = project.roof.planes, project.clamp
    outline, name = planes.outline[plane], planes.name[plane]
    assert project.seam is not None
    fields = []
    for words, held in states:

        def told(text: str, words: str = words) -> None:
            if tell is not None:
                tell(f"plane {name}, {words}: {text}")

        options: dict[str, Any] = {"name": name, "held": held, "tell": told}
        fields.append(
            plane_field(project.layout, plane, outline, project.panel, project.seam, clamp, **options)
        )
    own = np.asarray(np.kron(np.eye(len(fields[0].clamp)), clamp.stiffness), dtype=np.float64)
    for (words, _), field in zip(states, fields, strict=True):
        if not _holds(field.stiffness, own):
            message = (
                f"analysis.panel_flexibility: plane {name}: nothing holds the "
                f"seams under its clamps when {words}; bring clips near the clamps (panel.clip_spacing, "
                "seam.clip_first) or use panel_flexibility = false"
            )
            raise InputError(message)
    return _PlaneStates(fields[0].clamp, [series(own, f.stiffness) for f in fields], fields[0].notes)


def _holds(panel: Array, clamps: Array) -> bool:
    """Whether a panel field resists every movement of the grips, beside what the clamps resist."""
    try:
        linalg.cholesky(panel - LOOSE * clamps, check_finite=False)
    except linalg.LinAlgError:
        return False
    return True


def with_rails_named(
    project: Project,
    support: PanelSupport,
    warmth: Array,
    memory: Memory | None,
) -> PanelSupport:
    """Name the rails on strips that move differently, with what temperature brings to their clamps.

    `warmth` (k, c) is the force along the seam of each clamp, in every reading of temperature. [N]
    """
    if support.restraint is None or project.seam is None:
        return support
    worst = warmth[np.abs(warmth).argmax(axis=0), np.arange(warmth.shape[1])]
    on, row = strips_of(project, memory), project.layout.clamp_row
    found = with_rails(support.restraint, project.seam, on.length, on.strip, on.place, row, worst)
    return replace(support, restraint=found)
