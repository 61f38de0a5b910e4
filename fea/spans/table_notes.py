"""What the table of one rail says nothing about, and what nobody said of clamp and screws."""

from __future__ import annotations

import numpy as np

from fea.checks.member import crushing_open, has_crushing
from fea.sections.buckling_class import class_words
from fea.sections.outline_doubts import outline_words
from roofmodel.hardware import DesignFormat, Rail
from roofmodel.profiles.plain import walls_profile
from roofmodel.project.clamp_schema import ClampTable
from roofmodel.project.screw_tables import screw_notes
from roofmodel.project.span_study import SpanStudy
from roofmodel.units import UnitSystem


def uncounted(clamp: ClampTable) -> list[str]:
    """That somebody named tests, but not how many nor on what."""
    if clamp.tested is not None or not clamp.test_basis.strip():
        return []
    return [
        "How many tests are behind the clamp strengths, and on which seam and sheet, nobody said "
        "(clamp.tested): a table is no better than they are."
    ]


def rail_notes(name: str, rail: Rail, alloy: str, form: DesignFormat, units: UnitSystem) -> list[str]:
    """What is not in the table of one rail, and what its limits rest on."""
    found = []
    if np.isnan(rail.deflection_ratio):
        found.append(f"Deflection of {name} is NOT in the table: deflection_ratio is not given.")
    if ways := _not_in(rail):
        found.append(f"NOT COUNTED in any limit of {name}: {', '.join(ways)}.")
    found += [f"{name}: {words}" for words in outline_words(rail.profile, units)]
    found += class_words(name, rail, alloy, form)
    if crushing_open(rail, form):
        found.append(
            f"Crushing of {name} is not known: no wall held at both edges carries the force (a plain "
            "channel pushed along its flanges has none); give rail.bearing_strength from tests, or leave "
            "bearing_length out."
        )
    return found


def study_screw_notes(study: SpanStudy) -> tuple[str, ...]:
    """What a table with screws must be read with."""
    table = study.table
    if table.clamp.screws is None:
        return ()
    notes = screw_notes(table.clamp, table.panel)
    if table.design.format != "LRFD":
        return notes
    words = "Screws by the phi of AISI S100 (0.50); in Canada (CSA S136) it is 0.40, and the loads are less."
    return (*notes, words)


def _not_in(rail: Rail) -> list[str]:
    """Ways for a rail to fail that its table says nothing about."""
    if walls_profile(rail.section, rail.profile) is None:
        return ["local buckling", "lateral-torsional buckling", "crushing on clamps", "welds", "holes"]
    ways = []
    if "bar" not in rail.section.kind and not has_crushing(rail):
        ways.append("crushing on clamps")
    if not rail.welded:
        ways.append("welds")
    if rail.profile is None:
        ways.append("holes")
    return ways
