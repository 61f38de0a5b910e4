"""Unbalanced snow on vaults, domes and cones, ASCE/SEI 7 7.6.2 and 7.6.4."""

from __future__ import annotations

from functools import partial

import numpy as np
from numpy.typing import NDArray

from roofmodel.snow.asce7_22 import FOOT
from roofmodel.snow.asce_roof import AsceRoof, balanced_zones, chord_slope, slope_notes
from roofmodel.snow.asce_working import slope_formula
from roofmodel.snow.cases import Bare, SnowCase, Value, Zone
from roofmodel.snow.domed import (
    DOME_NOTE,
    FULL,
    NONE,
    disc,
    dome_name,
    dome_winds,
    dome_zones,
    place_values,
    sector_field,
    sector_regions,
    sphere_values,
)
from roofmodel.snow.regions import compass, plane_corners, uniform
from roofmodel.snow.vaulted import NOTES, circle_values, on_side, others, side_zones, sides, vault_names
from roofmodel.surface import Dome, EdgeKind, Vault

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Cases = tuple[list[SnowCase], list[tuple[str, str]]]
Law = tuple[list[float], list[float], tuple[Value, ...]]

CHORD = np.radians([10.0, 60.0])  # 7.6.2: none where the line from eave to crown is flatter or steeper
STEEP = np.radians(70.0)  # 7.4.3: no snow from here on
MIDDLE = np.radians(30.0)
NEAR = 3.0 * FOOT  # 7.6.2: ground or roof so close to the eave keeps the load there up [m]
NEAR_NOTE = (
    "Ground or another roof lies within 3 ft of its eave: the load at 30 degrees holds to the eave (7.6.2,"
    " from memory)."
)
TO_30 = "p_crown + (p_30 - p_crown) x / x_30"
BEYOND_30 = "p_30 - (p_30 - p_eave) (x - x_30) / (x_eave - x_30)"
TO_EAVE = "p_crown + (p_eave - p_crown) x / x_eave"
FORMULAS = {1: (TO_EAVE,), 2: (TO_30, BEYOND_30)}
EAVE = {False: ("none from 70 degrees on",), True: ("at the eave", "2 p_f C_s,eave / C_e")}
MEMORY = (
    "7.6.2 and Fig. 7.4-2 (half of p_f at the crown; no such load below 10 degrees from eave to crown nor"
    " above 60) and no snow on what is steeper than 70 degrees (7.4.3) are from memory."
)
SECTOR = (
    "Over the 90 degrees downwind; from there to zero over 22.5 degrees on each side; none on the rest"
    " (7.6.4, from memory)."
)
CONE_NOTE = (
    "Judgment: a cone counts as a similar rounded structure of 7.6.4, beside the hips of 7.6.1. Above 30"
    " degrees its whole slope carries the load of the eave."
)


def asce_vaults(known: AsceRoof) -> Cases:
    """Unbalanced load of curved roofs, 7.6.2 and Fig. 7.4-2: nothing to windward."""
    cases: list[SnowCase] = []
    skipped: list[tuple[str, str]] = []
    for vault in known.roof.vaults:
        for _, direction, end in sides(vault):
            title = f"unbalanced on {vault_names(known.roof, vault)}, wind toward {compass(direction)}"
            why = _chord_bar(vault.rise_to(end), end)
            if why:
                skipped.append((title, why))
                continue
            facets = on_side(vault, known.roof, direction)
            near = _near(known, facets)
            knots, loads, values = _law(known, vault, end, facets, near=near)
            values += (
                Value(
                    "x_eave",
                    knots[-1],
                    "m",
                    "from the crown to the eave, or to 70 degrees",
                    "x_s" if near else "min(x_s, R sin(70°))",
                ),
                Value("p_crown", loads[0], "Pa", "at the crown", "0.5 p_f"),
                Value("p_30", float(max(loads)), "Pa", "at 30 degrees, or at the eave", "2 p_f C_s / C_e"),
                Value("p_eave", loads[-1], "Pa", *EAVE[loads[-1] > 0.0]),
            )
            words = (f"unbalanced snow on {vault_names(known.roof, vault)}", f"{known.rules.code} 7.6.2")
            working = [(formula, values) for formula in FORMULAS[len(knots) - 1]]
            zones = others(balanced_zones(known), vault.plane)
            zones += side_zones(known.plan, vault, direction, knots, loads, words, working)
            cases.append(
                known.case(
                    title, zones, [*slope_notes(known), *NOTES, MEMORY, *([NEAR_NOTE] if near else [])]
                )
            )
    return cases, skipped


def asce_domes(known: AsceRoof) -> Cases:
    """Unbalanced load of domes and cones, 7.6.4: that of curved roofs over a sector downwind."""
    cases: list[SnowCase] = []
    skipped: list[tuple[str, str]] = []
    for dome in known.roof.domes:
        name = dome_name(known.roof, dome)
        why = _chord_bar(dome.rise, dome.reach)
        if why:
            skipped.append((f"unbalanced on {name}", f"{why} and 7.6.4"))
            continue
        near = _near(known, dome.plane)
        knots, loads, values = _law(known, dome, dome.reach, dome.plane, near=near)
        like = Zone(
            f"unbalanced snow on {name}",
            int(dome.plane[0]),
            known.plan.polygon[dome.plane[0]],
            uniform(0.0),
            f"{known.rules.code} 7.6.4",
            "",
        )
        notes = [*slope_notes(known), DOME_NOTE.format(kind=dome.kind), SECTOR, MEMORY]
        notes += [CONE_NOTE] if dome.pitch else []
        notes += [NEAR_NOTE] if near else []
        for wind in dome_winds(known.roof, dome):
            zones = others(balanced_zones(known), dome.plane)
            regions = sector_regions(dome, wind)
            for knot in knots[1:-1]:
                inner = disc(known.plan, dome, knot, wind)
                regions = [part for r in regions for part in (r.intersection(inner), r.difference(inner))]
            field = sector_field(dome, wind, knots, loads)
            told = partial(_told, dome, wind, knots, loads, values)
            zones += dome_zones(known.plan, dome, regions, field, like, told)
            cases.append(known.case(f"unbalanced on {name}, wind toward {compass(wind)}", zones, notes))
    return cases, skipped


def _told(
    dome: Dome, wind: Array, knots: list[float], loads: list[float], values: tuple[Value, ...], place: Array
) -> tuple[str, tuple[Value, ...]]:
    """Formula of 7.6.4 and its values at a plan point."""
    away, angle, _, _ = place_values(dome, wind, place)
    steep = dome.pitch > MIDDLE
    names = ["p_eave", "p_eave"] if steep else ["p_crown", "p_30", "p_eave"][: len(knots)]
    where = ["x_crown", "x_30", "x_end"]
    k = int(np.clip(np.searchsorted(knots, away, side="left"), 1, len(knots) - 1))
    if away >= knots[-1] or loads[k] == loads[k - 1]:
        radial = names[-1] if away >= knots[-1] else names[k]
    elif k == 1:
        radial = f"p_crown + ({names[1]} - p_crown) r / x_30"
    else:
        radial = f"p_30 + (p_eave - p_30) (r - x_30) / ({where[k]} - x_30)"
    says = {
        "p_crown": "p_crown = 0.5 p_f",
        "p_30": "p_30 = 2 p_f C_s / C_e",
        "p_eave": "p_eave = 2 p_f C_s,eave / C_e" if loads[-1] > 0.0 else "p_eave = 0 from 70 degrees on",
    }
    used = [name for name in says if name in radial]
    share = float(np.clip((NONE - angle) / (NONE - FULL), 0.0, 1.0))
    whole = share >= 1.0
    if not whole:
        radial = f"f ({radial})" if " " in radial else f"f {radial}"
    lines = [f"p = {radial}", *(says[name] for name in used)]
    lines += [] if whole else ["f = (phi_none - phi) / (phi_none - phi_full)"]
    own = {"p_crown": loads[0], "p_30": float(max(loads)), "p_eave": loads[-1]}
    words = {
        "p_crown": "at the crown",
        "p_30": "at 30 degrees, or at the eave",
        "p_eave": "at the eave, or from 70 degrees on",
    }
    more = [Value(name, own[name], "Pa", words[name]) for name in used]
    if "x_end" in radial:
        reach = "x_s" if dome.pitch or knots[-1] == dome.reach else "min(x_s, R sin(70°))"
        more.append(Value("x_end", knots[-1], "m", "from the crown to the eave, or to 70 degrees", reach))
    more.append(Value("r", away, "m", "from the crown, where this zone has its largest pressure"))
    more.append(Value("phi", angle, "rad", "there, from the wind's way; the whole load to 45 degrees"))
    if not whole:
        more.append(Value("phi_full", FULL, "rad", "7.6.4, half of the sector downwind"))
        more.append(Value("phi_none", NONE, "rad", "7.6.4, no load from here on"))
        more.append(Value("f", share, "", "share of the load"))
    return ", ".join(lines), (*values, *more)


def _chord_bar(rise: float, run: float) -> str:
    """Why a curved roof has no unbalanced load; empty where it has."""
    chord = chord_slope(rise, run)
    if CHORD[0] - 1e-9 <= chord <= CHORD[1] + 1e-9:
        return ""
    return f"{np.degrees(chord):.1f} degrees from eave to crown, outside 10 to 60 (7.6.2, from memory)"


def _near(known: AsceRoof, facets: IntArray) -> bool:
    """Whether ground or another roof lies within 3 ft of the eave of some facets."""
    roof = known.roof
    eave = min(float(plane_corners(roof, int(i))[:, 2].min()) for i in facets)
    if roof.ground_assumed or eave - roof.ground <= NEAR:  # more snow where it is not known: the safe reading
        return True
    steps, edges = roof.steps, roof.edges
    close = steps.gap <= NEAR
    below = close & np.isin(steps.upper, facets) & (steps.wall.min(axis=1, initial=np.inf) <= NEAR)
    beside = close & np.isin(steps.lower, facets)
    valley = np.array(edges.kind) == EdgeKind.VALLEY
    return bool(below.any() or beside.any() or np.isin(edges.plane[valley], facets).any())


def _law(known: AsceRoof, curve: Vault | Dome, end: float, facets: IntArray, *, near: bool) -> Law:
    """Load at distances from the crown, and the values of its formula."""
    rules, pitch = known.rules, getattr(curve, "pitch", 0.0)
    free = bool(
        known.site.slippery and not rules.slippery_bar and not np.isin(facets, list(known.obstructed)).any()
    )
    whole = bool(np.isin(facets, [*known.unreduced, *known.folded]).any())

    def factor(slope: float) -> float:
        return 1.0 if whole else float(rules.slope_factor(np.array([slope]), np.array([free]))[0])

    eave = float(curve.slope_at(np.array(end)))
    double = 2.0 * rules.flat_load / rules.exposure
    middle_at = 0.0 if pitch > MIDDLE else min(curve.radius * float(np.sin(MIDDLE)), end)
    at_middle = factor(min(eave, MIDDLE)) if not pitch or near else factor(pitch)
    at_eave = at_middle if near else factor(eave)
    knots, loads = [0.0], [0.5 * rules.flat_load]
    if eave > MIDDLE:
        if middle_at > 0.0:
            knots.append(middle_at)
            loads.append(double * at_middle)
        else:
            loads = [double * at_middle]
    steep_at = end if pitch else curve.radius * float(np.sin(STEEP))
    last = end if near else min(end, steep_at)
    knots.append(last)
    loads.append(0.0 if last < end else double * at_eave)
    start, middle = rules.slope_start(free), min(eave, MIDDLE) if not pitch or near else pitch
    held = "folded or held snow: not reduced for slope"
    at_30 = (held, "") if whole else ("Fig. 7.4-1, to 30 degrees", slope_formula(start, "theta_30"))
    if near and not whole:
        beyond: tuple[str, Bare | str] = ("as at 30 degrees", "C_s")
    else:
        beyond = (held, "") if whole else ("Fig. 7.4-1, at the eave", slope_formula(start))
    shape = circle_values(curve, end) if isinstance(curve, Vault) else sphere_values(curve)
    capped = "min(30°, theta)" if not pitch or near else ""
    values = (
        *rules.flat,
        *shape,
        Value(
            "theta", eave, "rad", *(("of the cone",) if pitch else ("tangent at the eave", "asin(x_s / R)"))
        ),
        Value(
            "theta_30",
            middle,
            "rad",
            "30 degrees, or the tangent at the eave" if capped else "of the cone",
            capped,
        ),
        Value(
            "x_30",
            middle_at,
            "m",
            "of the cone: from the crown to where it is 30 degrees, or to the eave"
            if pitch
            else "from the crown to 30 degrees, or to the eave",
            "" if pitch else "R sin(theta_30)",
        ),
        Value("C_s", at_middle, "", *at_30),
        Value("C_s,eave", at_eave, "", *beyond),
        known.light_density,
    )
    return knots, loads, values
