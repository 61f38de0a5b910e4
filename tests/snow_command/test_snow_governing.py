"""Working of the governing zones on the terminal."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pytest
from rich.console import Console
from snow_projects import DEMOS, demo, study_of, under_asce

from viewer.snow import governing
from viewer.snow.formula import Worked
from viewer.snow.governing import governing_zones
from viewer.snow.study import SnowStudy
from viewer.snow.terminal import print_snow


def said(study: SnowStudy, width: int = 160) -> str:
    console = Console(width=width, record=True, file=io.StringIO())
    print_snow(study, console)
    return " ".join(console.export_text().split())


@pytest.mark.parametrize("name", DEMOS)
def test_the_heaviest_zone_of_every_clause_is_worked_out(name: str) -> None:
    findings = demo(name).findings
    shown = governing_zones(findings)
    clauses = {patch.zone.clause for patch in findings.patches}
    assert len(shown) == min(len(clauses), governing.MOST)
    for patch in shown:
        rivals = [one.high for one in findings.patches if one.zone.clause == patch.zone.clause]
        assert patch.high >= max(rivals) * (1.0 - 1e-6)
    left = clauses - {patch.zone.clause for patch in shown}
    least = min(patch.high for patch in shown)
    assert all(one.high <= least * (1.0 + 1e-6) for one in findings.patches if one.zone.clause in left)


def test_drift_by_hand() -> None:
    """EN 1991-1-3 5.3.6: b_s = 7 m, b_1 = 14 m, b_2 = 6 m, h = 2.45 m, s_k = 2 kN/m^2."""
    wind = min(20.0 / (2.0 * 2.45), 2.0 * 2.45 / 2.0)
    slid = 0.8 * 7.0 / 5.0
    text = said(demo("tannery-hall"))
    assert f"= 0.8000 × 7.000 m / 5.000 m = {slid:.3f}" in text
    result = re.search(r"1\.000 × 2\.000 kN/m² = (5\.\d+) kN/m²", text)
    assert result is not None
    assert float(result[1]) == pytest.approx((slid + wind - 0.8) * 2.0, rel=5e-4)
    assert "added to the snow it lies on" in text


def test_numbers_are_in_the_projects_units(tmp_path: Path) -> None:
    """ASCE/SEI 7-22 Eq. 7.3-1, strength level: C_t of R-30 at 30 psf is 1.14."""
    text = said(study_of(under_asce(), tmp_path))
    assert f"= {0.7 * 1.14 * 30.0:.2f} psf" in text


def test_a_formula_without_numbers_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing that is not proven is printed as a result."""
    monkeypatch.setattr("viewer.snow.governing.worked", lambda *_: (Worked("p = q r"),))
    study = demo("tannery-hall")
    assert "p = q r: its numbers stand in snow.html" in said(study)
