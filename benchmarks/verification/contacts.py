"""Beams on supports that only push, against all contact sets tried by hand."""

from __future__ import annotations

import numpy as np

from benchmarks.verification.beams import beams_of
from benchmarks.verification.findings import Finding, check_cases
from fea.elements.beam_data import BeamStiffness
from fea.model.assembly import build_system
from fea.model.contact import solve_contact
from fea.model.data import Array, Contacts, Model, Ties

WORDS = {
    "contact_oneway_overhang_point": "Six supports, load on an overhang",
    "contact_oneway_gaps": "Six supports with gaps, even load",
    "contact_oneway_uplift_midspan": "Six supports, uplift within a span",
}


def one_way_beam(name: str) -> tuple[Model, Array]:
    """Model and load (d,) of one table: nodes wherever something stands or a load begins.

    Loads act toward -z, supports push toward +z.
    """
    inputs = check_cases()[name]["inputs"]
    at = [inputs["x_start_mm"], inputs["x_end_mm"], *inputs["support_x_mm"]]
    for load in inputs["loads"]:
        at += [load["x_mm"]] if load["type"] == "point" else [load["x_a_mm"], load["x_b_mm"]]
    x = np.unique(at) / 1e3
    n = len(x)
    support = np.searchsorted(x, np.array(inputs["support_x_mm"]) / 1e3 - 1e-9)
    EI = inputs["EI_Nmm2"] * 1e-6
    stiffness = BeamStiffness(1e7, EI * np.eye(2), np.zeros(2), 1e3, 0.0, np.zeros(2), 0.0)
    model = Model(
        xyz=np.stack([x, np.zeros(n), np.zeros(n)], axis=1),
        beams=(
            beams_of(
                np.stack([np.arange(n - 1), np.arange(1, n)], axis=1), stiffness, np.array([0.0, 1.0, 0.0])
            ),
        ),
        ties=Ties(np.array([0, 1, 3, 5]), np.zeros(4)),  # what no load calls on
        contacts=(
            Contacts(
                "supports",
                support,
                np.tile([0.0, 0.0, 1.0], (len(support), 1)),
                np.array(inputs["support_k_N_per_mm"]) * 1e3,
                np.array(inputs.get("gap_mm", [0.0] * len(support))) / 1e3,
            ),
        ),
    )
    force = np.zeros(model.dof_count)
    for load in inputs["loads"]:
        if load["type"] == "point":
            force[6 * np.searchsorted(x, load["x_mm"] / 1e3 - 1e-9) + 2] -= load["P_N"]
            continue
        first, last = load["q_a_N_per_mm"] * 1e3, load["q_b_N_per_mm"] * 1e3
        if first != last:
            message = f"{name}: only uniform loads are read here"
            raise ValueError(message)
        on = np.flatnonzero((x[:-1] > load["x_a_mm"] / 1e3 - 1e-9) & (x[1:] < load["x_b_mm"] / 1e3 + 1e-9))
        L = x[on + 1] - x[on]
        for node, sign in ((on, 1.0), (on + 1, -1.0)):
            np.add.at(force, 6 * node + 2, -first * L / 2.0)
            np.add.at(force, 6 * node + 4, sign * first * L**2 / 12.0)
    return model, force


def contact_findings() -> list[Finding]:
    """Largest push of every table; a support that should not push counts as a miss when it does."""
    found = []
    for name, case in check_cases().items():
        if not name.startswith("contact_oneway"):
            continue
        model, force = one_way_beam(name)
        u = np.asarray(solve_contact(build_system(model), model.contacts, force).displacement).ravel()
        contacts = model.contacts[0]
        push = contacts.stiffness * np.maximum(-u[6 * contacts.node + 2] - contacts.gap, 0.0)
        expected = np.array(case["expected"]["reactions_N"])
        same = np.array_equal(np.flatnonzero(push > 0.0), case["expected"]["contact_set_index0"])
        worst = int(expected.argmax())
        found.append(
            Finding(
                problem=f"{WORDS.get(name, name)}: largest push",
                source="all contact sets tried, closed form",
                mesh="beams between supports",
                unit="N",
                value=float(push[worst]) if same else np.nan,
                reference=float(expected[worst]),
                bar=case["tolerance"]["rel"],
            )
        )
    return found
