"""A condensed structure seen from its links.

The structure obeys K u + B' f = F and the links f = k (B u - p) with jumps p. Without u this is
f = q - Z p, with q the forces for all jumps zero and Z symmetric, positive semi-definite: all that a
path of events needs. Very stiff and rigid links are first given a stiffness of the structure's own size, and
the difference is then taken off as a flexibility, so that nothing is lost to rounding.

Source: Maier, Meccanica 3 (1968) 54, for plasticity in this form (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from roofmodel.errors import InputError

Array = NDArray[np.float64]

FLOATS = 1e-12  # smallest pivot of the scaled stiffness with all links that counts as held
MECHANISM = 2e-14  # resistance to a movement of links, over their own and their number, that is none
NOISE = 100.0  # the same in terms of the rounding seen in a matrix that should be symmetric
TWICE = 1e13  # condition from which on rigid links repeat each other
UNEVEN = 1e-9  # asymmetry of the stiffness that is refused


@dataclass(frozen=True)
class LinkForm:
    """What a path of events needs to know of a structure.

    Attributes
    ----------
    Z : (c, c) float
        Drop of the link forces for unit jumps; symmetric, positive semi-definite.
    own : (c,) float
        Stiffness of the structure's own size at each link, to compare jumps with forces.
    floor : float
        Stiffness of a movement of links, over their own, at or below which nothing resists it.
    """

    Z: Array
    own: Array
    floor: float


def link_form(Z: Array, own: Array, rounding: float = 0.0) -> LinkForm:
    """Form for a computed Z (c, c), own stiffness (c,) and what Z may have lost to rounding, over them.

    What Z misses of symmetry tells of rounding as well.
    """
    noise = float((np.abs(Z - Z.T) / np.sqrt(np.outer(own, own))).max(initial=0.0))
    return LinkForm((Z + Z.T) / 2.0, own, max(MECHANISM * len(Z), NOISE * noise, rounding))


@dataclass(frozen=True)
class LinkSystem:
    """A structure and its links.

    Attributes
    ----------
    K : (n, n) float
        Stiffness without the links.
    B : (c, n) float
        Stretch of the links for displacements.
    soft : (c,) float
        Stiffness the links have in `flexibility`.
    less : (c,) float
        Flexibility 1/soft - 1/k that is too much there.
    influence : (n, c) float
        Displacements for unit forces at the links, with the links soft.
    factor : tuple
        Cholesky factor of K + B' soft B, for `scipy.linalg.cho_solve`.
    form : LinkForm
    """

    K: Array
    B: Array
    soft: Array
    less: Array
    influence: Array
    factor: tuple[Array, bool]
    form: LinkForm

    def elastic(self, F: Array) -> Array:
        """Link forces (c, q) for loads (n, q) while no link has a jump."""
        return self._harden(self.soft[:, None] * (self.influence.T @ F))

    def _harden(self, f: Array) -> Array:
        """Link forces with the links as stiff as they are, for those with soft links."""
        if not self.less.any():
            return f
        return np.asarray(np.linalg.solve(self._stiffening(), f))

    def _stiffening(self) -> Array:
        """From forces with the links as they are to those with soft links, (c, c)."""
        return np.eye(len(self.soft)) - self._soft_Z() * self.less

    def _soft_Z(self) -> Array:
        k = self.soft
        return np.asarray(np.diag(k) - k[:, None] * (self.B @ self.influence) * k)

    def displacement(self, F: Array, force: Array, jump: Array) -> Array:
        """Displacements (n, q) for loads (n, q), link forces (c, q) and jumps (c, q)."""
        push = self.soft[:, None] * (jump - self.less[:, None] * force)
        return np.asarray(linalg.cho_solve(self.factor, F) + self.influence @ push)


def link_system(K: Array, B: Array, stiffness: Array) -> LinkSystem:
    """Condense a structure onto its links.

    Parameters
    ----------
    K : (n, n) float
        Symmetric stiffness without the links; it may float without them.
    B : (c, n) float
    stiffness : (c,) float
        Of the links, infinite for rigid ones, such as `Laws.stiffness`. [N/m or N m/rad]

    Returns
    -------
    LinkSystem

    Raises
    ------
    InputError
        K not symmetric, or the structure floats though every link holds.
    """
    K, B, k = np.asarray(K, dtype=float), np.asarray(B, dtype=float), np.asarray(stiffness, dtype=float)
    n, c = len(K), len(k)
    if K.shape != (n, n) or B.shape != (c, n):
        message = (
            f"links: K has shape {K.shape} and B {B.shape}; with {c} links K must be (n, n), B ({c}, n)."
        )
        raise InputError(message)
    if not (np.isfinite(K).all() and np.isfinite(B).all()) or np.abs(K - K.T).max(initial=0.0) > (
        UNEVEN * np.abs(K).max(initial=0.0)
    ):
        message = "links: the stiffness K must be finite and symmetric."
        raise InputError(message)
    if not (k > 0.0).all():
        message = f"links: stiffness of link {int(np.argmax(~(k > 0.0)))} must be positive."
        raise InputError(message)
    own = (B * B) @ np.diag(K)
    own = np.where(own > 0.0, own, np.abs(np.diag(K)).max(initial=0.0) or 1.0)
    soft = np.minimum(k, own)
    total = K + (B.T * soft) @ B
    loose = np.flatnonzero(np.diag(total) <= 0.0)
    size = np.sqrt(np.where(np.diag(total) > 0.0, np.diag(total), 1.0))
    try:
        scaled = total / np.outer(size, size)
        triangle = linalg.cholesky(scaled, lower=True)
        pivots = np.diag(triangle)
        reverse_condition = linalg.lapack.dpocon(triangle, np.abs(scaled).sum(axis=0).max(), uplo="L")[0]
    except linalg.LinAlgError:
        pivots = np.zeros(1)
    if pivots.min(initial=1.0) ** 2 <= FLOATS:
        where = f" (unknown {loose[0]})" if len(loose) else ""
        message = f"links: the structure floats though every link holds{where}; give it supports."
        raise InputError(message)
    factor = linalg.cho_factor(total, lower=True)
    influence = linalg.cho_solve(factor, B.T)
    less = 1.0 / soft - 1.0 / k
    empty = LinkForm(np.zeros((c, c)), soft, 0.0)
    system = LinkSystem(K, B, soft, less, influence, factor, empty)
    if less.any() and not np.linalg.cond(system._stiffening()) < TWICE:
        message = "links: rigid links hold the same movement twice; give one of them a finite stiffness."
        raise InputError(message)
    Z = system._harden(system._soft_Z())
    return replace(system, form=link_form(Z, soft, np.finfo(float).eps / reverse_condition))
