"""The table [seam] of a starting project, once its comment signs are taken away."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from fea.panel.support import panel_support, strips_of
from roofmodel.project.load import Project, load_project
from viewer.starter import starter_text


def with_seam(folder: Path, shape: str, units: str, more: str = "") -> Project:
    text = starter_text(shape, units)
    block = text[text.index("# [seam]") : text.index("# [[plane]]")]
    path = folder / "project.toml"
    path.write_text(text.replace(block, re.sub("^# ", "", block, flags=re.MULTILINE)) + more)
    return load_project(path)


@pytest.mark.parametrize("units", ["SI", "US"])
@pytest.mark.parametrize("shape", ["shed", "gable", "hip", "L", "two-level"])
def test_all_strengths_of_a_started_seam_are_there(shape: str, units: str, tmp_path: Path) -> None:
    project = with_seam(tmp_path, shape, units)
    assert project.seam is not None
    assert np.isfinite([project.seam.clip_strength, project.seam.opening_strength]).all()
    strips = strips_of(project)
    assert (strips.place <= strips.length[strips.strip]).all()


def test_the_started_shed_stands_on_its_panels(tmp_path: Path) -> None:
    """Its last seam stands on the very edge of the plane, at 46 ft."""
    project = with_seam(tmp_path, "shed", "US", "\n[analysis]\npanel_flexibility = true\n")
    across = project.layout.clamp_uv[:, 0]
    assert np.abs(across.max() - project.roof.planes.outline[0].bounds[2]) < 1e-6
    support = panel_support(project)
    assert len(support.stiffness) > 0
    assert all(K.shape == (6 * len(across),) * 2 for K in support.stiffness)
