"""Obstructions and landing through the whole job: clamps, cautions, report and results."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from fea.analysis import Analysis, analyze
from roofmodel.project.load import load_project
from roofmodel.units import SYSTEMS
from viewer.export import results
from viewer.report.falling import falling_table, obstruction_table
from viewer.unheld import falling_sentence

PROJECT = Path(__file__).parents[2] / "models" / "ridge-school" / "project.toml"
BOX = """
[[obstruction]]
name = "chimney"
plane = "S1"
across = "36 ft"
up = "14 ft"
width = "5 ft"
depth = "3 ft"
height = "4 ft"
"""


def checked(tmp_path: Path, more: str = "") -> Analysis:
    path = tmp_path / "project.toml"
    path.write_text(PROJECT.read_text(encoding="utf-8") + more, encoding="utf-8")
    return analyze(load_project(path))


def balanced(analysis: Analysis) -> int:
    return next(i for i, case in enumerate(analysis.snow.cases) if "balanced" in case.name)


def test_clamps_beside_a_box_carry_more_and_none_less(tmp_path: Path) -> None:
    """Same snow on a sheltered roof: sums of the row's reactions grow by what parts, no clamp is relieved."""
    plain, boxed = checked(tmp_path), checked(tmp_path, BOX)
    q = balanced(plain)
    np.testing.assert_allclose(boxed.tributary[q], plain.tributary[q], rtol=1e-6)
    snow = boxed.factors[q].snow
    along = [a.clamp_force[q, 0, :, 0].sum() for a in (plain, boxed)]
    parted = -boxed.force.aside[q, :, 1].sum() * snow
    assert parted > 100.0
    assert along[1] - along[0] == pytest.approx(parted, rel=1e-3)
    assert all(proof.met for proof in boxed.proofs)


def test_report_and_results_say_what_leans_on_it(tmp_path: Path) -> None:
    analysis = checked(tmp_path, BOX + 'strength = "300 lbf"\n')
    units = SYSTEMS["US"]
    told = [caution for caution in analysis.cautions if "chimney" in caution]
    assert len(told) == 3
    assert "fastening" in told[0]
    assert "relieved" in told[1]
    assert "with more than may be counted on" in told[2]
    table = obstruction_table(analysis, units)
    assert table is not None
    assert table.rows[0][0] == "chimney"
    said = json.loads(json.dumps(results(analysis)))["sliding"]
    box = said["obstructions"][0]
    assert max(box["force_per_case"]) > 300.0 * 4.448
    assert max(box["counted_on_per_case"]) == pytest.approx(300.0 * 4.4482216, rel=1e-6)
    out = np.sum(
        [
            said[k]
            for k in (
                "caught",
                "friction",
                "over_edges",
                "gutters",
                "canceled_in_valleys",
                "held_by_obstructions",
                "held_by_walls",
            )
        ],
        axis=0,
    )
    np.testing.assert_allclose(out, said["driving"], rtol=1e-9)


def test_a_row_through_a_box_is_told(tmp_path: Path) -> None:
    low = BOX.replace('"14 ft"', '"2 ft"')
    for text, rows in ((BOX, 0), (low, 1)):
        told = [c for c in checked(tmp_path, text).cautions if "cannot run through" in c]
        assert len(told) == rows
    assert "S-low through chimney" in told[0]


def test_landing_reaches_report_and_results(tmp_path: Path) -> None:
    analysis = checked(tmp_path)
    units = SYSTEMS["US"]
    table = falling_table(analysis, units)
    assert table is not None
    assert any("Lands up to" in head for head in table.heads)
    edges = json.loads(json.dumps(results(analysis)))["sliding"]["edges"]
    assert edges
    throw = max(edge["throw"] for edge in edges)
    assert throw > 0.1
    assert "lands up to" in falling_sentence(analysis, units)
    zone = np.array(max(edges, key=lambda edge: edge["throw"])["landing_zone"])
    assert np.linalg.norm(zone[3] - zone[0]) == pytest.approx(throw, rel=1e-9)
