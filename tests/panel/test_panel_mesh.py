"""Meshes of strips: nothing lost, nothing counted twice, lines where they are needed."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from panels import CLAMP, DETAIL, GRIP, NONE, PANEL, linear, linear_field, mesh_at, spring_sum

from fea.model.assembly import build_system
from fea.model.solution import solve_model
from fea.panel.mesh import Part, clip_places, graded, strip_mesh
from fea.panel.model import clip_nodes, panel_field, sheet_area
from roofmodel.hardware import Bearing, FixedPoint

PLACE = np.array([-0.9])
WINDOW = (-1.5, 0.0)


def area_of(model):
    total = {}
    for s in model.shells:
        a, b, c, d = (model.xyz[s.node[:, i]] for i in range(4))
        total[s.name] = 0.5 * np.linalg.norm(np.cross(c - a, d - b), axis=1).sum()
    return total


@settings(max_examples=25, deadline=None)
@given(st.floats(0.004, 0.05), st.floats(1.2, 6.0), st.integers(2, 6))
def test_lines_grow_slowly_and_keep_all_breaks(fine, ratio, count):
    breaks = np.linspace(0.0, 2.0, count + 1)
    lines = graded(breaks, np.array([breaks[1]]), fine, fine * ratio)
    assert np.isin(np.round(breaks, 9), np.round(lines, 9)).all()
    step = np.diff(lines)
    assert (step > 0.0).all()
    assert step.max() <= fine * ratio * (1 + 1e-6)
    near = np.abs(lines[:-1] - breaks[1]) < 1e-9
    assert step[near].max() <= 1.5 * fine


@pytest.mark.parametrize("strips", [1, 3])
@pytest.mark.parametrize("ribs", [0, 1, 2])
def test_area_of_the_sheet(strips, ribs):
    """Developed width times length; a rib is two sides of a triangle instead of its base."""
    detail = replace(DETAIL, pan_ribs=ribs, pan_rib_height=0.008)
    mesh = mesh_at(WINDOW, PLACE, detail)
    field = panel_field(mesh, PANEL, detail, GRIP, [PLACE] * strips, np.full(strips, 5.0), alike=False)
    area = area_of(field.model)
    rib = 2.0 * np.hypot(0.015, 0.008) - 0.03
    assert area["pan"] == pytest.approx(strips * 1.5 * (0.43 + ribs * rib), rel=1e-12)
    assert area["leg"] == pytest.approx(strips * 1.5 * 2 * 0.053, rel=1e-12)
    assert area["fold"] == pytest.approx(strips * 1.5 * 2 * 0.012, rel=1e-12)
    assert sheet_area(field) == pytest.approx(0.0006 * (0.43 + ribs * rib + 0.106 + 5 * 0.012), rel=1e-12)


def test_pan_faces_away_from_the_roof_and_lines_meet_clips_and_clamps():
    mesh = mesh_at(WINDOW, PLACE)
    field = panel_field(mesh, PANEL, DETAIL, GRIP, [PLACE], np.array([5.0]), alike=False)
    pan = next(s for s in field.model.shells if s.name == "pan")
    a, b, c, d = (field.model.xyz[pan.node[:, i]] for i in range(4))
    assert (np.cross(c - a, d - b)[:, 2] > 0.0).all()
    ends = np.concatenate([PLACE - 0.025, PLACE + 0.025, clip_places(DETAIL, *WINDOW) - 0.02])
    assert np.abs(mesh.x[:, None] - ends).min(axis=0).max() < 1e-9
    np.testing.assert_allclose(clip_places(DETAIL, *WINDOW), [-1.35, -0.95, -0.55, -0.15], atol=1e-12)
    assert (mesh.section.part == Part.FOLD).sum() >= 2


def test_springs_and_contacts_add_up():
    mesh = mesh_at(WINDOW, PLACE, replace(DETAIL, pan_ribs=0))
    detail = replace(DETAIL, pan_ribs=0)
    field = panel_field(mesh, PANEL, detail, GRIP, [PLACE, NONE], np.full(2, 5.0), alike=False)
    lock = next(s for s in field.model.springs if s.name == "lock")
    np.testing.assert_allclose(
        np.diagonal(lock.stiffness.sum(axis=0))[:3], 2 * 1.5 * DETAIL.lock_stiffness, rtol=1e-12
    )
    contacts = {c.name: c for c in field.model.contacts}
    assert contacts["bearing"].stiffness.sum() == pytest.approx(1e7 * 2 * 0.43 * 1.5, rel=1e-12)
    assert contacts["clips"].stiffness.sum() == pytest.approx(8 * 1e6, rel=1e-12)
    place, clip, _, weight = clip_nodes(field)
    np.testing.assert_allclose(np.bincount(clip, weight), np.ones(2 * len(place)), rtol=1e-12)


@pytest.mark.parametrize("fixed_at", list(FixedPoint))
def test_one_strip_in_equilibrium(fixed_at):
    """What the clamp brings, the supports take: forces along, across and square to the roof."""
    detail = replace(DETAIL, fixed_at=fixed_at, through_fixings=np.array([0.6]))
    mesh = mesh_at(WINDOW, PLACE, detail, refine=0.5)
    field = linear_field(mesh, [PLACE], [5.0], detail)
    F = np.zeros((field.model.dof_count, 1))
    force = np.array([700.0, 60.0, 300.0])
    F[6 * field.clamp_node[0] + np.arange(3), 0] = force
    u = solve_model(build_system(field.model), F).displacement[:, 0]
    names = {s.name for s in field.model.springs} - {"lock"}
    total = sum(spring_sum(field, name, u) for name in names)
    if fixed_at is FixedPoint.MIDDLE or fixed_at is FixedPoint.RIDGE:
        assert mesh.x[0] > -2.5  # the bar is not part of the mesh
    np.testing.assert_allclose(total, -force, rtol=0, atol=1e-6 * 700.0)


def test_seam_is_a_beam_on_clips_between_bounds():
    """Pull on a bare seam over stiff clips: softer than built in at its clips, stiffer than simply laid."""
    spacing = 1.0
    detail = replace(
        DETAIL,
        clip_spacing=spacing,
        clip_first=0.5,
        clip_stiffness=np.array([0.0, 1e7, 1e9]),
        bearing=Bearing.NONE,
        lock_stiffness=np.full(3, 1e12),
        pan_ribs=0,
    )
    narrow = replace(PANEL, seam_spacing=0.12)
    place = np.array([-2.0])  # midway between the clips at 1.5 m and 2.5 m
    mesh = strip_mesh(narrow, detail, (-4.0, 0.0), place, (0.02, CLAMP.grip_height), 1.0)
    grip = (0.02, CLAMP.grip_height)
    field = linear(panel_field(mesh, narrow, detail, grip, [place], np.array([4.0]), alike=True))
    F = np.zeros((field.model.dof_count, 1))
    F[6 * field.clamp_node[0] + 2, 0] = 1.0
    moved = solve_model(build_system(field.model), F).displacement[6 * field.clamp_node[0] + 2, 0]
    t, b = narrow.thickness, narrow.seam_spacing
    parts = [(b * t, 0.0, 0.0), (2 * t * 0.053, 0.0265, 0.053), (5 * t * 0.012, 0.059, 0.012)]
    A = sum(p[0] for p in parts)
    z = sum(p[0] * p[1] for p in parts) / A
    EI = DETAIL.sheet.E * sum(a * (h - z) ** 2 + a * d**2 / 12.0 for a, h, d in parts)
    clear = spacing - detail.clip_length
    shear = clear / (4.0 * DETAIL.sheet.G * 2 * t * 0.065)
    built_in, simple = clear**3 / (192.0 * EI), spacing**3 / (48.0 * EI) + 3.0 * shear
    assert built_in < moved < simple
