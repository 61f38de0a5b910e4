"""The profile of a project file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import shapely
from shapely import Polygon

from roofmodel.errors import InputError
from roofmodel.profiles.data import Profile
from roofmodel.profiles.drawing import read_outline
from roofmodel.profiles.properties import Hole, profile_of
from roofmodel.profiles.shapes import SIZES, shape_outline
from roofmodel.project.profile_schema import ProfileTable

_OVERRULE = (
    '; where a drawing says it wrong, overrule it, as in unit = "mm instead of in" (in `eavewright section`: '
    "--unit)"
)
LEAST, MOST = 5e-3, 1.0  # outside size of a rail [m]
# Beyond it the user says the unit of a drawing: rails are 10 to 200 mm across (common practice). [m]
LIKELY = 0.25


def make_profile(table: ProfileTable, folder: Path, poisson: float, digest: Any = None) -> Profile:
    """Profile from its table; files are looked up in `folder`.

    Raises
    ------
    InputError
        Names the field.
    """
    given = [name for name in ("file", "points", "shape") if getattr(table, name) is not None]
    if len(given) != 1:
        message = "rail.profile: give one of file, points and shape"
        raise InputError(message)
    sizes = SIZES.get(table.shape or "", ())
    every = {name for names in SIZES.values() for name in names}
    for name in sorted(every):
        if (getattr(table, name) is None) == (name in sizes):
            state = "is missing" if name in sizes else "does not belong here"
            needs = f'shape "{table.shape}" takes {", ".join(sizes)}' if sizes else "it is for shapes"
            message = f"rail.profile.{name} {state}; {needs}"
            raise InputError(message)
    label = table.shape or (f"profile of {table.file}" if table.file else "profile by its points")
    try:
        if table.file is not None:
            outline = read_outline(folder / table.file, table.file, table.unit, table.layer, digest)
        elif table.points is not None:
            outline = Polygon(table.points)
        else:
            size = {name: float(getattr(table, name)) for name in sizes}
            outline = shape_outline(str(table.shape), size, table.radius)
        outline = _placed(outline, table)
        across = max(outline.bounds[2] - outline.bounds[0], outline.bounds[3] - outline.bounds[1])
        if not LEAST <= across <= MOST:
            message = (
                f"profile: is {across * 1000.0:g} mm across, outside 5 to 1,000 mm; check its unit"
                f"{_OVERRULE if str(table.file).lower().endswith('.dxf') else ''}"
            )
            raise InputError(message)
        drawn = str(table.file).lower().endswith(".dxf")
        if drawn and across > LIKELY and table.unit is None:
            message = (
                f"profile: is {across * 1000.0:,.0f} mm across by the unit that {table.file} says; rails of "
                "snow retention are 10 to 200 mm. Say the unit that it is drawn in: just that unit if "
                f'{table.file} is right about it, else as in unit = "mm instead of in" (in `eavewright '
                "section`: --unit)"
            )
            raise InputError(message)
        holes = [Hole(one.diameter, one.axis == "slope", one.at) for one in table.hole]
        return profile_of(outline, poisson, label, holes)
    except InputError as error:
        message = str(error).replace("profile: ", "rail.profile: ", 1)
        raise InputError(message) from None


def _placed(outline: Polygon, table: ProfileTable) -> Polygon:
    c, s = np.cos(table.turn), np.sin(table.turn)
    sign = -1.0 if table.mirror else 1.0
    turn = np.array([[c * sign, -s], [s * sign, c]])
    if table.turn == 0.0 and not table.mirror:
        return outline
    return shapely.transform(outline, lambda xy: np.round(xy @ turn.T, 12))
