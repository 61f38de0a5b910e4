"""Plain tubes and bars as profiles, without finite elements: what buckling needs of them."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import shapely
from shapely import Point, Polygon

from roofmodel.profiles.data import Profile, Section, Walls

AROUND = 24  # corners of a quarter of a circle


@lru_cache(maxsize=256)
def plain_profile(section: Section) -> Profile | None:
    """Profile of a section that is a plain tube or bar; None for others.

    Walls are the flat parts between the corners of a rectangular tube, sharp ones inside (the widest they can
    be, the safe reading), and the one plate of a flat bar, which nothing holds. Round sections have none.
    """
    y, z, t = 0.5 * section.depth_y, 0.5 * section.depth_z, section.wall
    start = end = np.zeros((0, 2))
    thickness = np.zeros(0)
    free = np.zeros((0, 2), dtype=bool)
    outline: Polygon
    match section.kind:
        case "round tube":
            rim, hole = (Point(0.0, 0.0).buffer(r, AROUND).exterior for r in (y, y - t))
            outline = Polygon(rim, [hole])
        case "round bar":
            outline = Point(0.0, 0.0).buffer(y, AROUND)
        case "rectangular tube":
            hole = shapely.box(t - y, t - z, y - t, z - t).exterior
            outline = Polygon(shapely.box(-y, -z, y, z).exterior, [hole])
            corner = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
            along = np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]])
            middle = corner * [y - 0.5 * t, z - 0.5 * t]
            start, end = middle + 0.5 * t * along, np.roll(middle, -1, axis=0) - 0.5 * t * along
            thickness, free = np.full(4, t), np.zeros((4, 2), dtype=bool)
        case "flat bar":
            outline = shapely.box(-y, -z, y, z)
            tip = np.array([y, 0.0]) if y > z else np.array([0.0, z])
            start, end = -tip[None], tip[None]
            thickness, free = np.array([2.0 * min(y, z)]), np.ones((1, 2), dtype=bool)
        case _:
            return None
    n = len(thickness)
    strong = max(section.I_y, section.I_z)
    weak = min(section.I_y, section.I_z)
    return Profile(
        outline=outline,
        section=section,
        walls=Walls(start, end, thickness, free, np.full((n, 2), -1), np.full(n, -1), known=True),
        alone=np.array([section.W_y, section.W_z]),
        plastic=np.full(2, np.nan),
        principal=np.array([strong, weak]),
        angle=0.0 if section.I_y >= section.I_z else 0.5 * np.pi,
        radius=np.sqrt(np.array([strong, weak]) / section.area),
        one_sided=np.zeros(2),
        reach=np.array([[-y, y], [-z, z]]),
        elements=0,
        net=None,
        closed="tube" in section.kind,
        origin=np.zeros(2),
    )


def walls_profile(section: Section, profile: Profile | None) -> Profile | None:
    """The profile that a rail was given by, or that of its plain section."""
    return plain_profile(section) if profile is None else profile
