"""Force of clamps along their seams, plain and as their strength was tested."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis

Array = NDArray[np.float64]


def read_as_tested(analysis: Analysis) -> bool:
    """Whether the along-seam demand of some clamp is an equivalent force at the test height."""
    limit = next((one for one in analysis.limits if one.name == "clamp along the seam"), None)
    if limit is None:
        return False
    plain = plain_along(analysis)
    return bool(np.any(limit.demand > plain + 1e-6 * max(float(plain.max(initial=0.0)), 1.0)))


def plain_along(analysis: Analysis) -> Array:
    """Size of the factored force along the seam, the larger of both heights, (q, c). [N]."""
    return np.asarray(np.abs(analysis.clamp_force[..., 0]).max(axis=1))


def signed_along(analysis: Analysis) -> Array:
    """`plain_along` with its sign: down the slope positive, (q, c). [N]."""
    force = analysis.clamp_force[..., 0]
    return np.asarray(np.take_along_axis(force, np.abs(force).argmax(axis=1)[:, None], axis=1)[:, 0])
