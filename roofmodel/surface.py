"""The recognized roof as plain arrays: planes, edges and steps.

Axes: x east, y north, z up, meters, local origin (`RoofSurface.offset` brings it back to the map).
Every plane carries its own frame (u, v): u runs level to the right for a person who stands outside the
eave and looks up the slope, v runs up the slope in true length, both start at 0 at the outline's minimum.
Angles are in radians; azimuth is the compass direction of the fall, clockwise from north.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from shapely import Polygon

from roofmodel.arrays import SolarArrays
from roofmodel.obstacles import Obstacles

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

STOREY = 3.0  # lowest point of a roof above a ground that the model does not show (judgment) [m]
NEAR = 1000.0  # a local origin within this of the file's is not shown to anybody [m]
FLAT_SLOPE = np.radians(0.5)  # below this a plane has no fall line worth the name [rad]
SHALLOW = np.radians(5.0)  # flatter planes turn no blanket that comes from a steeper one (judgment) [rad]
STEEPER = np.radians(5.0)  # and steeper is what is so much steeper (judgment) [rad]
STEEP = np.radians(15.0)  # from here on what rises against a blanket, `RISE` high, holds all (judgment) [rad]
RISE = 1.0  # [m]


class EdgeKind(StrEnum):
    """What a straight roof edge is, in the words of the trade."""

    EAVE = "eave"  # lower free edge, snow leaves here
    RAKE = "rake"  # sloping free edge
    HEAD = "head"  # upper free edge of a plane, nothing above
    RIDGE = "ridge"  # level, both planes fall away
    HIP = "hip"  # sloping, both planes fall away
    VALLEY = "valley"  # both planes fall toward it
    BREAK = "pitch break"  # one plane falls toward it, the other away from it
    STEP = "step"  # foot of a wall that rises to a higher roof


@dataclass(frozen=True)
class Planes:
    """Recognized planes, one row each.

    Attributes
    ----------
    name : tuple of str, (p,)
        Compass direction of the fall and a number, such as "S1"; "F1" for flat planes.
    origin : (p, 3) float
        Point of the plane at u = v = 0. [m]
    across, upslope, normal : (p, 3) float
        Unit vectors; ``across = upslope x normal``; normal points up.
    slope, azimuth : (p,) float
        Slope from the horizontal and compass direction of the fall. [rad]
    outline : tuple of shapely Polygon, (p,)
        Outline in (u, v), counter-clockwise, holes allowed. [m]
    """

    name: tuple[str, ...]
    origin: Array
    across: Array
    upslope: Array
    normal: Array
    slope: Array
    azimuth: Array
    outline: tuple[Polygon, ...]

    @property
    def count(self) -> int:
        """Number of planes."""
        return len(self.name)

    @property
    def true_area(self) -> Array:
        """Area on the slope, (p,). [m^2]."""
        return np.array([polygon.area for polygon in self.outline])

    @property
    def plan_area(self) -> Array:
        """Area on plan, (p,). [m^2]."""
        return self.true_area * np.cos(self.slope)

    def to_world(self, plane: int | IntArray, uv: Array) -> Array:
        """Points of the roof from plane coordinates.

        Parameters
        ----------
        plane : int or (n,) int
            Plane index, one for all points or one each.
        uv : (n, 2) float
            Plane coordinates. [m]

        Returns
        -------
        (n, 3) float
            Local roof coordinates. [m]
        """
        return self.origin[plane] + uv[..., 0:1] * self.across[plane] + uv[..., 1:2] * self.upslope[plane]

    def to_plane(self, plane: int | IntArray, xyz: Array) -> Array:
        """Plane coordinates (n, 2) of roof points (n, 3). [m]."""
        delta = xyz - self.origin[plane]
        return np.stack(
            [
                np.sum(delta * self.across[plane], axis=-1),
                np.sum(delta * self.upslope[plane], axis=-1),
            ],
            axis=-1,
        )


@dataclass(frozen=True)
class Edges:
    """Straight edges of the planes.

    Attributes
    ----------
    name : tuple of str, (e,)
        Such as "S1 eave" or "S1|E1 valley"; numbered where a plane has several of a kind.
    kind : tuple of EdgeKind, (e,)
        What the edge is.
    start, end : (e, 3) float
        Ends; ``plane[:, 0]`` lies to the left of start -> end seen from above. [m]
    plane : (e, 2) int
        The plane the edge belongs to and the plane on the other side, -1 for none.
    height : (e,) float
        Height of the lower end above the lowest point of the roof model's ground datum; for a step
        the height of the wall above the edge's middle. [m]
    """

    name: tuple[str, ...]
    kind: tuple[EdgeKind, ...]
    start: Array
    end: Array
    plane: IntArray
    height: Array

    @property
    def count(self) -> int:
        """Number of edges."""
        return len(self.name)

    @property
    def length(self) -> Array:
        """True lengths, (e,). [m]."""
        return np.asarray(np.linalg.norm(self.end - self.start, axis=1))


@dataclass(frozen=True)
class Steps:
    """Places where a lower roof meets a wall below a higher roof.

    Attributes
    ----------
    lower, upper : (s,) int
        Plane that receives the drift, plane whose edge tops the wall.
    lower_edge, upper_edge : (s,) int
        The two edges; -1 where the lower plane runs on below the upper edge without an edge of its own.
    start, end : (s, 3) float
        The foot of the wall on the lower plane; the lower plane lies to the left of start -> end. [m]
    wall : (s, 2) float
        Height of the upper edge above the foot at start and end. [m]
    gap : (s,) float
        Plan distance between the foot and the upper edge, 0 for abutting roofs. [m]
    between : (s,) int
        Plane of the narrow roof that lies in the gap, the one at its upper edge; -1 where the gap is open.
    """

    lower: IntArray
    upper: IntArray
    lower_edge: IntArray
    upper_edge: IntArray
    start: Array
    end: Array
    wall: Array
    gap: Array
    between: IntArray

    @property
    def count(self) -> int:
        """Number of steps."""
        return len(self.lower)


@dataclass(frozen=True)
class Vault:
    """A barrel vault: planes that are facets of one cylinder.

    Attributes
    ----------
    plane : (k,) int
        Facets from one springing to the other, along `across`.
    across : (2,) float
        Unit plan vector square to the axis.
    crown : float
        Place of the axis along `across`. [m]
    ends : (float, float)
        The springings along `across`, from the crown; the first is negative. [m]
    radius : float
        [m]
    top : float
        Height of the circle's crown, local. [m]
    """

    plane: IntArray
    across: Array
    crown: float
    ends: tuple[float, float]
    radius: float
    top: float

    @property
    def span(self) -> float:
        """Springing to springing. [m]."""
        return self.ends[1] - self.ends[0]

    def slope_at(self, place: Array) -> Array:
        """Slope of the circle at places from the crown, as sizes. [rad]."""
        return np.asarray(np.arcsin(np.clip(np.abs(place) / self.radius, 0.0, 1.0)))

    def rise_to(self, place: float) -> float:
        """Height of the crown above a place. [m]."""
        return float(self.radius - np.sqrt(max(self.radius**2 - place**2, 0.0)))


@dataclass(frozen=True)
class Dome:
    """A dome, or a cone: planes that are facets of one sphere, or that meet in one point at one pitch.

    Attributes
    ----------
    plane : (k,) int
        Facets.
    center : (2,) float
        Place of the crown on plan. [m]
    reach : float
        From the crown to the nearest eave, on plan. [m]
    outer : float
        From the crown to the farthest corner, on plan. [m]
    radius : float
        Of the sphere; infinite for a cone. [m]
    pitch : float
        Of a cone; 0 for a sphere. [rad]
    top : float
        Height of the sphere's crown or of the cone's tip, local. [m]
    eave : float
        Height of the lowest corner, local. [m]
    smooth : bool
        Whether no edge between facets turns by more than 30 degrees, so that none is a hip of its own.
    """

    plane: IntArray
    center: Array
    reach: float
    outer: float
    radius: float
    pitch: float
    top: float
    eave: float
    smooth: bool

    @property
    def rise(self) -> float:
        """Height of the crown above the eave. [m]."""
        return self.top - self.eave

    @property
    def kind(self) -> str:
        """Word for it."""
        return "cone" if self.pitch else "dome"

    def slope_at(self, place: Array) -> Array:
        """Slope at plan distances from the crown. [rad]."""
        if self.pitch:
            return np.full(np.shape(place), self.pitch)
        return np.asarray(np.arcsin(np.clip(np.abs(place) / self.radius, 0.0, 1.0)))


@dataclass(frozen=True)
class RoofSurface:
    """A roof that has been understood.

    Attributes
    ----------
    points : (n, 3) float
        Mesh vertices, local coordinates. [m]
    faces : (m, 3) int
        Triangles, all facing up.
    face_plane : (m,) int
        Plane of each triangle.
    planes, edges, steps
        What was recognized.
    offset : (3,) float
        Map coordinates of the local origin. [m]
    notes : tuple of str
        Every assumption and repair, one sentence each, for the user to read.
    obstacles : Obstacles
        What stands on the planes.
    ground : float
        Level that edge heights count from, local coordinates. [m]
    vaults : tuple of Vault
        Planes that are facets of barrel vaults.
    arrays : SolarArrays
        Solar arrays on the planes.
    domes : tuple of Dome
        Planes that are facets of domes and cones.
    found : Obstacles
        Those of the obstacles that the model itself shows.
    ground_assumed : bool
        Whether the model shows nothing below the roof, so that `ground` is `STOREY` below its lowest point.
    attached : tuple of shapely Polygon
        Sheets and gutters that the model shows and that were left out, on plan. [m]
    """

    points: Array
    faces: IntArray
    face_plane: IntArray
    planes: Planes
    edges: Edges
    steps: Steps
    offset: Array
    notes: tuple[str, ...] = ()
    obstacles: Obstacles = field(default_factory=Obstacles)
    ground: float = 0.0
    vaults: tuple[Vault, ...] = ()
    arrays: SolarArrays = field(default_factory=SolarArrays)
    domes: tuple[Dome, ...] = ()
    found: Obstacles = field(default_factory=Obstacles)
    ground_assumed: bool = False
    attached: tuple[Polygon, ...] = ()


def shown_origin(offset: Array) -> Array:
    """Where the local origin is in the coordinates of roof.png and of the project file (2,). [m].

    Near the origin of its file a roof keeps the coordinates of the file; far from it, as on a map, it has
    its own, since nobody wants to type seven digits.
    """
    east_north = np.asarray(offset, dtype=np.float64)[:2]
    return east_north if np.abs(east_north).max() <= NEAR else np.zeros(2)


def local_places(points: Array, offset: Array) -> Array:
    """Places on plan in local coordinates (n, 2), given in those of roof.png or of the map. [m].

    The two differ only where they are so far apart that they cannot be taken for each other.

    Parameters
    ----------
    points : (n, 2) float
    offset : (3,) float
        Map coordinates of the local origin.
    """
    shown = np.asarray(points, dtype=np.float64) - shown_origin(offset)
    on_map = np.asarray(points, dtype=np.float64) - offset[:2]
    return on_map if np.abs(on_map).max() < np.abs(shown).max() else shown
