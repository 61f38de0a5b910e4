"""Invented panels, clamps and rows for the panel tests, in SI."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fea.panel.groups import held_contacts
from fea.panel.mesh import StripMesh, strip_mesh
from fea.panel.model import PanelField, panel_field
from roofmodel.hardware import (
    Bearing,
    Clamp,
    FixedPoint,
    Interaction,
    Material,
    Panel,
    SeamDetail,
    SeamLock,
)
from roofmodel.layout import Layout

STEEL = Material("steel", E=210e9, G=81e9, alpha=12e-6, density=7850.0, yield_strength=250e6)
PANEL = Panel(0.43, 0.065, 0.0006, "steel", 0.4, np.nan, np.nan, 1.0)
DETAIL = SeamDetail(
    sheet=STEEL,
    sheet_strength=np.nan,
    sheet_clause="",
    lock=SeamLock.DOUBLE,
    fold_height=0.012,
    lock_stiffness=np.array([5e8, 2e8, 5e8]),
    opening_strength=np.nan,
    pan_ribs=1,
    pan_rib_height=0.002,
    pan_rib_width=0.03,
    clip_spacing=0.4,
    clip_first=0.15,
    clip_length=0.04,
    clip_stiffness=np.array([0.0, 5e5, 1e6]),
    clip_gap=0.0,
    clip_strength=np.nan,
    clamps_pin_clips=True,
    fixed_at=FixedPoint.RIDGE,
    fixed_stiffness=5e6,
    bearing=Bearing.DECK,
    bearing_stiffness=1e7,
    purlin_spacing=np.nan,
    through_fixings=np.zeros(0),
    thermal=0.0,
)
CLAMP = Clamp(
    stiffness=np.diag([1e7, 1e7, 1e7, 1e4, 1e4, 1e4]),
    strength=np.full(6, np.nan),
    nominal=np.full(6, np.nan),
    factor=1.0,
    strength_kind="",
    height=0.08,
    grip_height=0.045,
    grip_length=0.05,
    test_height=0.0,
    interaction=Interaction.LINEAR,
    test_basis="",
)
GRIP = (CLAMP.grip_length, CLAMP.grip_height)
NONE = np.zeros(0)


def mesh_at(window, places, detail=DETAIL, grip=GRIP, refine=1.0) -> StripMesh:
    return strip_mesh(PANEL, detail, window, np.unique(places), grip, refine)


def linear(field: PanelField, held=None) -> PanelField:
    return replace(field, model=held_contacts(field.model, held or {}))


def linear_field(mesh, clamps, length, detail=DETAIL, alike=False, held=None, grip=GRIP) -> PanelField:
    """Strips as one model with bearing and clips as springs."""
    field = panel_field(mesh, PANEL, detail, grip, clamps, np.asarray(length, float), alike=alike)
    return linear(field, held)


def clamp_dof(field: PanelField) -> np.ndarray:
    return (6 * field.clamp_node[:, None] + np.arange(6)).ravel()


def spring_sum(field: PanelField, name: str, u: np.ndarray) -> np.ndarray:
    """Force (3,) of all springs of one name on the panels, for displacements (d,)."""
    total = np.zeros(3)
    for s in field.model.springs:
        if s.name == name:
            moved = u.reshape(-1, 6)[s.node[:, 0], :3]
            total -= np.einsum("mij,mj->i", s.stiffness[:, :3, :3], moved)
    return total


def make_layout(rows, angle=0.0) -> Layout:
    """Rows of clamps on one plane: (v, seams, u of seam 0)."""
    row, uv, seam = [], [], []
    for i, (up, seams, zero) in enumerate(rows):
        for k in seams:
            row.append(i)
            uv.append((zero + k * PANEL.seam_spacing / np.cos(angle), up))
            seam.append(k)
    r, empty = len(rows), np.zeros(0)
    return Layout(
        row_name=tuple(f"R{i + 1}" for i in range(r)),
        row_plane=np.zeros(r, dtype=np.int64),
        row_start=np.zeros((r, 2)),
        row_end=np.ones((r, 2)),
        row_full=np.ones((r, 2), dtype=bool),
        clamp_name=tuple(f"R{i + 1}-{k}" for i, k in zip(row, seam, strict=True)),
        clamp_row=np.array(row),
        clamp_s=np.array(seam) * PANEL.seam_spacing,
        clamp_uv=np.array(uv, dtype=float),
        clamp_seam=np.array(seam),
        seam_angle=np.full(r, angle),
        splice_row=empty.astype(np.int64),
        splice_s=empty,
        splice_kind=(),
    )
