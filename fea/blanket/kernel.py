"""The compiled answer of points of snow; see `fea.blanket.yielding`."""

from __future__ import annotations

import numpy as np
from numba import njit

FEASIBLE = 1e-9  # beyond a side by this part of the strength is on it


@njit(cache=True, nogil=True)
def _project(xa, xb, ra, rb, t, s, c, slope, out):
    """Nearest allowed point to (xa, xb) in scaled coordinates, and the slope of the projection."""
    na = (ra, slope * ra, -ra, 0.0)
    nb = (rb, rb, rb, -rb)
    bound = (t, s, c, 0.0)
    slack = FEASIBLE * (t + s + c)
    best = np.inf
    out[0] = out[1] = out[2] = out[3] = out[4] = 0.0
    for i in range(3):
        square = na[i] * na[i] + nb[i] * nb[i]
        beyond = na[i] * xa + nb[i] * xb - bound[i]
        if beyond <= 0.0:
            continue
        pa, pb = xa - beyond / square * na[i], xb - beyond / square * nb[i]
        inside = True
        for j in range(4):
            if j != i and na[j] * pa + nb[j] * pb > bound[j] + slack:
                inside = False
        way = (pa - xa) ** 2 + (pb - xb) ** 2
        if inside and way < best:
            best = way
            out[0], out[1] = pa, pb
            out[2], out[3] = 1.0 - na[i] * na[i] / square, -na[i] * nb[i] / square
            out[4] = 1.0 - nb[i] * nb[i] / square
    for i in range(3):
        for j in range(i + 1, 4):
            turn = na[i] * nb[j] - nb[i] * na[j]
            if abs(turn) <= 1e-9 * ra * rb:
                continue
            pa = (bound[i] * nb[j] - bound[j] * nb[i]) / turn
            pb = (na[i] * bound[j] - na[j] * bound[i]) / turn
            inside = True
            for k in range(4):
                if k != i and k != j and na[k] * pa + nb[k] * pb > bound[k] + slack:
                    inside = False
            way = (pa - xa) ** 2 + (pb - xb) ** 2
            if inside and way < best:
                best = way
                out[0], out[1] = pa, pb
                out[2] = out[3] = out[4] = 0.0


@njit(cache=True, nogil=True)
def answer(strain, young, poisson, limits, stress, energy, tangent, yielding):
    """Fill stress, energy, tangent and yielding of the points (m, k) for their strains."""
    out = np.empty(5)
    for e in range(strain.shape[0]):
        bulk, shear = young[e] / (2.0 * (1.0 - poisson)), young[e] / (2.0 * (1.0 + poisson))
        ra, rb = np.sqrt(bulk), np.sqrt(shear)
        t, s, c, slope = limits[e, 0], limits[e, 1], limits[e, 2], limits[e, 3]
        for p in range(strain.shape[1]):
            mean = strain[e, p, 0] + strain[e, p, 1]
            half, slide = strain[e, p, 0] - strain[e, p, 1], strain[e, p, 2]
            size = np.sqrt(half * half + slide * slide)
            cos, sin = (half / size, slide / size) if size > 0.0 else (1.0, 0.0)
            a, b = bulk * mean, shear * size
            beyond = a + b > t or b + slope * a > s or b - a > c
            yielding[e, p] = beyond
            xa, xb = ra * mean, rb * size
            if beyond:
                _project(xa, xb, ra, rb, t, s, c, slope, out)
                pa, pb = out[0], max(out[1], 0.0)
                aa, ab, bb = out[2] * bulk, out[3] * ra * rb, out[4] * shear
                turn = rb * pb / size if size > 0.0 else shear
            else:
                pa, pb, aa, ab, bb, turn = xa, xb, bulk, 0.0, shear, shear
            energy[e, p] = xa * pa + xb * pb - 0.5 * (pa * pa + pb * pb)
            a, b = ra * pa, rb * pb
            stress[e, p, 0], stress[e, p, 1], stress[e, p, 2] = a + b * cos, a - b * cos, b * sin
            tangent[e, p, 0] = aa + 2.0 * ab * cos + bb * cos * cos + turn * sin * sin
            tangent[e, p, 1] = aa - bb * cos * cos - turn * sin * sin
            tangent[e, p, 2] = ab * sin + (bb - turn) * cos * sin
            tangent[e, p, 3] = aa - 2.0 * ab * cos + bb * cos * cos + turn * sin * sin
            tangent[e, p, 4] = ab * sin - (bb - turn) * cos * sin
            tangent[e, p, 5] = bb * sin * sin + turn * cos * cos
