"""Loads of the standards that stand on the eaves and do not slide: ice at eaves, snow that hangs over."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from roofmodel.snow import en1991_1_3 as en
from roofmodel.snow.asce_rules import asce_rules
from roofmodel.snow.cases import Value
from roofmodel.snow.en_roof import prepare
from roofmodel.snow.en_room import with_filled_steps
from roofmodel.snow.inputs import Asce16Site, AsceSite, EnSite, Site
from roofmodel.surface import EdgeKind, RoofSurface

REACH = 1.524  # 5 ft; farther from the eave ASCE/SEI 7-22 7.4.5 asks for no ice load, from memory [m]


@dataclass(frozen=True)
class StandingLoad:
    """A load on the building that no row carries.

    Attributes
    ----------
    name, where : str
    value : float
        [Pa] or [N/m], by `quantity`
    quantity : str
        "pressure" or "line_load".
    clause, formula : str
    values : tuple of Value
    when : str
        What must hold for it to apply, and with what it acts.
    """

    name: str
    where: str
    value: float
    quantity: str
    clause: str
    formula: str
    values: tuple[Value, ...]
    when: str


def standing_loads(
    roof: RoofSurface, site: Site, retained: frozenset[int] = frozenset(), *, own_slope: bool = False
) -> tuple[StandingLoad, ...]:
    """Loads that stand on the eaves; none where the standard has none or snow was measured.

    Parameters
    ----------
    roof : RoofSurface
    site : Site
    retained : frozenset of int
        Planes that carry rows.
    own_slope : bool
        As for `en_cases`.
    """
    if isinstance(site, EnSite):
        return _overhang(roof, site, retained, own_slope=own_slope)
    return _ice(roof, site) if isinstance(site, AsceSite | Asce16Site) else ()


def eave_planes(roof: RoofSurface) -> list[int]:
    """Planes with an eave."""
    kinds = np.array(roof.edges.kind)
    return np.unique(roof.edges.plane[kinds == EdgeKind.EAVE, 0]).tolist()


def _ice(roof: RoofSurface, site: AsceSite | Asce16Site) -> tuple[StandingLoad, ...]:
    planes = eave_planes(roof)
    if not planes:
        return ()
    rules = asce_rules(site)
    near = "overhangs, up to 5 ft (1.52 m) from the eave (from memory),"
    extent = near if isinstance(site, AsceSite) else "the whole of each overhang"
    return (
        StandingLoad(
            name="ice at the eaves",
            where=", ".join(roof.planes.name[i] for i in planes),
            value=2.0 * rules.flat_load,
            quantity="pressure",
            clause=f"{rules.code} 7.4.5",
            formula="2 p_f",
            values=rules.flat,
            when=f"on {extent} of heated roofs that drain over the eave: unventilated with R below 30, "
            "ventilated below 20 (h ft^2 F / Btu); with dead load only. Counted here whatever R and thermal "
            "class the project gives, unheated too (safe). Ice dams come from heat lost through the roof; "
            "snow that rows hold can feed one",
        ),
    )


def _overhang(
    roof: RoofSurface, site: EnSite, retained: frozenset[int], *, own_slope: bool
) -> tuple[StandingLoad, ...]:
    known = prepare(roof, site, retained, uphill=not own_slope)
    known = known if own_slope else with_filled_steps(known)
    found = []
    for plane in eave_planes(roof):
        load = float(known.shape[plane] * known.unit_load)
        if load <= 0.0:
            continue
        found.append(
            StandingLoad(
                name="snow that hangs over the eave",
                where=roof.planes.name[plane],
                value=float(en.overhang_load(load)),
                quantity="line_load",
                clause="EN 1991-1-3 6.3",
                formula="s_e = k s^2 / gamma, k = 3 / d at most d gamma",
                values=(Value("s", load, "Pa", "undrifted"), Value("gamma", 3000.0, "N/m**3", "recommended")),
                when="at the edge of the overhang, beside the snow on it, where the national annex asks for "
                "it (recommended above 800 m)",
            )
        )
    return tuple(found)
