"""Whether a state of links is what it claims to be, measured on the answer alone."""

from __future__ import annotations

from dataclasses import astuple, dataclass

import numpy as np
from numpy.typing import NDArray

from fea.solvers.laws import Laws, LinkState

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class LinkProof:
    """What is violated, each as a share of the largest force; all zero for an exact answer.

    Attributes
    ----------
    tension : float
        Largest pull in a link that can only push, in its own sense.
    penetration : float
        Largest stretch beyond gap + force / stiffness of a one-way link, times stiffness.
    excess : float
        Largest force beyond capacity or residual.
    complementarity : float
        Largest of the smaller of force and remaining gap (times stiffness) of one-way links.
    law : float
        Largest difference between force and stiffness x (stretch - jump).
    residual : float
        Largest K u + B' f - F.
    """

    tension: float
    penetration: float
    excess: float
    complementarity: float
    law: float
    residual: float

    @property
    def worst(self) -> float:
        """Largest of all."""
        return max(astuple(self))

    def holds(self, tolerance: float = 1e-8) -> bool:
        """Whether nothing is violated by more than a share of the largest force."""
        return bool(self.worst <= tolerance)


def prove(
    laws: Laws,
    state: IntArray,
    force: Array,
    jump: Array,
    *,
    own: Array,
    miss: Array,
    unbalanced: Array,
    falling: BoolArray,
    size: float,
) -> LinkProof:
    """Check the laws and complementarity of one state.

    Parameters
    ----------
    laws : Laws
    state : (c,) int
        `LinkState`
    force, jump : (c,) float
    own : (c,) float
        Stiffness that turns a stretch into a force to compare.
    miss : (c,) float
        What is left of the links' elastic law. [N or N m]
    unbalanced : (n,) float
        What is left of equilibrium. [N or N m]
    falling : (c,) bool
        Links that a collapse met on their fall to a smaller force; they have no limit.
    size : float
        Largest force on the way here.
    """
    size = size or 1.0
    one_way = laws.one_way & (state != LinkState.LOST)
    room = np.where(one_way, own * (laws.gap - jump), np.inf)
    after = np.isin(state, (LinkState.FLOWS_UP, LinkState.FLOWS_DOWN, LinkState.STUCK))
    limit = np.where(after, laws.residual, np.where(state == LinkState.LOST, 0.0, laws.capacity))
    limit = np.where(falling, np.inf, limit)

    def share(value: Array) -> float:
        return float(value.max(initial=0.0)) / size

    return LinkProof(
        tension=share(np.where(one_way, -force, 0.0)),
        penetration=share(-room),
        excess=share(np.abs(force) - limit),
        complementarity=share(np.where(one_way, np.minimum(force, room), 0.0)),
        law=share(np.abs(miss)),
        residual=share(np.abs(unbalanced)),
    )
