"""The two linear states of the panels against one-way contact, rails included, on a small field.

The reference is the whole field as one shell model in which bearing only pushes and clips hold only uplift,
found by an active set in this file; nothing of it is condensed.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from panels import CLAMP, DETAIL, PANEL, STEEL, clamp_dof, make_layout, mesh_at
from scipy import sparse

from fea.checks.limits import clamp_components, component_utilization, interact
from fea.model.assembly import build_system
from fea.model.solution import solve_model
from fea.panel.model import contacts_as_springs, panel_field
from fea.panel.plane import series
from fea.rails.frame import build_frame, solve_frame
from fea.rails.loads import RailLoads
from roofmodel.hardware import Rail
from roofmodel.sections import round_tube

RAIL = Rail(round_tube(0.0424, 0.003, 0.3), STEEL, np.nan, 0.0, 1.0, "")
GRIPPED = replace(
    CLAMP, test_height=0.06, height=0.07, strength=np.array([5e3, 2e3, 3e3, 5e3, np.inf, np.inf])
)
TURN = np.radians(20.0)
SEAMS = 3


def skewed():
    """Two rows on three seams that run 20 degrees off the fall line, and the place of every clamp."""
    layout = make_layout([(v, range(SEAMS), 0.2) for v in (0.35, 1.0)], TURN)
    length = SEAMS * PANEL.seam_spacing / np.cos(TURN)
    rise = np.array([np.sin(TURN), np.cos(TURN)])
    s = layout.clamp_uv[:, 0]
    layout = replace(
        layout,
        clamp_s=s,
        row_start=np.array([[0.0, 0.35], [0.0, 1.0]]),
        row_end=np.array([[length, 0.35], [length, 1.0]]),
    )
    return layout, -np.round(layout.clamp_uv @ rise, 3)


def loads(layout, share=1.0, lift=0.0):
    rows = len(layout.row_name)
    line = np.zeros((1, rows, 4))
    line[..., 1:3] = [-3000.0, lift]
    none = np.zeros(0)
    return RailLoads(
        row=np.arange(rows),
        s0=np.zeros(rows),
        s1=share * layout.row_length,
        line=line,
        point_row=none.astype(np.int64),
        point_s=none,
        point=np.zeros((1, 0, 6)),
        thermal=np.zeros(1),
    )


class Field:
    """The shell model of all seams under both rows."""

    def __init__(self):
        self.layout, x = skewed()
        order = np.lexsort((x, self.layout.clamp_seam))
        clamps = [np.sort(x[self.layout.clamp_seam == k]) for k in range(SEAMS)]
        window = (x.min() - 0.8, 0.0)
        grip = (GRIPPED.grip_length, GRIPPED.grip_height)
        mesh = mesh_at(window, x, grip=grip, refine=0.3)
        self.field = panel_field(mesh, PANEL, DETAIL, grip, clamps, np.full(SEAMS, 6.0))
        self.dof = np.empty((len(x), 6), dtype=np.int64)
        self.dof[order] = clamp_dof(self.field).reshape(-1, 6)
        contacts = self.field.model.contacts
        self.node, self.normal, self.gap = (
            np.concatenate([getattr(c, name) for c in contacts]) for name in ("node", "normal", "gap")
        )
        self.bearing = np.concatenate([np.full(len(c.node), c.name == "bearing") for c in contacts])
        self.known = {}

    def answers(self, use):
        """Displacements of the panels under unit forces at the grips, and the stiffness there."""
        if use.tobytes() not in self.known:
            model, dof = contacts_as_springs(self.field.model, use), self.dof.ravel()
            F = np.zeros((model.dof_count, len(dof)))
            F[dof, np.arange(len(dof))] = 1.0
            u = solve_model(build_system(model), F).displacement
            self.known[use.tobytes()] = u, np.linalg.inv(0.5 * (u[dof] + u[dof].T))
        return self.known[use.tobytes()]

    def solve(self, load, use):
        """Forces (c, 6) at the grips and displacements (d,) of the panels with some contacts as springs."""
        u, K = self.answers(use)
        own = np.kron(np.eye(len(self.dof)), GRIPPED.stiffness)
        frame = build_frame(
            self.layout, RAIL, GRIPPED, support=sparse.csr_array(series(own, 0.5 * (K + K.T)))
        )
        force = solve_frame(frame, load).clamp_force[0]
        return force, u @ force.ravel()

    def one_way(self, load):
        """The same with contacts that push only."""
        use = np.ones(len(self.node), dtype=bool)
        for number in range(60):
            force, u = self.solve(load, use)
            pressed = -(self.normal * u.reshape(-1, 6)[self.node, :3]).sum(axis=1) > self.gap
            wrong = np.flatnonzero(pressed != use)
            if not len(wrong):
                return force
            use[wrong if number < 20 else wrong[: len(wrong) // 3 + 1]] ^= True
        pytest.fail("the active set does not settle")


def used(force):
    use = component_utilization(clamp_components(force, GRIPPED), GRIPPED, np.abs(force[:, 0]).max())
    return interact(use, GRIPPED.interaction)


@pytest.fixture(scope="module")
def field():
    return Field()


@pytest.mark.slow
@pytest.mark.parametrize(("share", "lift"), [(1.0, 0.0), (0.5, 0.0), (1.0, 500.0)])
def test_the_worse_of_two_states_stands_for_one_way_contact(field, share, lift):
    """At the worst clamp to 1 %, at any to 4 %; with the whole row loaded, bearing that pulls is unsafe."""
    load = loads(field.layout, share, lift)
    truth = used(field.one_way(load))
    both = used(field.solve(load, np.ones(len(field.node), dtype=bool))[0])
    hung = used(field.solve(load, ~field.bearing)[0])
    worse = np.maximum(both, hung)
    assert truth.max() <= 1.01 * worse.max()
    assert (truth <= 1.04 * worse).all()
    if share == 1.0:
        assert truth.max() > 1.01 * both.max()
