"""What a span table holds for: everything that was read into it, in both unit systems."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fea.checks.combinations import strength_factors
from fea.checks.rail_section import yield_moments
from fea.checks.screw_strength import screw_rule, screw_strength
from fea.push.project import DIRECTIONS
from fea.spans.study import StudyResult, guessed, open_words
from roofmodel.hardware import DesignFormat, Rail, as_tested
from roofmodel.project.tested import sheet_text
from roofmodel.project.tested import words as tested_words
from roofmodel.snow.cases import LoadLevel
from roofmodel.snow.level_words import level_words
from roofmodel.units import SI, US, UnitSystem
from viewer.quantities import quantity, system
from viewer.report.tables import Table
from viewer.span.words import units_of

SIDES = ("base", "support")


def conditions(found: StudyResult, seam: float | None = None) -> tuple[tuple[str, str], ...]:
    """Names and words of what all tables of a study hold for, or those of one seam spacing [m].

    Ranges by their low ends.
    """
    table, variants, units = found.study.table, found.study.variants, units_of(found)
    study, panel, clamp, design = table.study, table.panel, table.clamp, table.design
    degrees, pitch = math.degrees(study.slope), 12.0 * math.tan(study.slope)
    given = np.min([one.clamp.nominal for one in variants], axis=0)
    usable = np.min([one.clamp.strength for one in variants], axis=0)
    strengths = [
        f"{name.replace('moment_along', 'roll').replace('moment_pull', 'twist')} "
        f"{both(g, 'force' if i < 4 else 'moment', units)}"
        f", for design {both(d, 'force' if i < 4 else 'moment', units)}"
        for i, (name, g, d) in enumerate(zip(DIRECTIONS, given, usable, strict=True))
        if not np.isnan(g)
    ]
    anchorage = "not given"
    if panel.anchorage is not None:
        least = min(one.panel.anchorage for one in variants)
        anchorage = f"{panel.anchorage_kind}, for design {both(least, 'force', units)} a strip"
    basis = [clamp.test_basis.strip()] if clamp.test_basis.strip() else []
    basis += [] if clamp.tested is None else [tested_words(clamp.tested, units)]
    factors = strength_factors(
        DesignFormat(design.format), LoadLevel(study.level), design.snow_factor, design.thermal_factor
    )
    splice = "no splices" if study.splice == "none" else f"a {study.splice} splice at its worst place"
    divided = "" if clamp.factor is None else f", factor {clamp.factor:g}"
    return (
        ("Slope", f"{degrees:.4g}° ({pitch:.3g}:12)"),
        (
            "Seams",
            f"{both(panel.seam_height, 'size', units)} high, every "
            + " or ".join(
                both(one, "size", units) for one in (found.study.seams if seam is None else (seam,))
            ),
        ),
        (
            "Sheet",
            f"{panel.metal}, {_sheet(panel.thickness, units)}, "
            f"{both(study.panel_length, 'length', units)} long",
        ),
        ("Panel anchorage", anchorage),
        (
            "Clamp",
            f"{clamp.fastening}, rail's axis {both(clamp.height, 'size', units)} above the grip, "
            f"grip {both(clamp.grip_length, 'size', units)} long, "
            f"tested {both(clamp.test_height, 'size', units)} above the grip, "
            f"{clamp.interaction} interaction",
        ),
        ("Clamp stiffness", _stiffness(found, units)),
        ("Clamp strengths", f"{clamp.strength_kind}{divided}: {'; '.join(strengths)}"),
        *_screws(found, units),
        ("Test basis", "; ".join(basis) or "not given"),
        (
            "Loads",
            f"{design.format}, {level_words(LoadLevel(study.level))}; the limits take {factors.dead:g} D + "
            f"{factors.snow:g} S ({factors.clause}), D the rail's own weight, S these loads of snow down the "
            "slope per length of rail, on the axis or at the top, whichever is worse",
        ),
        (
            "Rows",
            f"{study.many} spans in a long row, overhang {100.0 * study.overhang:g} % of the span, "
            f"{100.0 * study.unloaded_share:g} % of the load on spans that a pattern unloads, {splice}",
        ),
    )


def _screws(found: StudyResult, units: UnitSystem) -> list[tuple[str, str]]:
    """Screws of brackets, one row of words; none for clamps on seams."""
    some = [screws for one in found.study.variants if (screws := one.clamp.screws) is not None]
    if not some:
        return []
    rule = screw_rule(DesignFormat(found.study.table.design.format), "measured")
    strengths = [screw_strength(screws, rule) for screws in some]
    first, thin = some[0], (min(getattr(one, f"{part}_thickness") for one in some) for part in SIDES)
    sheets = [f"{part} {_sheet(t, units)}" for part, t in zip(SIDES, thin, strict=True) if not np.isnan(t)]
    kinds = zip(*((*one.shear, *one.out, *one.over, *one.tension) for one in strengths), strict=True)
    holds = []
    for parts in kinds:
        least = float(np.min([part.design for part in parts]))
        text = "not given" if np.isnan(least) else both(least, "force", units)
        holds.append(f"{parts[0].name} {text}")
    places = ", ".join(
        f"{units.convert(x, 'size'):.4g} / {units.convert(y, 'size'):.4g}" for x, y in first.place.tolist()
    )
    return [
        (
            "Screws",
            f"{len(first.place)} a bracket, {both(first.diameter, 'size', units)}, head "
            f"{both(first.head, 'size', units)}, along / across at {places} {units.label('size')}, "
            f"{', '.join([*sheets, str(rule)])}; for design of one: {'; '.join(holds)}",
        )
    ]


def rail_conditions(found: StudyResult, rail: int) -> str:
    """Words of one rail: section, metal, yield strength, deflection, temperature."""
    units, table = units_of(found), found.study.table.rail[rail]
    some = [one.rails[rail] for one in found.study.variants]
    sizes = [
        f"{name} {_sheet(value, units)}"
        for name in ("diameter", "width", "depth", "wall")
        if (value := getattr(table, name)) is not None
    ]
    if table.profile is not None and table.profile.file is not None:
        sizes.append(f"drawing {table.profile.file}")
    weak = min(some, key=lambda one: one.material.yield_strength)
    ratio = some[0].deflection_ratio
    limit = "deflection limit not given" if np.isnan(ratio) else f"deflection at most span / {ratio:g}"
    parts = [
        table.shape, *sizes, weak.material.name, *_elastic(some, units),
        f"yield {both(weak.material.yield_strength, 'stress', units)}",
        f"factor {weak.resistance_factor:.4g} ({weak.resistance_clause})", limit,
    ]  # fmt: skip
    if table.moment_normal is not None and table.moment_slope is not None:
        parts.append(
            f"tested moments ({table.moment_kind}) {both(table.moment_slope, 'moment', units)} down the "
            f"slope, {both(table.moment_normal, 'moment', units)} away from the roof"
        )
    if table.bearing_length is not None:
        parts.append(f"bearing length {both(table.bearing_length, 'size', units)}")
    if table.bearing_strength is not None:
        parts.append(f"bearing strength {both(table.bearing_strength, 'force', units)}")
    if some[0].thermal:
        parts.append(f"temperature change {both(some[0].thermal, 'temperature', units)}")
    return ", ".join(parts)


def _stiffness(found: StudyResult, units: UnitSystem) -> str:
    """Of one clamp by direction, both ends of a range."""
    study = found.study
    some = np.array([np.diag(one.clamp.stiffness) for one in study.variants[: study.given]])
    some[:, 0] = [as_tested(one.clamp) for one in study.variants[: study.given]]
    end = ""  # clamps that do not tip have no number
    if study.given < len(study.variants):
        end = f"{' (not given, default)' if study.rocking_open else ''} to no tipping"
    parts = [
        f"{name} {_span(some[:, i], 'stiffness' if i < 3 else 'rotation stiffness', units)}"
        f"{end if i == 4 else ''}"
        for i, name in enumerate(("along", "across", "pull", "roll", "rocking", "twist"))
        if some[:, i].any()
    ]
    return ", ".join(parts)


def _span(values: NDArray[np.float64], kind: str, units: UnitSystem) -> str:
    """Least and most of some values, once where they are alike."""
    ends = dict.fromkeys(_quantities(float(one), kind, units) for one in (values.min(), values.max()))
    return " to ".join(ends)


def _quantities(value: float, kind: str, units: UnitSystem) -> str:
    """A value with three digits in the study's units, the other's in brackets."""
    own, other = system(units.name), system("US" if units is SI else "SI")
    return f"{quantity(value, kind, own)} ({quantity(value, kind, other)})"


def _elastic(rails: list[Rail], units: UnitSystem) -> list[str]:
    """Modulus, area and second moments of a rail, enough to repeat a row of it."""
    sections = [one.section for one in rails]
    e = np.array([one.material.E for one in rails])
    counts = np.array([yield_moments(1.0, one) for one in sections])
    shown: list[tuple[str, str, Any]] = [
        ("area", "section area", [one.area for one in sections]),
        ("second moment away from the roof", "second moment", [one.I_y for one in sections]),
        ("down the slope", "second moment", [one.I_z for one in sections]),
        ("product of inertia", "second moment", [one.I_yz for one in sections]),
        ("torsion constant", "second moment", [one.J for one in sections]),
        ("modulus that counts in stress, bending away from the roof", "section modulus", counts[:, 0]),
        ("modulus so, bending down the slope", "section modulus", counts[:, 1]),
    ]
    modulus = " to ".join(
        dict.fromkeys(f"{x / 1e9:.4g} GPa ({x / 6.894757e6:,.0f} ksi)" for x in (e.min(), e.max()))
    )
    parts = [
        f"{name} {_span(np.array(values), kind, units)}" for name, kind, values in shown if np.any(values)
    ]
    return [f"E {modulus}", *parts]


def conditions_table(found: StudyResult) -> Table:
    """All of it as a table."""
    rows = [
        *conditions(found),
        *((one.name, rail_conditions(found, i)) for i, one in enumerate(found.study.table.rail)),
    ]
    return Table("Valid for these alone", ("What", "Value"), "wt", tuple(rows))


def unverified(found: StudyResult, *, short: bool = False) -> str:
    """One sentence on what keeps a study from being verified; empty for nothing; `short` for a picture."""
    if found.verified:
        return ""
    reasons: Sequence[str] = [
        *(
            f"{words.split()[0].rstrip(',')} is doubted, the notes say why" if short else words
            for words in found.doubts
        ),
        *(f"{name} is not given" for name in found.not_given),
    ]
    if not short:
        reasons = [*reasons, *guessed(found.choices, found.rails, found.untested, units_of(found))]
    if short and any((np.isnan(rail.low) | rail.guess).any() for rail in found.rails):
        reasons = [*reasons, "question marks; the notes say why"]
    elif not short:
        reasons = [*reasons, *open_words(found.study, found.rails)]
    return f"NOT VERIFIED: {'; '.join(reasons)}."


def both(value: float, kind: str, units: UnitSystem) -> str:
    """A value in the study's units, the other's in brackets."""
    other = US if units is SI else SI
    return f"{units.text(float(value), kind)} ({other.text(float(value), kind)})"


def _sheet(value: float, units: UnitSystem) -> str:
    other = US if units is SI else SI
    return f"{sheet_text(value, units)} ({sheet_text(value, other)})"
