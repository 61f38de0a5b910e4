"""Shapes and dormers of the project file: what each takes, and one line where a field is wrong."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from small_project import GOOD, put, refused

from roofmodel.project.load import load_project, load_roof
from roofmodel.units import SYSTEMS
from viewer.report.inputs import input_tables

BOX = 'footprint = "0 0, 12 0, 12 8, 0 8 m"\n'
DORMER = (
    '[[roof.dormer]]\nname = "D"\nplane = "S1"\nacross = "6 m"\nup = "1 m"\nwidth = "2 m"\n'
    'height = "0.8 m"\npitch = "30 deg"\n'
)
SHAPES = {
    "gambrel": (BOX + 'pitch = "60 deg"\nupper_pitch = "25 deg"\nbreak_height = "2 m"', 4, 96.0),
    "mansard": (BOX + 'pitch = "60 deg"\nupper_pitch = "0 deg"\nbreak_height = "2 m"', 5, 96.0),
    "half-hip": (BOX + 'pitch = "45 deg"\nclip_height = "2 m"', 4, 96.0),
    "saltbox": (BOX + 'pitch = "35 deg"\nfall = "0 deg"\nrear_eave_height = "2 m"', 2, 96.0),
    "saw-tooth": (BOX + 'pitch = "30 deg"\nfall = "90 deg"\nteeth = 4', 4, 96.0),
    "cone": ('center = ["1 m", "-2 m"]\nradius = "3 m"\nfacets = 8\npitch = "45 deg"', 8, 29.823),
    "dome": ('center = ["1 m", "-2 m"]\nradius = "3 m"\nrise = "1 m"\nfacets = 8\nrings = 3', 24, 29.823),
    "hip": (
        BOX + 'pitch = "30 deg"\ncourtyards = ["4 3, 8 3, 8 5, 4 5 m"]\ncourtyard_pitch = "20 deg"',
        8,
        88.0,
    ),
}


def said(shape: str, fields: str, more: str = "") -> str:
    """The project with its part said in another way."""
    part = f'[[roof.part]]\nname = "P"\nshape = "{shape}"\n{fields}\neave_height = "3 m"\n\n{more}\n'
    return GOOD[: GOOD.index("[[roof.part]]")] + part + GOOD[GOOD.index("[surface]") :]


@pytest.mark.parametrize("shape", SHAPES)
def test_every_shape_can_be_written(shape: str, tmp_path: Path) -> None:
    """Number of planes, and the plan area of the outline (8 facets about a circle: 8 r^2 tan 22.5 deg)."""
    fields, planes, area = SHAPES[shape]
    roof = load_roof(put(tmp_path, said(shape, fields)))[0]
    assert len(roof.planes.name) == planes
    assert roof.planes.plan_area.sum() == pytest.approx(area, rel=1e-4)


def test_dormers_can_be_written(tmp_path: Path) -> None:
    words = said("gable", BOX + 'pitch = "40 deg"', DORMER)
    roof = load_roof(put(tmp_path, words))[0]
    own = [i for i, name in enumerate(roof.planes.name) if name[0] in "EW"]
    ridge = (0.8 + np.tan(np.radians(30.0))) / np.tan(np.radians(40.0))
    eave = 0.8 / np.tan(np.radians(40.0))
    np.testing.assert_allclose(roof.planes.plan_area[own], 0.5 * (ridge + eave), rtol=1e-6)


def test_courtyards_reach_the_tables_of_the_report(tmp_path: Path) -> None:
    """As outlines with their unit, in the line of their part."""
    project = load_project(put(tmp_path, said("hip", SHAPES["hip"][0])))
    table = next(t for t in input_tables(project.table, SYSTEMS["SI"]) if t.caption == "[[roof.part]]")
    line = dict(zip(table.heads, table.rows[0], strict=True))
    assert line["courtyards"] == "4 3, 8 3, 8 5, 4 5 m"
    assert line["courtyard_pitch"] == "20°"
    assert "break_height" not in table.note


GABLE = BOX + 'pitch = "40 deg"'
BAD = {
    "no break": (
        said("gambrel", GABLE + '\nupper_pitch = "25 deg"'),
        ["break_height is missing", "gambrel"],
    ),
    "break of a hip": (
        said("hip", GABLE + '\nbreak_height = "1 m"'),
        [".break_height", '"mansard"', "only"],
    ),
    "break too high": (
        said("gambrel", GABLE + '\nupper_pitch = "25 deg"\nbreak_height = "5 m"'),
        ['roof.part "P": break_height 5 m', "3.356 m"],
    ),
    "upper gable": (
        said("mansard", GABLE + '\nupper_pitch = "gable"\nbreak_height = "1 m"'),
        [".upper_pitch", "single edges"],
    ),
    "teeth of a shed": (said("shed", GABLE + '\nfall = "0 deg"\nteeth = 3'), [".teeth", "saw-tooth"]),
    "no teeth": (said("saw-tooth", GABLE + '\nfall = "0 deg"\nteeth = 0'), [".teeth", "at least 1"]),
    "oblique teeth": (said("saw-tooth", GABLE + '\nfall = "20 deg"'), ["square to one of its sides"]),
    "no rear eave": (said("saltbox", GABLE + '\nfall = "0 deg"'), [".rear_eave_height is missing"]),
    "no fall": (
        said("saltbox", GABLE + '\nrear_eave_height = "2 m"'),
        [".fall is missing", "compass"],
    ),
    "no footprint": (said("hip", 'pitch = "30 deg"'), [".footprint is missing", "plan outline"]),
    "cone on a footprint": (
        said("cone", GABLE + '\nradius = "3 m"'),
        [".footprint", "center and radius"],
    ),
    "cone without center": (said("cone", 'pitch = "40 deg"\nradius = "3 m"'), [".center is missing"]),
    "center of three": (
        said("cone", 'pitch = "40 deg"\nradius = "3 m"\ncenter = ["1 m", "2 m", "3 m"]'),
        [".center", "at most 2"],
    ),
    "steep dome": (
        said("dome", 'center = ["0 m", "0 m"]\nradius = "3 m"\nrise = "3 m"\nrings = 20'),
        ['roof.part "P"', "a wall", "fewer rings"],
    ),
    "courtyard outside": (
        said("hip", GABLE + '\ncourtyards = ["10 3, 14 3, 14 5, 10 5 m"]'),
        ['roof.part "P": courtyard 1', "inside the footprint"],
    ),
    "courtyard of a gable": (
        said("gable", GABLE + '\ncourtyards = ["4 3, 8 3, 8 5, 4 5 m"]'),
        [".courtyards", '"hip", "mansard" or "flat"'],
    ),
    "pitch of no courtyard": (said("hip", GABLE + '\ncourtyard_pitch = "20 deg"'), ["no courtyards"]),
    "dormer on no plane": (
        said("gable", GABLE, DORMER.replace('"S1"', '"E1"')),
        ['roof.dormer "D": there is no plane', "S1"],
    ),
    "dormer too high": (
        said("gable", GABLE, DORMER.replace('"0.8 m"', '"4 m"')),
        ['roof.dormer "D": it runs over the ridge'],
    ),
    "gable pitch": (
        said("gable", GABLE, DORMER.replace('"30 deg"', '"gable"')),
        ['roof.dormer "D".pitch'],
    ),
    "kind of dormer": (
        said("gable", GABLE, DORMER + 'kind = "eyebrow"\n'),
        ['roof.dormer "D".kind', "eyebrow", "shed"],
    ),
}


@pytest.mark.parametrize(("text", "words"), BAD.values(), ids=list(BAD))
def test_slips_are_told_in_one_line(
    text: str,
    words: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
) -> None:
    refused(text, words, tmp_path, monkeypatch, capfd)
