"""The deck that `check` writes gives the clamp forces that the check used."""

from __future__ import annotations

import csv
import re
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from deck_runs import needs_ccx, run_deck
from scipy import sparse

from fea.analysis import analyze
from fea.model.calculix import calculix_deck
from fea.model.data import node_dof
from fea.rails.frame import build_frame
from roofmodel.project.load import load_project
from tests.checks.projects import project
from viewer import rails_deck
from viewer.clamp_table import write_attachments

MODELS = Path(__file__).parents[2] / "models"
SPLICED = 'every = 2\nsplice_every = "3.3 m"\nsplice_kind = "hinge"\nstart = "0.3 m"'


@needs_ccx
def test_deck_of_a_check_gives_the_same_clamp_forces(tmp_path, monkeypatch):
    analysis = analyze(load_project(MODELS / "granary-door" / "project.toml"))
    kept = []

    def remember(*args, **kwargs):
        kept.append((args[0], calculix_deck(*args, **kwargs)))
        return kept[-1][1]

    monkeypatch.setattr(rails_deck, "calculix_deck", remember)
    assert rails_deck.write_rails_deck(analysis, tmp_path / "structure.inp")
    model, deck = kept[0]
    assert (tmp_path / "structure.inp").read_text() == deck.text
    found = run_deck(deck, tmp_path)
    grips = model.springs[0].node[:, 0]
    u = found.displacement[node_dof(grips)]
    turn = np.zeros((len(grips), 6, 6))
    turn[:, :3, :3] = turn[:, 3:, 3:] = model.springs[0].axes
    force = model.springs[0].stiffness @ turn @ u
    cases = len(analysis.snow.cases)
    wanted = np.concatenate([analysis.clamp_force[:, 0], analysis.clamp_force[:, 1]])
    np.testing.assert_allclose(np.moveaxis(force, 2, 0), wanted, atol=1e-4 * np.abs(wanted).max())
    assert len(deck.cases) == 2 * cases
    printed = _clamps_printed(next(tmp_path.glob("*.dat")).read_text())
    assert printed.shape == (2 * cases, len(grips), 3)
    np.testing.assert_allclose(printed, wanted[:, :, :3], atol=1e-5 * np.abs(wanted).max())
    names = re.findall(r"^\*\* node \d+: clamp (.*)$", deck.text, re.MULTILINE)
    assert tuple(names) == analysis.project.layout.clamp_name


@needs_ccx
def test_every_clamp_of_the_table_is_what_the_deck_prints(tmp_path):
    """Step and vx of attachments.csv, near splices too that nobody says pass torsion, where states differ."""
    analysis = analyze(project(tmp_path, row=SPLICED))
    assert len(analysis.states) == 2
    assert rails_deck.write_rails_deck(analysis, tmp_path / "structure.inp")
    write_attachments(analysis, tmp_path / "attachments.csv")
    subprocess.run(["ccx", "structure"], cwd=tmp_path, capture_output=True, timeout=120, check=True)
    there = _clamps_printed((tmp_path / "structure.dat").read_text())[..., 0]
    deck = (tmp_path / "structure.inp").read_text()
    place = re.findall(r"^\*\* node \d+: clamp (.*)$", deck, re.MULTILINE)
    table = (tmp_path / "attachments.csv").read_text(encoding="utf-8-sig")
    lines = list(csv.DictReader(table.splitlines()))
    assert sorted(place) == sorted(line["attachment"] for line in lines)
    off = []
    for line in lines:
        step, named = int(line["step of structure.inp"]), float(line["vx in structure.inp [N]"])
        printed = there[step - 1, place.index(line["attachment"])]
        assert named == pytest.approx(printed, rel=1e-3)
        head = deck.split("*STEP")[step - 1].splitlines()[-1]
        assert head.startswith("** case: ")
        assert f" {line['worst case']}, force " in head
        assert head.endswith(f"(step {step})")
        along = 1e3 * float(line["force along [kN]"])
        assert along >= named * (1.0 - 1e-3)
        off.append(along / named - 1.0)
        other = "splices pass torsion" if "splices pass no torsion" in deck else "splices pass no torsion"
        if off[-1] > 1e-3:
            assert line["splices"] == other
    assert max(off) > 0.005  # so that the states do differ somewhere


def _clamps_printed(text):
    """What a person reads in the printed file: forces of the clamps, step by step."""
    blocks = re.findall(r"^ displacements .* for set CLAMPS .*$\s+((?:^ +\d+ .*$\n)+)", text, re.MULTILINE)
    return np.array([[line.split()[1:] for line in block.splitlines()] for block in blocks], dtype=float)


def test_no_deck_where_panels_join_the_clamps(tmp_path):
    analysis = analyze(load_project(MODELS / "granary-door" / "project.toml"))
    count = 6 * len(analysis.project.layout.clamp_s)
    frame = build_frame(analysis.project.layout, analysis.project.rail, analysis.project.clamp)
    assert frame.support is None
    soft = replace(analysis.support, stiffness=(sparse.csr_array((count, count)),))
    path = tmp_path / "structure.inp"
    path.write_text("old")
    assert not rails_deck.write_rails_deck(replace(analysis, support=soft), path)
    assert not path.exists()
