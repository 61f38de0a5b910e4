"""Formulas with numbers: right where they are shown, and not shown where they do not give the result."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from snow_projects import (
    ANNEX_B,
    ASCE16,
    CONE,
    DEMOS,
    DOME,
    SAW,
    demo,
    study_of,
    under_asce,
    under_nbcc,
    with_obstacles,
    with_part,
    with_site,
)

from roofmodel.snow.cases import Value, Zone
from roofmodel.snow.inputs import EnSite
from roofmodel.snow.registry import snow_cases
from roofmodel.surface import RoofSurface
from tests.snow.snow_roofs import court, folded, saw_tooth
from viewer.quantities import system
from viewer.report.page import expression_html
from viewer.report.working_parts import Number
from viewer.snow.formula import worked


def plain(expression: tuple[object, ...], units: str = "SI") -> str:
    return re.sub(r"<[^>]+>", "", str(expression_html(expression, system(units))))


def zone(formula: str, pressure: float, *values: Value) -> Zone:
    flat = np.array([pressure, 0.0, 0.0])
    return Zone("test", 0, shapely.box(0.0, 0.0, 2.0, 1.0), flat, "clause", formula, values)


@pytest.mark.parametrize("name", DEMOS)
def test_every_formula_of_the_demos_is_put_in_numbers(name: str) -> None:
    for patch in demo(name).findings.patches:
        lines = worked(patch.zone)
        assert all(line.numbers for line in lines)
        results = [
            part.value for part in (lines[-1].results or lines[-1].numbers) if isinstance(part, Number)
        ]
        # A linear zone may begin off the line of the formula's peak.
        assert max(results) >= patch.high * (1.0 - 1e-9)
        if not patch.zone.pressure[1:].any():
            assert any(value == pytest.approx(patch.high, rel=1e-9) for value in results)


@pytest.mark.parametrize("text", [under_asce(), under_asce(ASCE16), under_nbcc(), with_site(ANNEX_B)])
def test_every_formula_of_every_standard_is_put_in_numbers(text: str, tmp_path: Path) -> None:
    for patch in study_of(with_obstacles(text), tmp_path).findings.patches:
        assert all(line.numbers for line in worked(patch.zone)), patch.zone.formula


@pytest.mark.parametrize("roof", [folded(2), folded(4), court(), saw_tooth()])
def test_every_formula_of_valleys_and_walls_that_meet_is_put_in_numbers(roof: RoofSurface) -> None:
    for case in snow_cases(roof, EnSite(ground_snow=900.0, annex_b=True)).cases:
        for patch in case.zones:
            assert all(line.numbers for line in worked(patch)), patch.formula


@pytest.mark.parametrize("text", [under_asce(), under_asce(ASCE16), under_nbcc()])
@pytest.mark.parametrize("part", [DOME, CONE, SAW], ids=["dome", "cone", "saw-tooth"])
def test_every_formula_of_round_and_folded_roofs_is_put_in_numbers(
    text: str, part: str, tmp_path: Path
) -> None:
    patches = study_of(with_part(text, part), tmp_path).findings.patches
    for one in {patch.zone.formula: patch.zone for patch in patches}.values():
        assert all(line.numbers for line in worked(one)), one.formula


def test_chain_is_in_the_order_of_calculation() -> None:
    patch = next(p for p in demo("ridge-school").findings.patches if p.zone.name.startswith("windward"))
    lines = worked(patch.zone)
    assert [line.symbols for line in lines] == [
        "p_f = 0.7 C_e C_t p_g",
        "C_s = max(0, min(1, (70 - theta) / (70 - 15)))",
        "p_s = C_s p_f",
        "0.3 p_s",
    ]
    # 0.7 x 1.0 x 1.2 x 55 psf by hand
    assert plain(lines[0].numbers, "US") == "0.7 × 1.000 × 1.200 × 55.00 psf"
    assert plain(lines[0].results, "US") == "46.20 psf"


def test_drift_is_taken_at_its_peak() -> None:
    patch = demo("tannery-hall").findings.patches[-1]
    line = worked(patch.zone)[-1]
    assert plain(line.results) == "5.539 kN/m²"
    assert "(1 − 0 / 5.000 m)" in plain(line.numbers)


@pytest.mark.parametrize(
    ("formula", "pressure", "numbers", "result"),
    [
        ("p = g sum(rho d)", 98.0665, "9.807 × 10.00 kg/m²", "0.09807 kN/m²"),
        ("p = min(A, B)", 300.0, "min(0.5000 kN/m², 0.3000 kN/m²)", "0.3000 kN/m²"),
        ("p = A - B", 200.0, "0.5000 kN/m² − 0.3000 kN/m²", "0.2000 kN/m²"),
        (
            "0.4 A L over 2 m from the eave",
            300.0,
            "0.4 × 0.5000 kN/m² × 3.000 m over 2.000 m from the eave ",
            "0.3000 kN/m²",
        ),
        ("w = 2 L^2 / L or 9 L", 1.0, "2 × (3.000 m)² / 3.000 m or 9 × 3.000 m", "6.000 m or 27.00 m"),
        (
            "A at the wall to B at the ridge",
            300.0,
            "0.5000 kN/m² at the wall to 0.3000 kN/m² at the ridge ",
            "0.5000 kN/m² at the wall to 0.3000 kN/m² at the ridge ",
        ),
        ("A [c + c]", 500.0, "0.5000 kN/m² × (0.5000 + 0.5000)", "0.5000 kN/m²"),
    ],
)
def test_forms(formula: str, pressure: float, numbers: str, result: str) -> None:
    values = (
        Value("A", 500.0, "Pa"),
        Value("B", 300.0, "Pa"),
        Value("L", 3.0, "m"),
        Value("w", 6.0, "m"),
        Value("c", 0.5),
        Value("sum(rho d)", 10.0, "kg/m**2"),
    )
    (line,) = worked(zone(formula, pressure, *values))
    assert plain(line.numbers) == numbers
    assert plain(line.results) == result


@pytest.mark.parametrize(
    "formula", ["p = A B", "p = A + L", "p = 2 A", "p = A / 0", "p = (A", "by the figure", ""]
)
def test_what_does_not_give_the_result_is_not_shown(formula: str) -> None:
    values = (
        Value("A", 500.0, "Pa"),
        Value("B", 300.0, "Pa"),
        Value("L", 3.0, "m"),
        Value("n", 1.0, "moles?"),
    )
    for line in worked(zone(formula, 400.0, *values)):
        assert line.numbers == ()
        assert line.results == ()


def test_a_capped_value_is_said_beside_the_result() -> None:
    """p_f stated below what the formula gives: a cap that the formula does not tell of."""
    patch = demo("ridge-school").findings.patches[0]
    values = tuple(replace(v, value=0.9 * v.value) if v.symbol == "p_f" else v for v in patch.zone.values)
    lines = worked(replace(patch.zone, values=values))
    assert lines[0].symbols.startswith("p_f =")
    assert plain(lines[0].results, "US") == "46.20 psf"
    assert lines[0].taken is not None
    assert lines[0].taken.value == pytest.approx(0.9 * 46.2 * 47.880259, rel=1e-6)
    assert all(line.taken is None for line in worked(patch.zone))
