"""Rail sections, span tables and what few tests justify, against tables and closed forms."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
from shapely import Polygon

from benchmarks.verification.findings import Finding, check_cases
from fea.spans.lines import Arrangement, lines_of
from fea.spans.rows import solve_rows
from fea.spans.study import study_hardware, study_roof
from fea.strength_tests.fractiles import design_factor, fractile_factor, suspects, tolerance_factor
from roofmodel.profiles.properties import profile_of
from roofmodel.profiles.shapes import shape_outline
from roofmodel.project.span_study import load_study

COVE = Path(__file__).parents[2] / "models" / "cove-rails" / "spans.toml"
COLLECTED = {
    "section_L40x40x3_sharp": "Angle 40 x 40 x 3",
    "section_C60x30x12x2_sharp": "Lipped channel 60 x 30 x 12 x 2",
}
# EN 1990:2002 Annex D, from memory. Table D1: 5 % characteristic value; Table D2: design value, which has
# none for three tests of unknown scatter.
COUNTS = np.array([3, 4, 5, 6, 8, 10, 20, 30])
D1_KNOWN = np.array([1.89, 1.83, 1.80, 1.77, 1.74, 1.72, 1.68, 1.67])
D1_UNKNOWN = np.array([3.37, 2.63, 2.33, 2.18, 2.00, 1.92, 1.76, 1.73])
D2_KNOWN = np.array([3.56, 3.44, 3.37, 3.33, 3.27, 3.23, 3.16, 3.13])
D2_UNKNOWN = np.array([np.nan, 11.40, 7.85, 6.36, 5.07, 4.51, 3.64, 3.44])
# ISO 16269-6, one-sided, unknown scatter (the same values in Natrella, NBS Handbook 91, Table A-7): tests,
# share above, confidence, factor.
TOLERANCE = (
    (5, 0.95, 0.95, 4.203),
    (10, 0.95, 0.95, 2.911),
    (20, 0.95, 0.95, 2.396),
    (5, 0.95, 0.75, 2.463),
    (10, 0.95, 0.75, 2.104),
    (10, 0.90, 0.95, 2.355),
)
# Two-sided 5 %, that is one-sided 2.5 % of ASTM E178, Table 1: tests, critical value.
GRUBBS = ((3, 1.155), (5, 1.715), (10, 2.290), (20, 2.709))
EXACT = "exact polygon integrals"
OTHER = "finite elements of a second program (sectionproperties)"


def _collected() -> list[Finding]:
    """Angle and lipped channel."""
    found = []
    for name, words in COLLECTED.items():
        case = check_cases()[name]
        want, near = case["expected"], case["tolerance"]
        s = profile_of(Polygon(np.array(case["inputs"]["polygon_xy_mm"]) / 1e3), 0.0).section
        lines = [
            ("area", "mm^2", s.area * 1e6, want["A_mm2"], EXACT, near["A_I_rel"]),
            ("second moment I_x", "mm^4", s.I_y * 1e12, want["Ixx_mm4"], EXACT, near["A_I_rel"]),
            ("second moment I_y", "mm^4", s.I_z * 1e12, want["Iyy_mm4"], EXACT, near["A_I_rel"]),
            ("torsion constant", "mm^4", s.J * 1e12, want["J_mm4"], OTHER, near["J_rel"]),
            (
                "shear center from the back",
                "mm",
                s.center_y * 1e3 + want["cx_mm"],
                want["x_sc_mm"],
                OTHER,
                0.05 / abs(want["x_sc_mm"]),
            ),
        ]
        if s.I_w:
            lines.append(("warping constant", "mm^6", s.I_w * 1e18, want["Cw_mm6"], OTHER, near["Cw_rel"]))
        found += [
            Finding(f"{words}, {what}", source, "outline", unit, value, reference, bar)
            for what, unit, value, reference, source, bar in lines
        ]
    return found


def _closed_forms() -> list[Finding]:
    """Thin channel, tubes and a thin closed tube in torsion."""
    t, h, b = 1e-3, 0.08, 0.04
    shape = shape_outline("channel", {"width": b + t / 2, "depth": h + t, "wall": t})
    s = profile_of(shape, 0.0).section
    web = shape.centroid.x - t / 2
    thin = "thin walls: e = 3 b^2/(6 b + h), I_w = t h^2 b^3/12 (3 b + 2 h)/(6 b + h), textbook"
    ring = profile_of(shape_outline("round tube", {"diameter": 0.060, "wall": 0.002})).section
    R, r = 0.030, 0.028
    box = profile_of(shape_outline("rectangular tube", {"width": 0.06, "depth": 0.04, "wall": 0.0015}))
    inside = 0.0585 * 0.0385
    bredt = 4.0 * inside**2 * 0.0015 / (2.0 * (0.0585 + 0.0385))
    plastic = (0.06 * 0.04**2 - 0.057 * 0.037**2) / 4.0
    lines = [
        ("Thin channel, shear center", "mm", (-s.center_y - web) * 1e3, 3e3 * b**2 / (6 * b + h), thin, 0.01),
        (
            "Thin channel, warping constant",
            "mm^6",
            s.I_w * 1e18,
            h**2 * b**3 * t / 12 * (3 * b + 2 * h) / (6 * b + h) * 1e18,
            thin,
            0.01,
        ),
        (
            "Thin channel, torsion constant",
            "mm^4",
            s.J * 1e12,
            (2 * b + h) * t**3 / 3 * 1e12,
            "sum of b t^3/3",
            0.015,
        ),
        (
            "Round tube 60 x 2, second moment",
            "mm^4",
            ring.I_y * 1e12,
            np.pi / 4 * (R**4 - r**4) * 1e12,
            "pi/4 (R^4 - r^4)",
            3e-3,
        ),
        (
            "Round tube 60 x 2, torsion constant",
            "mm^4",
            ring.J * 1e12,
            np.pi / 2 * (R**4 - r**4) * 1e12,
            "pi/2 (R^4 - r^4)",
            5e-3,
        ),
        (
            "Tube 60 x 40 x 1.5, torsion constant",
            "mm^4",
            box.section.J * 1e12,
            bredt * 1e12,
            "Bredt's formula",
            0.03,
        ),
        (
            "Tube 60 x 40 x 1.5, plastic modulus",
            "mm^3",
            box.plastic[0] * 1e9,
            plastic * 1e9,
            "outer less inner rectangle",
            1e-9,
        ),
    ]
    return [
        Finding(what, source, "outline", unit, float(value), float(reference), bar)
        for what, unit, value, reference, source, bar in lines
    ]


def section_findings() -> list[Finding]:
    """Values of sections."""
    return [*_collected(), *_closed_forms()]


def _firm_rows(arrangement: Arrangement, unloaded: float, span: float) -> tuple[float, float]:
    """Largest clamp force over q L and moment over q L^2 of a row on clamps that do not give way."""
    study = load_study(COVE)
    roof, hardware = study_roof(study), study_hardware(study, study.variants[0], 0)
    clamp = replace(hardware.clamp, height=0.0, stiffness=np.diag([1e11, 1e11, 1e11, 1e-3, 1e6, 1e-3]))
    section = replace(hardware.rail.section, shear_y=np.inf, shear_z=np.inf)
    rail = replace(hardware.rail, section=section, material=replace(hardware.rail.material, density=0.0))
    lines = lines_of(arrangement, many=5, overhang=0.25, unloaded=unloaded, splice=None)
    rows = solve_rows(roof, lines, np.full(len(lines), span), replace(hardware, clamp=clamp, rail=rail), None)
    force = float(np.abs(rows.result.clamp_force[0, :, 0]).max())
    moment = float(np.abs(rows.result.rail_force[0, :, 5]).max())
    return force / span, moment / span**2


def span_findings() -> list[Finding]:
    """Rows of equal spans under even and patterned load: the rows that span tables are made of."""
    A = Arrangement
    book = "tables of continuous beams, engineering handbooks (from memory)"
    cases = (
        (A.SINGLE, 1.0, 0.5, 0.125, "one span"),
        (A.TWO, 1.0, 1.25, 0.125, "two spans"),
        (A.END, 1.0, 43.0 / 38.0, 2.0 / 19.0, "five spans"),
        (A.END, 0.0, 1.218, 0.1196, "five spans, worst loaded"),
    )
    found = []
    for arrangement, unloaded, force, moment, words in cases:
        reaction, bending = _firm_rows(arrangement, unloaded, 1.3)
        found += [
            Finding(f"{words}, largest clamp force", book, "exact beams", "q L", reaction, force, 2e-3),
            Finding(f"{words}, largest moment", book, "exact beams", "q L^2", bending, moment, 2e-3),
        ]
    return found


def statistics_findings() -> list[Finding]:
    """Factors for few tests."""
    d1 = "EN 1990:2002 Annex D, Table D1 (from memory)"
    d2 = "EN 1990:2002 Annex D, Table D2 (from memory; it rounds, at 20 and 30 down)"
    tables = (
        ("5 % fractile, scatter known", d1, fractile_factor(COUNTS, known=True), D1_KNOWN),
        ("5 % fractile, scatter unknown", d1, fractile_factor(COUNTS, known=False), D1_UNKNOWN),
        ("design value, scatter known", d2, design_factor(COUNTS, known=True), D2_KNOWN),
        ("design value, scatter unknown", d2, design_factor(COUNTS, known=False), D2_UNKNOWN),
    )
    found = [
        Finding(f"{words}, {n} tests", source, "exact", "", float(k), float(value), 0.012)
        for words, source, factor, values in tables
        for n, k, value in zip(COUNTS, factor, values, strict=True)
        if value == value
    ]
    iso = "ISO 16269-6; Natrella, NBS Handbook 91, Table A-7"
    for count, share, confidence, k in TOLERANCE:
        words = f"tolerance factor, {share:.0%} with confidence {confidence:.0%}, {count} tests"
        factor = float(tolerance_factor(count, share=share, confidence=confidence))
        found.append(Finding(words, iso, "exact", "", factor, k, 1e-3))
    for count, limit in GRUBBS:
        value = float(suspects(np.arange(float(count)))[1])
        found.append(
            Finding(
                f"Grubbs' limit of an outlier, two-sided 5 %, {count} tests",
                "ASTM E178, Table 1",
                "exact",
                "",
                value,
                limit,
                1e-3,
            )
        )
    return found
