"""Sections whose walls are known by construction: cells and bent lines of tapered, stepped walls."""

import numpy as np
from scipy.optimize import linear_sum_assignment
from shapely import Polygon, affinity


def cross(a, b):
    return a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]


def meet(p, u, q, v):
    """Where the lines p + s u and q + t v meet."""
    return p + u * (cross(q - p, v) / cross(u, v))[..., None]


def cell(corner, ends):
    """Box with straight outer faces and walls that taper inside.

    `corner` (n, 2) counter-clockwise, `ends` (n, 2) thickness from each corner to the next, square
    to its outer face. Gives the outline, and flat width and least thickness (n, 2) of its walls by
    hand: along the inner face.
    """
    after = np.roll(corner, -1, axis=0)
    way = after - corner
    unit = way / np.linalg.norm(way, axis=1, keepdims=True)
    inward = np.stack([-unit[:, 1], unit[:, 0]], axis=1)
    a, b = corner + ends[:, :1] * inward, after + ends[:, 1:] * inward
    hole = meet(np.roll(a, 1, axis=0), np.roll(b - a, 1, axis=0), a, b - a)
    width = np.linalg.norm(np.roll(hole, -1, axis=0) - hole, axis=1)
    thick = [np.einsum("nd,nd->n", h - corner, inward) for h in (hole, np.roll(hole, -1, axis=0))]
    return Polygon(corner, [hole]), np.column_stack([width, np.minimum(*thick)])


def bent_line(point, ends):
    """Open section along a line (n + 1, 2) of points, whose n walls have `ends` (n, 2) thickness.

    Gives the outline, and flat width and least thickness (n, 2): between the inner corners of its folds.
    """
    way = np.diff(point, axis=0)
    unit = way / np.linalg.norm(way, axis=1, keepdims=True)
    left = np.stack([-unit[:, 1], unit[:, 0]], axis=1)
    sides = []
    for sign in (1.0, -1.0):
        a = point[:-1] + 0.5 * sign * ends[:, :1] * left
        b = point[1:] + 0.5 * sign * ends[:, 1:] * left
        inner = meet(a[:-1], (b - a)[:-1], a[1:], (b - a)[1:])
        sides.append(np.concatenate([a[:1], inner, b[-1:]]))
    at = np.stack([np.einsum("nd,nd->n", s[:-1] - point[:-1], unit) for s in sides])
    to = np.stack([np.einsum("nd,nd->n", s[1:] - point[:-1], unit) for s in sides])
    inner = (cross(unit[:-1], unit[1:]) < 0.0).astype(int)  # side of the re-entrant corner of each fold
    fold = np.arange(len(inner))
    low, high = at.max(axis=0), to.min(axis=0)
    low[1:], high[:-1] = at[inner, fold + 1], to[inner, fold]
    long = np.linalg.norm(way, axis=1)
    thick = [ends[:, 0] + (ends[:, 1] - ends[:, 0]) * s / long for s in (low, high)]
    outline = Polygon(np.concatenate([sides[0], sides[1][::-1]]))
    return outline, np.column_stack([high - low, np.minimum(*thick)])


def moved(outline, turn=0.0, size=1.0, mirror=False):
    """Turned [deg], scaled and mirrored."""
    found = affinity.scale(outline, -size if mirror else size, size, origin=(0.0, 0.0))
    return affinity.rotate(found, turn, origin=(0.0, 0.0))


def rounded(outline, inner=0.0, outer=0.0):
    """With fillets in its re-entrant corners and rounded outer edges."""
    filled = outline.buffer(inner, quad_segs=24).buffer(-inner, quad_segs=24) if inner else outline
    return filled.buffer(-outer, quad_segs=24).buffer(outer, quad_segs=24) if outer else filled


def matched(walls, truth):
    """Index of the found wall for each (n, 2) width and thickness: the nearest by both, each used once."""
    found = np.column_stack([walls.width, walls.thickness])
    far = np.abs(np.log(found[None] / truth[:, None])).sum(axis=2)
    return linear_sum_assignment(far)[1]
