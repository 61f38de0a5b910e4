"""The hand check as it is printed: every value once, fields left alone, tables with their notes."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from roofmodel.project.schema import ProjectFile
from tests.demos import demo
from viewer.package.typeset import steps, symbols, table
from viewer.quantities import system
from viewer.report.catchment import TWICE, pieces, strip_table, with_area_names
from viewer.report.page import symbols as page_symbols
from viewer.report.tables import Table
from viewer.report.working import hand_check


def fields(schema: object, found: set[str]) -> set[str]:
    """Names of all fields of the project file."""
    for name, field in getattr(schema, "model_fields", {}).items():
        found.add(name)
        for inner in (field.annotation, *re.findall(r"\b[A-Z]\w+Table\b", str(field.annotation))):
            if hasattr(inner, "model_fields"):
                fields(inner, found)
        for inner in getattr(field.annotation, "__args__", ()):
            for one in (inner, *getattr(inner, "__args__", ())):
                fields(one, found)
    return found


def test_names_of_fields_are_no_symbols() -> None:
    """All of the project file, alone and after a table's name; short ones look like symbols."""
    names = {name for name in fields(ProjectFile, set()) if "_" in name}
    assert {"end_at", "not_standing", "as_built"} <= names
    for name in sorted(names - {"I_slope", "I_normal", "I_product", "I_warping"}):  # are symbols too
        if re.fullmatch(r"[A-Z]_\w+", name):
            continue
        for words in (name, f"row.{name}", f'row "S1".{name}: no'):
            assert "<sub>" not in str(page_symbols(words)), words
            assert "#sub(" not in symbols(words), words
    for formula in ("k_E B", "u_along + u_push", "h_d = 0.8", "γ_M", "p_s,b"):
        assert "<sub>" in str(page_symbols(formula))


@pytest.mark.parametrize("name", ["cedar-hollow", "ridge-school", "tannery-hall"])
def test_every_value_above_the_clamp_stands_once(name: str) -> None:
    """Told where it first holds; pieces of one formula are one row; p b adds up to the step's force."""
    analysis = demo(name)
    working = hand_check(analysis)
    found = strip_table(working, system("SI"))
    told = [value for row in found.rows for value in row[-1].split("; ") if value]
    assert len(told) == len(set(told))
    alike = {
        (zone.zone.name, zone.zone.clause, zone.zone.formula, row[-1])
        for zone, row in zip(working.zones, found.rows, strict=True)
    }
    assert len(alike) == len(found.rows)
    slope = working.own.slope
    total = sum(zone.pressure * zone.run for zone in working.zones) * np.sin(slope)
    friction = analysis.project.slide.friction
    if not friction:
        assert working.steps[0].result.value == pytest.approx(total, rel=1e-9)


def test_snow_in_two_steps_has_one_name_and_says_so() -> None:
    """An area of an earlier step keeps its name, stands once in table and drawing, and the step warns."""
    working = hand_check(demo("granary-door"))
    at = next(k for k, step in enumerate(working.steps) if step.feeders)
    twice = list(working.steps)
    twice.insert(at + 1, replace(twice[at], symbol="B_2"))
    found = with_area_names(replace(working, steps=tuple(twice)))
    assert TWICE not in found.steps[at].note
    assert TWICE in found.steps[at + 1].note
    assert found.steps[at + 1].note.startswith("A1 of")
    names = {piece.name: piece.symbol for piece in pieces(replace(working, steps=tuple(twice)))}
    assert list(names) == ["A0", "A1"]
    assert names["A1"].endswith(", B_2")


def test_every_step_is_printed_with_its_numbers() -> None:
    working = hand_check(demo("cedar-hollow"))
    text = steps(working, system("SI"))
    assert text.count("breakable: false") == len(working.steps)
    assert all(step.title in text.replace('"', "") or step.title.split()[0] in text for step in working.steps)


def test_a_table_stays_with_its_note_where_asked() -> None:
    rows = tuple((f"R{k}", "1") for k in range(14))
    one = Table("Ends", ("Row end", "B kN"), "tn", rows, note="A is all of it.")
    whole = table(one, whole=True)
    assert whole.startswith("#block(breakable: false")
    assert whole.rstrip().endswith("]")
    assert whole.index("A is all") < whole.rindex("]\n")
    assert not table(one).startswith("#block(breakable: false")
