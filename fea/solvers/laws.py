"""Laws of links: what a contact, a clip, a clamp or a plastic hinge gives for its stretch.

Every law is elastic with a jump, force = stiffness x (stretch - jump). A link either holds, its jump
constant, or yields, its force prescribed and its jump free: an open contact yields at no force, a plastic
hinge at its capacity. Stretch and force of one-way links are positive where they take hold.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roofmodel.errors import InputError

Array = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


class LinkState(IntEnum):
    """What a link does."""

    HOLDS = 0  # elastic, within its first limits
    OPEN = 1  # one-way, not touching
    FLOWS_UP = 2  # at its positive residual force
    FLOWS_DOWN = 3  # at its negative residual force
    STUCK = 4  # elastic again after it flowed, within its residual force
    LOST = 5  # broken, without force
    LOOSE = 6  # one-way, free to move until a gap closes, not yet moved

    @property
    def words(self) -> str:
        """For reports."""
        return self.name.lower().replace("_", " ")


@dataclass(frozen=True)
class Laws:
    """Laws of links.

    Attributes
    ----------
    stiffness : (c,) float
        Infinite for rigid links. [N/m or N m/rad]
    one_way : (c,) bool
        Whether the link takes hold only beyond its gap, and holds nothing the other way.
    gap : (c,) float
        Stretch before a one-way link takes hold; 0 for others. [m or rad]
    capacity : (c,) float
        Force at which it flows or breaks, both ways unless one-way; infinite for none. [N or N m]
    residual : (c,) float
        Force that remains after its capacity was reached: the capacity for plastic flow, less for a
        slip; 0 breaks it for good. [N or N m]
    """

    stiffness: Array
    one_way: BoolArray
    gap: Array
    capacity: Array
    residual: Array

    def __len__(self) -> int:
        return len(self.stiffness)

    def __post_init__(self) -> None:
        """Refuse what is no law.

        Raises
        ------
        InputError
        """
        residual, capacity = self.residual, self.capacity
        for name, bad, right in (
            ("stiffness", ~(self.stiffness > 0.0), "must be positive"),
            ("gap", ~(np.isfinite(self.gap) & (self.gap >= 0.0)), "must be a number of 0 or more"),
            ("capacity", ~(capacity > 0.0), "must be positive"),
            (
                "residual",
                ~((residual >= 0.0) & (residual <= capacity)),
                "must lie between 0 and the capacity",
            ),
        ):
            at = np.flatnonzero(bad)
            if len(at):
                message = f"link {at[0]}: {name} = {getattr(self, name)[at[0]]:g} {right}."
                raise InputError(message)


def _laws(
    stiffness: ArrayLike, one_way: bool, gap: ArrayLike, capacity: ArrayLike, residual: ArrayLike
) -> Laws:
    values = np.broadcast_arrays(np.atleast_1d(np.asarray(stiffness, dtype=float)), gap, capacity, residual)
    k, gap, capacity, residual = (np.array(v, dtype=float) for v in values)
    return Laws(k, np.full(len(k), one_way), gap, capacity, residual)


def bearing(stiffness: ArrayLike, gap: ArrayLike = 0.0) -> Laws:
    """One-way contacts; stretch = penetration + gap, that is, the way toward the ground."""
    return _laws(stiffness, True, gap, np.inf, np.inf)


def clip(stiffness: ArrayLike, gap: ArrayLike = 0.0, strength: ArrayLike = np.inf) -> Laws:
    """Clips that take hold after a gap, and break at their strength when it is finite."""
    residual = np.where(np.isfinite(np.asarray(strength, dtype=float)), 0.0, np.inf)
    return _laws(stiffness, True, gap, strength, residual)


def slip(stiffness: ArrayLike, capacity: ArrayLike, residual: ArrayLike) -> Laws:
    """Clamps that hold up to their capacity, then slide at a residual force; elastic when turned back."""
    return _laws(stiffness, False, 0.0, capacity, residual)


def plastic(stiffness: ArrayLike, capacity: ArrayLike) -> Laws:
    """Elastic, perfectly plastic links and plastic hinges; stiffness may be infinite."""
    return _laws(stiffness, False, 0.0, capacity, capacity)


def brittle(stiffness: ArrayLike, strength: ArrayLike) -> Laws:
    """Links that break for good at their strength, pulled or pushed."""
    return _laws(stiffness, False, 0.0, strength, 0.0)


def join(laws: Sequence[Laws]) -> Laws:
    """Laws one after another."""
    return Laws(*(np.concatenate([getattr(law, f.name) for law in laws]) for f in fields(Laws)))
