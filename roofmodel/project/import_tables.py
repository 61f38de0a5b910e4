"""A roof from the file that the project names, with the user's corrections."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from roofmodel.errors import InputError
from roofmodel.files import read_file
from roofmodel.project.import_schema import ImportedRoof
from roofmodel.shape.corrections import Corrections, correct
from roofmodel.shape.importing import TOLERANCE, import_roof
from roofmodel.shape.roof_faces import STEEPEST
from roofmodel.shape.up_axis import doubts
from roofmodel.surface import EdgeKind, RoofSurface
from roofmodel.units import shown

LARGEST_ROOF = 500_000_000  # [bytes]


def read_roof(given: ImportedRoof, folder: Path, digest: Any) -> RoofSurface:
    """Import, recognize and correct a roof.

    Parameters
    ----------
    given : ImportedRoof
    folder : Path
        Of the project file.
    digest
        Hash that takes the file's bytes.

    Raises
    ------
    InputError
        One line that names field and file.
    """
    label = f"roof.file: {shown(given.file)}"
    file = folder / given.file
    what = "a mesh, city model, building model or drawing; the path is relative to the project file"
    digest.update(read_file(file, label, what, LARGEST_ROOF))
    tolerance = TOLERANCE if given.tolerance is None else given.tolerance
    try:
        roof = import_roof(
            file,
            unit=given.unit,
            up=given.up,
            building=given.building,
            lod=given.lod,
            layers=tuple(given.layers),
            marks=given.marks,
            ground=given.ground,
            north=given.north,
            steepest=STEEPEST if given.wall_slope is None else given.wall_slope,
            distance_tolerance=tolerance,
            boxes=given.boxes,
        )
    except InputError as error:
        message = f"{label}: {str(error).removeprefix(f'{file.name}: ')}"
        raise InputError(message) from None
    wanted = Corrections(
        leave_out=tuple(given.leave_out),
        merge=tuple(tuple(group) for group in given.merge),
        split=tuple((one.plane, np.array(one.line)) for one in given.split),
        rename=tuple((one.plane, one.to) for one in given.rename),
        retype=tuple((one.edge, EdgeKind(one.kind)) for one in given.retype),
        not_curved=tuple(given.not_curved),
        not_standing=tuple(given.not_standing),
    )
    try:
        return correct(roof, wanted, tolerance)
    except InputError as error:
        turned = doubts(roof)
        as_read = [f"unit {shown(given.unit)}"] if given.unit else []
        as_read += [f"{shown(given.up)} up"] if given.up else []
        axes = f"; {given.file} was read with {' and '.join(as_read)}"
        how = f". {turned[0]}" if turned else axes if as_read else ""
        message = f"roof.{str(error).rstrip('.')}{how}"
        raise InputError(message) from None
