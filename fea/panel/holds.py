"""Whether clips, screws and purlins stand under the panel strips they are meant for."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fea.checks.strips import panel_strips
from fea.panel.mesh import clip_places, purlin_places
from roofmodel.errors import InputError
from roofmodel.hardware import Bearing, SeamDetail
from roofmodel.project.load import Project
from roofmodel.units import SYSTEMS
from roofmodel.words import shortlist

Array = NDArray[np.float64]


def refuse_off_the_seam(project: Project, detail: SeamDetail, length: Array) -> None:
    """Refuse clips, screws and purlins beyond every panel strip that carries a clamp.

    Parameters
    ----------
    project : Project
    detail : SeamDetail
    length : (s,) float
        Of these strips. [m]

    Raises
    ------
    InputError
        Names the field, its value and the longest strip.
    """
    longest, table = float(length.max()), project.table.seam
    units = SYSTEMS[project.table.project.units]

    def told(value: float) -> str:
        return units.text(value, "length")

    strip = f"the longest panel strip with a clamp, {told(longest)}"
    message = ""
    if not len(clip_places(detail, -longest, 0.0)):
        given = table is not None and table.clip_first is not None
        field, value = ("seam.clip_first" if given else "panel.clip_spacing"), told(detail.clip_first)
        if not given:
            value = f"{told(detail.clip_spacing)} puts the first clip {value} up the seam and"
        message = (
            f"{field}: {value} leaves no clip within {strip}; give less"
            f"{'' if given else ', or give seam.clip_first'}"
        )
    elif (detail.through_fixings > longest).any():
        highest = told(float(detail.through_fixings.max()))
        message = f"seam.through_fixings: {highest} up the seam is beyond {strip}; give less, or leave it out"
    elif detail.bearing is Bearing.PURLINS and (
        detail.purlin_spacing > longest or not len(purlin_places(detail, -longest, 0.0))
    ):
        message = (
            f"seam.purlin_spacing: {told(detail.purlin_spacing)} from purlin to purlin is more than {strip}; "
            "give less"
        )
    if message:
        raise InputError(message)


def without_clips(project: Project, detail: SeamDetail, length: Array) -> tuple[str, ...]:
    """Names panel strips with clamps that are too short to have a clip."""
    half = 0.5 * detail.clip_length
    names = np.array(panel_strips(project.layout)[1])[length < detail.clip_first + half - 1e-9]
    if not len(names):
        return ()
    units = SYSTEMS[project.table.project.units]
    return (
        f"No clip holds the panel strip of {shortlist(names.tolist(), 3)}: it ends below the first clip, "
        f"{units.text(detail.clip_first, 'length')} up the seam.",
    )
