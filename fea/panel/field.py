"""Strips beside each other as the stiffness that their clamps feel; see `fea.panel.groups`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.model.data import Model
from fea.panel.groups import (
    Eliminated,
    Group,
    Kind,
    Loads,
    Tell,
    condense_kind,
    eliminate,
    gap_group,
    group_of,
    pick,
    single_group,
    strip_count,
)
from fea.panel.hanging import with_own_lines
from fea.panel.mesh import StripMesh
from fea.panel.model import PanelField, fixed_place, panel_field, sheet_area
from roofmodel.errors import InputError
from roofmodel.hardware import FixedPoint, Panel, SeamDetail

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

CLAMP_LIMIT = 800  # the result is dense: 6 x 800 unknowns are 184 MB
ON_LINE = 1e-6  # [m]
SAME = 0.01  # lengths of strips that count as equal [m]
GAP = -1  # key of a strip that is not there
MIRRORED = [1, 3, 5]  # what a plane of symmetry across y holds: uy, rx, rz


@dataclass(frozen=True)
class CondensedField:
    """All strips, seen from their clamps.

    Attributes
    ----------
    stiffness : (6 c, 6 c) float
        Along, across, pull and the rotations about them at the grip points, clamps from strip to strip and
        as given within each. [N/m, N, N m/rad]
    push : (6 c, q) float
        Loads on the sheets as forces on the clamps: stiffness x displacement = force + push. [N, N m]
    clamp_strip : (c,) int
    kinds : int
        Kinds of strips that were condensed.
    group : Group
        All strips, for what happens inside.
    outer : (m,) int
        Unknowns of its outer cuts that are free.
    gone : Eliminated
        What they do when the clamps move and under the loads.
    """

    stiffness: Array
    push: Array
    clamp_strip: IntArray
    kinds: int
    group: Group
    outer: IntArray
    gone: Eliminated

    def strip(self, number: int, u: Array, load: Array | None = None) -> tuple[PanelField, Array]:
        """Inside of one strip.

        Parameters
        ----------
        number : int
        u : (6 c,) float
            Displacements of all clamps.
        load : (q,) float, optional
            Factors on the loads; 0 when left out.

        Returns
        -------
        PanelField
            The strip by itself, its seam at y = 0, with bearing and clips as springs, without the bar.
        (d,) float
            Displacements of its model. [m, rad]
        """
        factors = np.zeros(self.push.shape[1]) if load is None else np.asarray(load, dtype=float)
        cut = np.zeros(6 * (len(self.group.left) + len(self.group.right)))
        cut[self.outer] = self.gone.moved(u, factors)
        known, group, first = np.concatenate([cut, u]), self.group, 0
        while isinstance(group.parts, tuple):
            a, b = group.parts
            middle = group.gone.moved(known, factors)
            low, high, c = 6 * len(a.left), 6 * (len(a.left) + len(b.right)), 6 * a.clamps
            left, right, clamps = known[:low], known[low:high], known[high:]
            if number < first + strip_count(a):
                known = np.concatenate([left, pick(middle, group.order, a.right), clamps[:c]])
                group = a
            else:
                first += strip_count(a)
                known = np.concatenate([pick(middle, group.order, b.left), right, clamps[c:]])
                group = b
        kind = group.parts
        if kind is None:
            message = f"panel strip {number + 1}: it has no sheet within the panel field."
            raise InputError(message)
        known = np.concatenate([known, group.gone.moved(known, factors)])
        q = kind.schur.recover(known[:, None], (kind.load @ factors)[:, None])
        return kind.field, kind.system.expand(q)[:, 0]


def bar_stiffness(field: PanelField, ends: tuple[float, float]) -> float:
    """Along the seam, of bar and fixed point behind the window of a strip, per area of sheet. [N/m^3]."""
    x = field.mesh.x
    low, high = ends
    match field.detail.fixed_at:
        case FixedPoint.RIDGE:
            bar = x[0] + high
        case FixedPoint.EAVE:
            bar = -low - x[-1]
        case FixedPoint.MIDDLE:
            middle = -0.5 * (low + high)
            bar = max(x[0] - middle, middle - x[-1])
    return float(
        1.0 / (sheet_area(field) / field.detail.fixed_stiffness + max(bar, 0.0) / field.detail.sheet.E)
    )


def _bare(mesh: StripMesh, panel: Panel, detail: SeamDetail, reach: float) -> PanelField:
    """One strip without elements, to ask where its fixed point is."""
    none = np.zeros(0, dtype=np.int64)
    model = Model(np.zeros((0, 3)))
    return PanelField(model, mesh, panel, detail, 1, np.array([reach]), none, none, np.zeros(0))


def _lines_of(mesh: StripMesh, ends: Array, clamps: Array, number: int) -> IntArray:
    """Lines of the mesh that a strip has; none for a gap in the field."""
    if np.isnan(ends).any() and not len(clamps):
        return np.zeros(0, dtype=np.int64)
    low = int(np.abs(mesh.x + ends[1]).argmin()) if -ends[1] > mesh.x[0] else 0
    high = int(np.abs(mesh.x + ends[0]).argmin()) if -ends[0] < mesh.x[-1] else len(mesh.x) - 1
    if high <= low:
        message = (
            f"panel strip {number + 1}: it runs from {ends[0]:.3g} m to {ends[1]:.3g} m up the seam, outside "
            f"of the modeled window {-mesh.x[-1]:.3g} m to {-mesh.x[0]:.3g} m; leave it out."
        )
        raise InputError(message)
    return np.arange(low, high + 1)


def _around(mesh: StripMesh, lines: IntArray, low: float, high: float) -> IntArray:
    """Lines that reach at least from one place along the seam to another."""
    first = min(int(lines[0]), max(int(np.searchsorted(mesh.x, low + ON_LINE)) - 1, 0))
    last = max(int(lines[-1]), min(int(np.searchsorted(mesh.x, high - ON_LINE)), len(mesh.x) - 1))
    return np.arange(first, last + 1)


def condense_strips(
    mesh: StripMesh,
    panel: Panel,
    detail: SeamDetail,
    grip: tuple[float, float],
    clamps: Sequence[Array],
    ends: Array,
    *,
    alike: bool,
    held: Mapping[str, bool] | None = None,
    loads: Loads | None = None,
    windows: Array | None = None,
    own_lines: float | None = None,
    tell: Tell | None = None,
) -> CondensedField:
    """Stiffness of strips beside each other, seen from their clamps.

    Parameters
    ----------
    mesh : StripMesh
        Of the window, with lines at all clamps unless strips have lines of their own.
    panel, detail
    grip : (float, float)
        Length of a clamp along the seam and height of its grip over the pan. [m]
    clamps : sequence of (k,) float
        Places of the clamps of every strip. [m]
    ends : (m, 2) float
        Lower and upper end of every strip, up the seam; NaN for a gap in the field, without clamps. [m]
    alike : bool
        Whether the field goes on beyond its outer cuts as its own mirror image; else they are free.
    held : mapping of str to bool, optional
        Whether the one-way contacts "bearing", "clips" and "clip bases" act, then both ways; all do when
        left out, as under snow that presses the sheet down.
    loads : callable, optional
        Loads (d, q) of a strip's model, such as pressure on its pan. Without those of the bar.
    windows : (m, 2) float, optional
        Lower and upper end of what is meshed of every strip; all of the window when left out. [m]
    own_lines : float, optional
        Gives every strip fine lines of its own at its clamps (see `fea.panel.hanging`), with sizes of
        elements divided by this.
    tell : callable, optional
        Is told which strip is condensed.

    Returns
    -------
    CondensedField

    Raises
    ------
    InputError
        No clamp or too many of them, one that stands beyond its strip, a strip outside of the window.
    """
    strip = np.repeat(np.arange(len(clamps)), [len(c) for c in clamps])
    if not 0 < len(strip) <= CLAMP_LIMIT:
        message = (
            f"panel field: {len(strip)} clamps on one plane; 1 to {CLAMP_LIMIT} can be condensed together."
        )
        raise InputError(message)
    kinds: dict[tuple[object, ...], Kind] = {}
    singles: dict[tuple[object, ...], int] = {}
    known: dict[tuple[int, ...], Group] = {}
    keys = []
    ends = np.asarray(ends, dtype=float)
    meshed = ends
    if windows is not None:
        meshed = np.stack([np.maximum(ends[:, 0], windows[:, 0]), np.minimum(ends[:, 1], windows[:, 1])], 1)
    for number, (at, end) in enumerate(zip(clamps, ends, strict=True)):
        lines = _lines_of(mesh, meshed[number], at, number)
        if tell is not None:
            tell(f"panel strip {number + 1} of {len(clamps)}")
        if not len(lines):
            keys.append(GAP)
            continue
        if own_lines is not None and len(at):
            lines = _around(mesh, lines, at.min() - 0.5 * grip[0], at.max() + 0.5 * grip[0])
        x = mesh.x[lines]
        if np.any((at < x[0]) | (at > x[-1])):
            message = (
                f"panel strip {number + 1}: a clamp stands beyond its end; move the clamp or the seam's end."
            )
            raise InputError(message)
        reach = float(end.sum() if detail.fixed_at is FixedPoint.MIDDLE else end[1])
        own = StripMesh(x, mesh.section, mesh.xyz.reshape(len(mesh.x), -1)[lines].reshape(-1, 3))
        common = np.arange(len(lines))
        if own_lines is not None:
            own, common = with_own_lines(own, at, grip[0], own_lines, -0.5 * float(end.sum()))
        bare = _bare(own, panel, detail, reach)
        line, bar = fixed_place(bare)[0], bar_stiffness(bare, (float(end[0]), float(end[1])))
        rounded = tuple(np.round(end / SAME).astype(int))
        gripped = bool(
            (np.abs(own.x[line] - at) < 0.5 * grip[0] + 1e-6).any()
        )  # the bar acts on the clamp itself
        key = (tuple(np.round(at, 6)), int(lines[0]), int(lines[-1]), line, rounded if gripped else None)
        if key not in kinds:
            field = panel_field(own, panel, detail, grip, [at], np.array([reach]), alike=False)
            kinds[key] = condense_kind(field, lines, common, held or {}, loads, bar if gripped else None)
        if (key, rounded) not in singles:
            singles[key, rounded] = len(singles)
            known[(singles[key, rounded],)] = single_group(kinds[key], bar)
        keys.append(singles[key, rounded])
    if tell is not None:
        tell(f"joining {len(clamps)} panel strips")
    known[(GAP,)] = gap_group(next(iter(kinds.values())).push.shape[1])
    group = group_of(tuple(keys), known)
    cut = 6 * (len(group.left) + len(group.right))
    outer = np.arange(cut)
    if alike:
        outer = outer[~np.isin(outer % 6, MIRRORED)]
    clamp = slice(cut, None)
    K, push, gone = eliminate(
        group.stiffness[clamp, clamp],
        group.stiffness[outer, clamp],
        group.stiffness[np.ix_(outer, outer)],
        group.push[clamp],
        group.push[outer],
    )
    return CondensedField(K, push, strip, len(kinds), group, outer, gone)
