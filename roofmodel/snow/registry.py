"""One door to all standards: a new standard is one module and one line here."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from importlib import import_module

from roofmodel.errors import InputError
from roofmodel.snow.cases import SnowSet
from roofmodel.snow.inputs import Asce16Site, AsceSite, DirectSite, EnSite, NbccSite, Site
from roofmodel.surface import RoofSurface

# Of each standard, the module and what makes its cases; only the one that is asked for is loaded.
STANDARDS = {
    AsceSite.standard: ("roofmodel.snow.asce_cases", "asce_cases"),
    Asce16Site.standard: ("roofmodel.snow.asce_cases", "asce_cases"),
    EnSite.standard: ("roofmodel.snow.en_cases", "en_cases"),
    NbccSite.standard: ("roofmodel.snow.nbcc_cases", "nbcc_cases"),
    DirectSite.standard: ("roofmodel.snow.measured", "direct_cases"),
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
    return _made(roof, site, planes)


def bare_snow(roof: RoofSurface, site: Site) -> SnowSet:
    """Snow of a roof without rows, to set what rows add against.

    EN 1991-1-3 5.3.2 and 5.3.3 then let every plane shed by its own slope, unless a parapet or obstruction of
    its own holds its snow. That snow on a plane below can hold it too is our judgment, on the safe side for
    rows; here it would hide what they add, so that it is left out.
    """
    if isinstance(site, EnSite):
        return _made(roof, site, frozenset(), own_slope=True)
    return _made(roof, site, frozenset())


def _made(roof: RoofSurface, site: Site, planes: frozenset[int], **asked: bool) -> SnowSet:
    from roofmodel.snow.obstacle_walls import say_raised, with_parapets

    raised = with_parapets(roof)
    module, name = STANDARDS[site.standard]
    make: Callable[..., SnowSet] = getattr(import_module(module), name)
    snow = make(raised, site, planes, **asked)
    if raised is roof:
        return snow
    return replace(snow, cases=tuple(say_raised(case, roof, raised) for case in snow.cases))
