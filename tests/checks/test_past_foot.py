"""Rows near the foot of a valley: the caution says what the row does on its other side."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

import fea.past_foot as feet
from fea.analysis import analyze, check_limits
from fea.off_place import OVER
from fea.planning.steady import row_steps
from fea.sensitivity import out_of_place
from roofmodel.errors import InputError
from roofmodel.project.load import Project, load_project
from roofmodel.sliding.end_steps import PLACED
from tests.checks.test_off_place import SLOPE, WING
from viewer.places import place_line
from viewer.quantities import system

LOW = 2.3  # eaves of the wing, under 3 m of the main roof [m]
FOOT = (3.0 - LOW) / math.sin(math.radians(SLOPE))  # up the wing: where its plane meets the main eave [m]


def barn(folder: Path, w: float, along: float = 100.0, short: float = 0.7) -> Project:
    """A wing with lower eaves than the roof that it runs into: its valleys end above its own eaves."""
    text = WING.replace('"3 m"\n[surface]', f'"{LOW} m"\n[surface]').replace("@S@", "0.6")
    text = text.replace('plane = "W1"\n', f'plane = "W1"\nedge_distance = "{short} m"\n')
    path = folder / "project.toml"
    path.write_text(text.replace("@W@", f"{w!r}").replace("@ALONG@", f"{along!r}"), encoding="utf-8")
    return load_project(path)


def worst(project: Project) -> np.ndarray:
    """Largest utilization of the clamps of each row."""
    use = [one.utilization for one in check_limits(project) if one.target == "clamp"]
    each = np.nan_to_num(use).max(axis=(0, 1))
    return np.array([each[project.layout.clamp_row == row].max() for row in range(2)])


@pytest.mark.parametrize("below", [0.02, 0.045])
def test_a_row_below_the_foot_is_told_what_the_whole_check_finds_above_it(
    tmp_path: Path, below: float
) -> None:
    project = barn(tmp_path, FOOT - below)
    (one,) = analyze(project).past_foot
    assert one.step.up
    assert one.step.off == pytest.approx(below, abs=1e-6)
    assert project.roof.edges.name[one.step.edge] == "S1|W1 valley"
    assert one.use == pytest.approx(worst(project)[1])
    assert one.then == pytest.approx(worst(barn(tmp_path, FOOT - below + PLACED))[1])
    assert one.then > 1.4 * one.use


@pytest.mark.parametrize("off", [-0.2, 0.002, 0.2])
def test_rows_far_from_the_foot_or_past_its_step_are_not_told(tmp_path: Path, off: float) -> None:
    assert analyze(barn(tmp_path, FOOT + off)).past_foot == ()


def test_what_exceeds_is_loud(tmp_path: Path) -> None:
    """Clamps of a strength between what the row asks below the foot and above it."""
    project = barn(tmp_path, FOOT - 0.045)
    (one,) = analyze(project).past_foot
    analysis = analyze(barn(tmp_path, FOOT - 0.045, 100.0 * 0.5 * (one.then + one.use)))
    (again,) = analysis.past_foot
    assert again.exceeds
    assert any(OVER in words and "below the foot of S1|W1 valley" in words for words in analysis.cautions)


def test_a_row_that_cannot_be_calculated_past_the_foot_is_not_tested(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_place(*_: object) -> Project:
        message = "no seam"
        raise InputError(message)

    monkeypatch.setattr(feet, "with_ups", no_place)
    analysis = analyze(barn(tmp_path, FOOT - 0.02))
    (one,) = analysis.past_foot
    assert not one.tested
    (said,) = [words for words in analysis.cautions if "IS NOT TESTED" in words]
    assert "50 mm farther up, it cannot be calculated" in said
    (trouble,) = row_steps(analysis)
    assert (trouble.rows, trouble.use) == (("W",), math.inf)
    assert trouble.words == "W 50 mm higher cannot be calculated"
    line = place_line(out_of_place(analysis), analysis, system("SI"))
    assert "inf" not in line
