"""Where the rail's top is: half the depth in tubes, the outermost fiber where up and down differ."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fea import analyze
from roofmodel import load_project, sections
from tests.cli.small_project import GOOD
from viewer.report.working_steps import clamp_at, moment_steps

CHANNEL = """\
shape = "values"
area = "300 mm^2"
I_normal = "60000 mm^4"
I_slope = "90000 mm^4"
J = "900 mm^4"
W_normal = "2000 mm^3"
W_slope = "4500 mm^3"
W_torsion = "300 mm^3"
width = "40 mm"
depth = "42 mm"
"""


def analysis(tmp_path, rail):
    start, end = GOOD.index('shape = "round tube"'), GOOD.index('material = "aluminum"')
    path = tmp_path / "project.toml"
    text = GOOD[:start] + rail + GOOD[end:]
    path.write_text(text.replace('format = "EN"', 'format = "EN"\nrail_height_ratio = 0.5'))
    return analyze(load_project(path))


def test_symmetric_sections():
    for section in (
        sections.round_tube(0.042, 0.003, 0.3),
        sections.rectangular_tube(0.04, 0.06, 0.003),
        sections.rectangle(0.02, 0.05, 0.3),
    ):
        assert section.highest_top == pytest.approx(0.5 * section.depth_z)
        assert section.lowest_top == pytest.approx(0.5 * section.depth_z)


def test_force_at_the_top_of_a_channel_on_its_back(tmp_path):
    """I / W = 30 mm of 42 mm: the force acts 30 mm over the axis, 9 mm more than half the depth."""
    found = analysis(tmp_path, CHANNEL)
    section = found.project.rail.section
    assert section.highest_top == pytest.approx(0.030)
    assert section.lowest_top == pytest.approx(0.012)
    force = found.clamp_force[0]
    along = np.abs(force[..., 0]).sum(axis=-1)
    moment = np.abs(force[..., 4].sum(axis=-1))
    assert moment.max() - moment.min() == pytest.approx(0.030 * along.max(), rel=0.02)


def test_height_counts_from_the_lower_reading(tmp_path):
    found = analysis(tmp_path, CHANNEL)
    limit = next(one for one in found.limits if one.name == "rail height")
    clamp = found.project.clamp
    top = clamp.grip_height + clamp.height + 0.012
    assert limit.utilization.max() == pytest.approx(limit.demand.max() / top)


def test_the_hand_check_names_the_face_that_the_lever_goes_to(tmp_path):
    """A channel on its back, whose top may be the nearer face, and a tube, whose faces are alike."""
    tube = 'shape = "round tube"\ndiameter = "42 mm"\nwall = "3 mm"\n'
    for rail, words in (
        (CHANNEL, "farther face, at least that of its top;"),
        (tube, "up to the rail's top;"),
    ):
        found = analysis(tmp_path, rail)
        at = replace(clamp_at(found, 0, 0, "clamp combined"), top=True)
        step = next(one for one in moment_steps(found, at) if one.symbol == "M")
        assert words in step.source
