"""Unbalanced snow on barrel vaults by each standard, one case for each side."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from roofmodel.snow import en1991_1_3 as en
from roofmodel.snow import nbcc2020
from roofmodel.snow.asce_roof import AsceRoof, slope_notes
from roofmodel.snow.asce_roof import balanced_zones as asce_balanced
from roofmodel.snow.cases import SnowCase, Value, Zone
from roofmodel.snow.en_roof import CODE as EN_CODE
from roofmodel.snow.en_roof import EnRoof
from roofmodel.snow.en_roof import balanced_zones as en_balanced
from roofmodel.snow.nbcc_roof import CODE as NBCC_CODE
from roofmodel.snow.nbcc_roof import NbccRoof, common_values, notes_of, uniform_zones
from roofmodel.snow.regions import compass
from roofmodel.snow.vaulted import NOTES, on_side, side_zones, sides, vault_names
from roofmodel.surface import Vault

Array = NDArray[np.float64]
Cases = tuple[list[SnowCase], list[tuple[str, str]]]

CHORD = np.radians([10.0, 60.0])  # ASCE 7.6.2: none where the line from eave to crown is flatter or steeper
STEEP = np.radians(70.0)  # ASCE 7.4.3: no snow from here on
MIDDLE = np.radians(30.0)
ARCH = 0.05  # NBCC 4.1.6.10: flatter arches have no unbalanced case


def _others(zones: list[Zone], vault: Vault) -> list[Zone]:
    """Zones on planes that are not of the vault."""
    own = set(vault.plane.tolist())
    return [zone for zone in zones if zone.plane not in own]


def en_vaults(known: EnRoof) -> Cases:
    """Drifted arrangement (ii) of 5.3.5: triangles of 0.5 mu_3 and mu_3 on the two sides, and reverse."""
    cases: list[SnowCase] = []
    for vault in known.roof.vaults:
        rise, wide = vault.rise_to(max(-vault.ends[0], vault.ends[1])), vault.span
        shape = float(en.mu_cylinder(rise, wide))
        limit = vault.radius * np.sin(en.CYLINDER_STEEPEST)
        for _, direction, _ in sides(vault):
            zones = _others(en_balanced(known), vault)
            for _, way, end in sides(vault):
                half = min(end, limit)
                factor = 1.0 if np.allclose(way, direction) else 0.5
                peak = factor * shape * known.unit_load
                values = (
                    Value("s_k", known.site.ground_snow, "Pa", "ground snow"),
                    Value("C_e", known.exposure, "", "Table 5.1 or given"),
                    Value("C_t", known.site.thermal_factor, "", "given"),
                    Value("h", rise, "m", "crown above springing"),
                    Value("b", wide, "m", "springing to springing"),
                    Value("mu_3", shape, "", "0.2 + 10 h / b, at most 2.0"),
                    Value("l_s", 2.0 * half, "m", "width that is no steeper than 60 degrees"),
                )
                name = (
                    f"{'' if factor == 1.0 else 'half the '}drifted snow on {vault_names(known.roof, vault)}"
                )
                words = (
                    name,
                    f"{EN_CODE} 5.3.5",
                    f"{'' if factor == 1.0 else '0.5 '}mu_3 C_e C_t s_k at the peak",
                )
                knots, loads = (0.0, 0.5 * half, half), (0.0, peak, 0.0)
                zones += side_zones(known.plan, vault, way, knots, loads, words, values)
            title = f"drifted on {vault_names(known.roof, vault)}, wind toward {compass(direction)}"
            cases.append(known.case(title, zones, NOTES))
    return cases, []


def asce_vaults(known: AsceRoof) -> Cases:
    """Unbalanced load of curved roofs, 7.6.2 and Fig. 7.4-2: nothing to windward."""
    cases: list[SnowCase] = []
    skipped: list[tuple[str, str]] = []
    for vault in known.roof.vaults:
        for _, direction, end in sides(vault):
            title = f"unbalanced on {vault_names(known.roof, vault)}, wind toward {compass(direction)}"
            chord = float(np.arctan2(vault.rise_to(end), end))
            if not CHORD[0] <= chord <= CHORD[1]:
                why = f"{np.degrees(chord):.1f} degrees from eave to crown, outside 10 to 60 (7.6.2)"
                skipped.append((title, why))
                continue
            zones = _others(asce_balanced(known), vault)
            zones += _asce_side(known, vault, direction, end)
            cases.append(known.case(title, zones, [*slope_notes(known), *NOTES]))
    return cases, skipped


def _asce_side(known: AsceRoof, vault: Vault, direction: Array, end: float) -> list[Zone]:
    rules = known.rules
    facets = on_side(vault, known.roof, direction)
    free = bool(
        known.site.slippery and not rules.slippery_bar and not np.isin(facets, list(known.obstructed)).any()
    )
    held = bool(np.isin(facets, list(known.unreduced)).any())

    def factor(slope: float) -> float:
        return 1.0 if held else float(rules.slope_factor(np.array([slope]), np.array([free]))[0])

    eave = float(vault.slope_at(np.array(end)))
    double = 2.0 * rules.flat_load / rules.exposure
    middle_at = vault.radius * np.sin(MIDDLE)
    knots, loads = [0.0], [0.5 * rules.flat_load]
    if eave > MIDDLE:
        knots.append(middle_at)
        loads.append(double * factor(MIDDLE))
    last = min(end, vault.radius * np.sin(STEEP))
    knots.append(last)
    loads.append(0.0 if last < end else double * factor(eave))
    values = (
        *rules.ground,
        Value("p_f", rules.flat_load, "Pa", "Eq. 7.3-1"),
        Value("C_e", rules.exposure, "", "Table 7.3-1 or given"),
        Value("theta", eave, "rad", "tangent at the eave"),
        Value(
            "x_30", middle_at if eave > MIDDLE else end, "m", "from the crown to 30 degrees, or to the eave"
        ),
        Value("C_s", factor(min(eave, MIDDLE)), "", "at 30 degrees, or at the eave"),
        Value("C_s,eave", factor(eave), "", "at the eave"),
        known.light_density,
    )
    words = (
        f"unbalanced snow on {vault_names(known.roof, vault)}",
        f"{rules.code} 7.6.2",
        "0.5 p_f at the crown, 2 p_f C_s / C_e at 30 degrees and at the eave",
    )
    return side_zones(known.plan, vault, direction, knots, loads, words, values)


def nbcc_vaults(known: NbccRoof) -> Cases:
    """Case II of arches, 4.1.6.10: C_a on one side, nothing on the other."""
    cases: list[SnowCase] = []
    skipped: list[tuple[str, str]] = []
    for vault in known.roof.vaults:
        rise, wide = vault.rise_to(max(-vault.ends[0], vault.ends[1])), vault.span
        if rise <= ARCH * wide:
            skipped.append(
                (f"unbalanced on {vault_names(known.roof, vault)}", "h / b is at most 0.05 (4.1.6.10)")
            )
            continue
        for _, direction, end in sides(vault):
            facets = on_side(vault, known.roof, direction)
            middle = min(vault.radius * float(np.sin(MIDDLE)), end)
            basic = float(known.calm[facets[0]])
            knots = np.unique(np.concatenate([np.linspace(0.0, middle, 3), np.linspace(middle, end, 6)]))
            shape = nbcc2020.arch_factor(knots, rise, wide, basic, middle)
            slippery = known.site.slippery and not np.isin(facets, list(known.obstructed)).any()
            slope = nbcc2020.slope_factor(vault.slope_at(knots), np.full(len(knots), slippery))
            if np.isin(facets, list(known.unreduced)).any():
                slope = np.ones(len(knots))
            plane = int(facets[0])
            loads = [
                known.drifted(plane, float(a), float(s)) if a > 0.0 else 0.0
                for a, s in zip(shape, slope, strict=True)
            ]
            values = (
                *common_values(known, plane),
                Value("h", rise, "m", "crown above springing"),
                Value("b", wide, "m", "springing to springing"),
                Value("x_30", middle, "m", "from the crown to 30 degrees, or to the springing"),
                Value("C_a", float(shape[-1]), "", "from x_30 on"),
                Value("C_w", 1.0, "", "4.1.6.2.(4), where snow accumulates"),
                Value("C_s", float(np.interp(middle, knots, slope)), "", "at x_30"),
                known.light_density,
            )
            words = (
                f"drifted snow on {vault_names(known.roof, vault)}",
                f"{NBCC_CODE} 4.1.6.10",
                "S = I_s (S_s C_b C_w C_s C_a + S_r), C_a = h x / (0.03 C_b b x_30) or 4 x / (C_b x_30)",
            )
            zones = _others(uniform_zones(known), vault)
            zones += side_zones(known.plan, vault, direction, knots.tolist(), loads, words, values)
            title = f"unbalanced on {vault_names(known.roof, vault)}, wind toward {compass(direction)}"
            cases.append(known.case(title, zones, [*notes_of(known), *NOTES]))
    return cases, skipped
