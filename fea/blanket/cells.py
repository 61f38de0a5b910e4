"""Compiled gradients, forces and stiffness of the rectangles; see `fea.blanket.elements`."""

from __future__ import annotations

import numpy as np
from numba import njit


@njit(cache=True, nogil=True)
def strain(moved, corner, size, dx, dy, out):
    """Strains (m, 4, 3) at the points of cells whose nodes moved (n, 2)."""
    for e in range(len(corner)):
        x, y = 1.0 / size[e, 0], 1.0 / size[e, 1]
        for p in range(4):
            xx = yy = shear = 0.0
            for a in range(4):
                u, v = moved[corner[e, a], 0], moved[corner[e, a], 1]
                xx += dx[p, a] * u
                yy += dy[p, a] * v
                shear += dy[p, a] * y * u + dx[p, a] * x * v
            out[e, p, 0], out[e, p, 1], out[e, p, 2] = xx * x, yy * y, shear


@njit(cache=True, nogil=True)
def force(stress, weight, corner, size, dx, dy, out):
    """Add forces of stresses (m, 4, 3) to the nodes (n, 2)."""
    for e in range(len(corner)):
        x, y = weight[e] / size[e, 0], weight[e] / size[e, 1]
        for a in range(4):
            fx = fy = 0.0
            for p in range(4):
                gx, gy = dx[p, a] * x, dy[p, a] * y
                fx += gx * stress[e, p, 0] + gy * stress[e, p, 2]
                fy += gy * stress[e, p, 1] + gx * stress[e, p, 2]
            out[corner[e, a], 0] += fx
            out[corner[e, a], 1] += fy


@njit(cache=True, nogil=True)
def stiffness(tangent, weight, size, dx, dy, slot, data):
    """Add tangents (m, 4, 6) to the matrix; `slot` (m, 36) says where the upper triangles of cells go."""
    own = np.empty((8, 8))
    for e in range(len(size)):
        x, y = 1.0 / size[e, 0], 1.0 / size[e, 1]
        own[:] = 0.0
        for p in range(4):
            w = weight[e]
            xx, xy, xs = w * tangent[e, p, 0], w * tangent[e, p, 1], w * tangent[e, p, 2]
            yy, ys, ss = w * tangent[e, p, 3], w * tangent[e, p, 4], w * tangent[e, p, 5]
            for a in range(4):
                gx, gy = dx[p, a] * x, dy[p, a] * y
                # What a motion of the corner makes of the stress, for u and for v.
                ux, uy, us = xx * gx + xs * gy, xy * gx + ys * gy, xs * gx + ss * gy
                vx, vy, vs = xy * gy + xs * gx, yy * gy + ys * gx, ys * gy + ss * gx
                for b in range(a, 4):
                    hx, hy = dx[p, b] * x, dy[p, b] * y
                    own[2 * a, 2 * b] += ux * hx + us * hy
                    own[2 * a, 2 * b + 1] += uy * hy + us * hx
                    own[2 * a + 1, 2 * b] += vx * hx + vs * hy
                    own[2 * a + 1, 2 * b + 1] += vy * hy + vs * hx
        k = 0
        for i in range(8):
            for j in range(i, 8):
                data[slot[e, k]] += own[i, j]
                k += 1
