"""The deck of a seam runs in CalculiX and moves the grip as the study does."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from seam_project import GOOD, changed

from fea.model.calculix_results import read_results
from roofmodel.project.load import load_project
from viewer.seam.deck import seam_deck
from viewer.seam.run import study_project


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("ccx") is None, reason="CalculiX (ccx) is not installed")
def test_grip_moves_as_in_the_study(tmp_path: Path) -> None:
    path = tmp_path / "project.toml"
    path.write_text(changed('"400 mm"', '"250 mm"', GOOD))
    _, detail = study_project(load_project(path), "R1-03")
    deck = seam_deck(detail.study)
    (tmp_path / "seam.inp").write_text(deck.text)
    subprocess.run(
        ["ccx", "seam"],
        cwd=tmp_path,
        env=os.environ | {"OMP_NUM_THREADS": "1"},
        capture_output=True,
        timeout=300,
        check=True,
    )
    found = read_results(deck, (tmp_path / "seam.dat").read_text())
    grip = 6 * int(detail.study.field.clamp_node[detail.study.clamp]) + np.arange(3)
    moved, here = found.displacement[grip, 1], detail.study.displacement[grip]
    stated = max(s.tolerance for s in deck.substitutions)
    assert np.linalg.norm(moved - here) < stated * np.linalg.norm(here)
    rise, own = moved - found.displacement[grip, 0], here - detail.study.start[grip]
    assert rise[0] == pytest.approx(own[0], rel=stated)
