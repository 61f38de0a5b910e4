"""One door to all standards: a new standard is one module and one line here."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import Any

from roofmodel.errors import InputError
from roofmodel.snow.asce_cases import asce_cases
from roofmodel.snow.cases import SnowSet
from roofmodel.snow.en_cases import en_cases
from roofmodel.snow.inputs import Asce16Site, AsceSite, DirectSite, EnSite, NbccSite, Site
from roofmodel.snow.measured import direct_cases
from roofmodel.snow.nbcc_cases import nbcc_cases
from roofmodel.snow.obstacle_walls import say_raised, with_parapets
from roofmodel.surface import RoofSurface

STANDARDS: dict[str, Callable[[RoofSurface, Any, frozenset[int]], SnowSet]] = {
    AsceSite.standard: asce_cases,
    Asce16Site.standard: asce_cases,
    EnSite.standard: en_cases,
    NbccSite.standard: nbcc_cases,
    DirectSite.standard: direct_cases,
}


def snow_cases(roof: RoofSurface, site: Site, retained: Iterable[int] = ()) -> SnowSet:
    """Every snow case that the site's standard asks for on this roof.

    Parameters
    ----------
    roof : RoofSurface
    site : AsceSite, Asce16Site, EnSite, NbccSite or DirectSite
        Its `standard` picks the rules.
    retained : iterable of int
        Planes that carry snow retention: they may not take reductions for snow that slides off.

    Returns
    -------
    SnowSet
        Cases, and what was considered and does not apply.

    Raises
    ------
    InputError
        For site values out of range or a retained plane that does not exist.
    """
    planes = frozenset(int(plane) for plane in retained)
    for plane in planes:
        if not 0 <= plane < roof.planes.count:
            message = (
                f"retained plane {plane} does not exist: the roof has planes 0 to {roof.planes.count - 1}."
            )
            raise InputError(message)
    raised = with_parapets(roof)
    snow = STANDARDS[site.standard](raised, site, planes)
    if raised is roof:
        return snow
    return replace(snow, cases=tuple(say_raised(case, roof, raised) for case in snow.cases))
