"""Strips that are too wide, as for the facets of a dome, are narrowed, bounded, and that is said."""

from pathlib import Path

import numpy as np
import pytest

import fea.refining
from fea.analysis import analyze
from fea.checks.audit import REFINED
from fea.refining import NARROWINGS, analyze_refined
from roofmodel.project.load import load_project
from viewer.analyzing import analyze_project

HARBOR = (Path(__file__).parents[2] / "models" / "harbor-barn" / "project.toml").read_text()
DOME = """[[roof.part]]
name = "tank"
shape = "dome"
center = ["0 m", "0 m"]
radius = "9 m"
rise = "4.5 m"
facets = 12
eave_height = "5 m"

"""


def domed(folder, *, width="0.5 m"):
    begin, end = HARBOR.index("[[roof.part]]"), HARBOR.index("[surface]")
    text = (HARBOR[:begin] + DOME + HARBOR[end:]).replace('plane = "S1"', 'plane = "W1"')
    path = folder / "project.toml"
    path.write_text(f'{text}\n[analysis]\nstrip_width = "{width}"\n')
    return load_project(path)


def error(analysis):
    return next(proof for proof in analysis.proofs if proof.name == REFINED)


def test_a_dome_passes_its_self_check_and_says_with_which_strips(tmp_path):
    project = domed(tmp_path)
    assert not error(analyze(project)).met
    found = analyze_project(project)
    assert error(found).met
    assert all(proof.met for proof in found.proofs)
    assert found.project.slide.strip_width == found.project.table.analysis.strip_width < 0.5
    assert f"strip_width {found.project.slide.strip_width:g} m" in found.cautions[0]
    again = analyze(domed(tmp_path, width=f"{found.project.slide.strip_width} m"))
    for old, new in zip(found.limits, again.limits, strict=True):
        np.testing.assert_allclose(new.demand, old.demand, rtol=1e-9, atol=1e-9)


def test_narrowing_ends(tmp_path, monkeypatch):
    """What two halvings do not mend stays a failed check."""
    monkeypatch.setattr("fea.checks.audit.REFINEMENT", 1e-6)
    project = domed(tmp_path)
    found = analyze_refined(project)
    assert not error(found).met
    assert not found.passed
    assert found.project.slide.strip_width == pytest.approx(project.slide.strip_width / 2**NARROWINGS)


def test_what_needs_none_keeps_the_width_of_the_project(tmp_path):
    path = tmp_path / "project.toml"
    path.write_text(HARBOR)
    project = load_project(path)
    found = analyze_refined(project)
    assert error(found).met
    assert found.project is project
    assert not any("narrower" in said for said in found.cautions)


def test_planes_get_narrower_strips_too(tmp_path, monkeypatch):
    path = tmp_path / "project.toml"
    path.write_text(HARBOR)
    project = load_project(path)
    monkeypatch.setattr("fea.checks.audit.REFINEMENT", 0.5 * error(analyze(project)).error - 1e-12)
    found = analyze_refined(project)
    assert found.project.slide.strip_width < project.slide.strip_width
    assert "narrower" in found.cautions[0]


def test_other_failures_are_not_hidden_by_narrowing(tmp_path, monkeypatch):
    monkeypatch.setattr("fea.checks.audit.CONSERVATION", -1.0)
    runs = []
    monkeypatch.setattr(fea.refining, "analyze", lambda *given: runs.append(given) or analyze(*given))
    assert not analyze_refined(domed(tmp_path)).passed
    assert len(runs) == 1


def test_strips_wider_than_a_facet_do_not_pass_by_changing_nothing(tmp_path):
    """Doubling strips that span a facet changes no cell; half of them does, and the check must see that."""
    (tmp_path / "wide").mkdir()
    wide = analyze(domed(tmp_path / "wide", width="2 m"))
    assert not error(wide).met
    (tmp_path / "fine").mkdir()
    fine = analyze(domed(tmp_path / "fine", width="0.125 m"))
    off = abs(wide.tributary.max() - fine.tributary.max()) / fine.tributary.max()
    assert error(wide).error > 0.3 * off > 0.01
