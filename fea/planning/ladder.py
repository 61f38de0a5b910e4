"""What the search for rows chooses from: places of rows by level, their cost and their least demand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from roofmodel.project.schema import RowTable

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

SLACK = 1e-9  # of costs and utilizations that count as equal

Path = tuple[tuple[int, int], ...]  # (level, option) of each row, from below


@dataclass(frozen=True)
class Checked:
    """What the full check says about a group's path: use of its rows over target, and of its strips.

    `parts` splits the use of each row by the planes of the group, in their order; empty for one plane.
    `limits` is the same by the name of each limit, rows and strips together.
    """

    rows: tuple[float, ...]
    strips: float
    parts: tuple[tuple[float, ...], ...] = ()
    limits: Mapping[str, float] = field(default_factory=dict)

    @property
    def worst(self) -> float:
        """Largest of all."""
        return max(*self.rows, self.strips)


@dataclass(frozen=True)
class Found:
    """What was found for one group.

    Attributes
    ----------
    path : Path
        The best that passes; the least used one if none does.
    feasible : bool
    proven : bool
        Whether nothing cheaper passes (or nothing at all), under the assumption of this module.
    cost : float
    checked : Checked
    """

    path: Path
    feasible: bool
    proven: bool
    cost: float
    checked: Checked


@dataclass(frozen=True)
class Place:
    """A piece of row that may stand: its plane, level of its group, and row without choice of clamps.

    `closer` gives it clamps on every so many-th seam whatever is chosen, where no choice holds it.
    """

    plane: int
    level: int
    row: RowTable
    closer: int | None = None


@dataclass(frozen=True)
class Ladder:
    """Choices for one group of planes.

    Rows stand on levels 0 to h - 1 from below; h stands for the top. An arc from level a to b means: a row at
    a, the next one at b. A spacing is clamps on every n-th seam; an option gives every plane of the group
    its own (or all of them one, where there would be more than `candidates.MOST_OPTIONS`).

    Attributes
    ----------
    planes : tuple of int
    places : tuple of tuple of Place, (h,)
    cost : (h, m) float
        Of the rows of a level, by option; infinite where so few clamps leave a rail loose, or where a rail
        cut to its cantilever ends more than a seam short.
    allowed : (h, h + 1) bool
        Arcs that the spacings permit.
    alike : (h, h) bool
        Levels whose rows have the same planes, ends and seams, so that they differ in their snow alone.
    least : (h, h + 1, m) float
        Lower bound of the utilization of the most used row of level a, over its target. [-]
    height : (h,) float
        Utilization of the rail height, which depends on nothing but the level. [-]
    strips : (2^n,) float
        Lower bound of the utilization of panel strips, over its target, by the set of spacings used (bits).
    most_rows : int
    choice : (m, planes) int
        Which spacing each option gives to each plane; None for one plane, option by option.
    open : bool
        Whether rows leave gaps, so that the next row does not say all about what a row holds.
    """

    planes: tuple[int, ...]
    places: tuple[tuple[Place, ...], ...]
    cost: Array
    allowed: BoolArray
    alike: BoolArray
    least: Array
    height: Array
    strips: Array
    most_rows: int
    choice: IntArray | None = None
    open: bool = False

    @cached_property
    def spacings(self) -> IntArray:
        """`choice`, written out."""
        if self.choice is None:
            return np.repeat(np.arange(self.cost.shape[1])[:, None], len(self.planes), axis=1)
        return self.choice

    @property
    def together(self) -> bool:
        """Whether several planes have to share their spacing."""
        return len(self.planes) > 1 and bool((self.spacings == self.spacings[:, :1]).all())

    @cached_property
    def sets(self) -> IntArray:
        """Set of spacings (bits) that the rows of each level have with each option, (h, m)."""
        bit = 1 << self.spacings
        if self.choice is None:
            return np.repeat(bit[None, :, 0], self.levels, axis=0)
        there = np.array(
            [[any(one.plane == p for one in level) for p in self.planes] for level in self.places]
        )
        return np.asarray(np.bitwise_or.reduce(np.where(there[:, None, :], bit[None], 0), axis=2))

    @property
    def levels(self) -> int:
        """Number of levels."""
        return len(self.places)
