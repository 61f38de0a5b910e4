"""Bearing of clamps that have come off: they hold nothing any more, but their rail still rests on the seam.

One-way links that are joined to a condensed bay without solving its frame again: a unit force at a grip is a
travel of the clamp over its stiffness, so that the bay's own Z holds all flexibilities (Woodbury's identity).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.solvers.laws import Laws, join
from fea.solvers.links import LinkForm

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

NEVER = 1e3  # gap of a bearing whose clamp still holds [m]


@dataclass(frozen=True)
class Bearings:
    """Links of a bay and its bearings behind them.

    Attributes
    ----------
    form : LinkForm
    laws : Laws
    q : (s, c + m) float
    pull : (m,) int
        Link that pulls at the place of each bearing.
    stiffness : (m,) float
        [N/m]
    """

    form: LinkForm
    laws: Laws
    q: Array
    pull: IntArray
    stiffness: Array

    def as_travel(self, force: Array, jump: Array) -> Array:
        """Jumps (t, c) of the bay's own links that bring the bearings' forces with them."""
        c = jump.shape[1] - len(self.pull)
        own = jump[:, :c].copy()
        own[:, self.pull] += force[:, c:] / self.stiffness
        return own


def with_bearings(form: LinkForm, laws: Laws, q: Array, pull: IntArray) -> Bearings:
    """Join bearings, one beside each of some pulling links, open until their gap is made finite.

    Parameters
    ----------
    form, laws, q
        Of the bay.
    pull : (m,) int
        Links of its clamps away from the roof; each on its own stiffness, without coupling at the grip.

    Notes
    -----
    A bearing is as stiff as the clamp was. Force f of a link for a unit force away from the roof at the grip
    of link i: (k_i delta - Z_i) / k_i; displacement of grip j then f_j / k_j.
    """
    k = laws.stiffness[pull]
    Z, m = form.Z, len(pull)
    unit = -Z[:, pull] / k
    unit[pull, np.arange(m)] += 1.0
    H = -unit  # for forces into the roof
    D = unit[pull] / k[:, None]
    M = np.linalg.inv(np.diag(1.0 / k) + 0.5 * (D + D.T))
    into = -q[:, pull] / k
    joined = np.block([[Z + H @ M @ H.T, -H @ M], [-M @ H.T, M]])
    many = np.concatenate([q - into @ (H @ M).T, into @ M.T], axis=1)
    one_way = Laws(k, np.ones(m, dtype=bool), np.full(m, NEVER), np.full(m, np.inf), np.full(m, np.inf))
    own = np.concatenate([form.own, k])
    return Bearings(
        LinkForm(0.5 * (joined + joined.T), own, form.floor), join([laws, one_way]), many, pull, k
    )
