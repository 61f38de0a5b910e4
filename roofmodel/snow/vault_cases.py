"""Unbalanced snow on barrel vaults by EN 1991-1-3 and NBCC 2020, one case for each side."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from roofmodel.snow import en1991_1_3 as en
from roofmodel.snow import nbcc2020
from roofmodel.snow.cases import Bare, SnowCase, Value
from roofmodel.snow.en_roof import CODE as EN_CODE
from roofmodel.snow.en_roof import EnRoof, ground_values
from roofmodel.snow.en_roof import balanced_zones as en_balanced
from roofmodel.snow.nbcc_roof import CODE as NBCC_CODE
from roofmodel.snow.nbcc_roof import NbccRoof, common_values, notes_of, uniform_zones
from roofmodel.snow.nbcc_working import slope_formula
from roofmodel.snow.regions import compass
from roofmodel.snow.vaulted import NOTES, circle_values, on_side, others, side_zones, sides, vault_names

Array = NDArray[np.float64]
Cases = tuple[list[SnowCase], list[tuple[str, str]]]

BETWEEN = "S_1 + (S_2 - S_1) (x - x_1) / (x_2 - x_1)"
MIDDLE = np.radians(30.0)
ARCH = 0.05  # NBCC 4.1.6.10: flatter arches have no unbalanced case


def en_vaults(known: EnRoof) -> Cases:
    """Drifted arrangement (ii) of 5.3.5: triangles of 0.5 mu_3 and mu_3 on the two sides, and reverse."""
    cases: list[SnowCase] = []
    for vault in known.roof.vaults:
        rise, wide = vault.rise_to(max(-vault.ends[0], vault.ends[1])), vault.span
        shape = float(en.mu_cylinder(rise, wide))
        limit = vault.radius * np.sin(en.CYLINDER_STEEPEST)
        for _, direction, _ in sides(vault):
            zones = others(en_balanced(known), vault.plane)
            for _, way, end in sides(vault):
                half = min(end, limit)
                factor = 1.0 if np.allclose(way, direction) else 0.5
                peak = factor * shape * known.unit_load
                values = (
                    *ground_values(known),
                    *circle_values(vault, end),
                    Value("b", wide, "m", "springing to springing"),
                    Value("mu_3", shape, "", "5.3.5", "min(0.2 + 10 h / b, 2)"),
                    Value(
                        "l_s",
                        2.0 * half,
                        "m",
                        "width that is no steeper than 60 degrees",
                        "2 min(x_s, R sin(60°))",
                    ),
                )
                name = (
                    f"{'' if factor == 1.0 else 'half the '}drifted snow on {vault_names(known.roof, vault)}"
                )
                load = f"{'' if factor == 1.0 else '0.5 '}mu_3 C_e C_t s_k"
                working = [(f"{load} (4 x / l_s)", values), (f"{load} (2 - 4 x / l_s)", values)]
                knots, loads = (0.0, 0.5 * half, half), (0.0, peak, 0.0)
                words = (name, f"{EN_CODE} 5.3.5")
                zones += side_zones(known.plan, vault, way, knots, loads, words, working)
            title = f"drifted on {vault_names(known.roof, vault)}, wind toward {compass(direction)}"
            cases.append(known.case(title, zones, NOTES))
    return cases, []


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
            held = bool(np.isin(facets, list(known.unreduced)).any())
            if held:
                slope = np.ones(len(knots))
            plane = int(facets[0])
            loads = [
                known.drifted(plane, float(a), float(s)) if a > 0.0 else 0.0
                for a, s in zip(shape, slope, strict=True)
            ]
            values = (
                *common_values(known, plane),
                *circle_values(vault, end),
                Value("b", wide, "m", "springing to springing"),
                Value(
                    "x_30",
                    middle,
                    "m",
                    "from the crown to 30 degrees, or to the springing",
                    "min(x_s, R sin(30°))",
                ),
                known.light_density,
            )
            sentence = 4 if float(vault.slope_at(np.array(end))) > MIDDLE + 1e-9 else 3
            knot = [
                [
                    _nbcc_knot(
                        known,
                        plane,
                        (float(x), float(vault.slope_at(x)), float(a), float(s), float(p)),
                        f"{n}",
                        "" if held else slope_formula(slippery, f"alpha_{n}"),
                    )
                    for n in (1, 2)
                ]
                for x, a, s, p in zip(knots, shape, slope, loads, strict=True)
            ]
            working = [
                (BETWEEN, (*values, *first, *last)) for (first, _), (_, last) in itertools.pairwise(knot)
            ]
            words = (
                f"drifted snow on {vault_names(known.roof, vault)}",
                f"{NBCC_CODE} 4.1.6.10.({sentence})",
            )
            zones = others(uniform_zones(known), vault.plane)
            zones += side_zones(known.plan, vault, direction, knots.tolist(), loads, words, working)
            title = f"unbalanced on {vault_names(known.roof, vault)}, wind toward {compass(direction)}"
            cases.append(known.case(title, zones, [*notes_of(known), *NOTES]))
    return cases, skipped


def _nbcc_knot(
    known: NbccRoof, plane: int, law: tuple[float, float, float, float, float], n: str, line: Bare | str
) -> tuple[Value, ...]:
    """S at a distance from the crown and what it takes, symbols ending in `n`; `line` is that of C_s."""
    x, tangent, shape, slope, load = law
    alone = known.site.ground_snow * float(known.calm[plane]) * slope * shape
    return (
        Value(f"x_{n}", x, "m", "from the crown"),
        Value(f"alpha_{n}", tangent, "rad", "tangent there", f"asin(x_{n} / R)"),
        Value(f"C_a,{n}", shape, "", "4.1.6.10", f"min(h / (0.06 b), 2) min(x_{n}, x_30) / (C_b x_30)"),
        Value(f"C_s,{n}", slope, "", "4.1.6.2" if line else "held snow: not reduced for slope", line),
        Value(f"S_0,{n}", alone, "Pa", "snow without rain", f"S_s C_b C_s,{n} C_a,{n}"),
        Value(f"S_{n}", load, "Pa", "", f"I_s (S_0,{n} + min(S_r, S_0,{n}))"),
    )
