"""The very model that was solved, as an input deck for CalculiX (2.20), an open solver.

Shells go as US3, that program's triangle with six true degrees of freedom a node: its four-node shells S4 are
expanded to solids, whose folds and rotational conditions become rigid knots, and lock in thin sheets (half
the deflection at 16 x 16 elements of a clamped plate of span/thickness 500). Everything that it has no
element for goes through what it does exactly, linear equations and one-way springs along one direction: a
stiffness matrix K = C' C of a spring or beam becomes unit springs on auxiliary motions s = C u. Ties are
written out as the transformation that eliminates them here, u = T q + g, with one node that moves by 1 for
the constants.

Traps of 2.20 that were measured: a nonlinear spring alone does not start iterations (a fixed plastic
tetrahedron beside the model does), a linear step leaves out the constants of equations (iterations do not),
a spring makes all three translations of its node active, moments on eliminated rotations are lost in
iterations (stiff springs tie those rotations then), and the bending of the beam element U1 away from
its first axis is wrong in chains of elements.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from fea.model.calculix_motions import Motions, eliminated
from fea.model.calculix_parts import Modes, Substitution, shell_lines
from fea.model.contact import OneWayLinks
from fea.model.data import Model
from roofmodel.errors import InputError

__all__ = ["Deck", "Reading", "Substitution", "calculix_deck"]

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

CONTACT_REACH = 5.0  # way over which a one-way spring keeps its law [m]
TOUCH = 1e-10  # contacts without a gap begin closed by this, so that nothing floats at first [m]
ZERO = 1e-14  # share of the largest coefficient of an equation that is rounding
FAINT = 1e-15  # springs that make nodes of readings known to that program, without effect [N/m]


@dataclass(frozen=True)
class Deck:
    """An input deck and what is needed to read its results back.

    Attributes
    ----------
    text : str
        The deck; one static step a load case.
    cases : tuple of str, (q,)
    substitutions : tuple of Substitution
        What that program carries in another way.
    load : (d, q) float
        Nodal loads. [N, N m]
    motions : Motions
        Unknowns and springs of the deck.
    mode_place : (k, 2) int
        Node and direction in the deck of each of those springs.
    """

    text: str
    cases: tuple[str, ...]
    substitutions: tuple[Substitution, ...]
    load: Array
    motions: Motions
    mode_place: IntArray


@dataclass(frozen=True)
class Reading:
    """Linear functions of the displacements, three a node, printed as displacements of nodes of their own.

    Attributes
    ----------
    name : str
        Of the set of nodes: capitals.
    head : str
        What the three are, with their unit.
    what : tuple of str, (k,)
        What each node stands for.
    rows : (3 k, d) sparse
    """

    name: str
    head: str
    what: tuple[str, ...]
    rows: sparse.csr_array


class _Numbers:
    """Numbers of the auxiliary nodes, which follow those of the model and its companions."""

    def __init__(self, model: Model, modes: Modes) -> None:
        linear = np.flatnonzero(~modes.one_way)
        count = len(linear)
        self.one = 2 * len(model.xyz) + model.warp_count // 3 + 2  # moves by 1 along x
        self.ground = self.one + 1
        self.linear = self.ground + 1 + np.arange(-(-count // 3))
        self.far = self.ground + 1 + len(self.linear) + np.arange(len(modes.one_way) - count)
        self.after = int(self.ground + 1 + len(self.linear) + len(self.far))
        place = np.stack(np.broadcast_arrays(self.linear[:, None], [1, 2, 3]), axis=-1).reshape(-1, 2)
        self.spare = place[count:]
        self.mode_place = np.zeros((len(modes.one_way), 2), dtype=np.int64)
        self.mode_place[linear] = place[:count]
        self.mode_place[modes.one_way] = np.stack([self.far, np.ones_like(self.far)], axis=1)


def _equations(dependent: IntArray, rows: sparse.csr_array, constant: Array, place: IntArray,
               one: int) -> tuple[list[str], list[str]]:  # fmt: skip
    """Cards that make each dependent motion rows @ q + constant: equations, or conditions without any q."""
    equations, conditions = [], []
    A = rows.tocsr()
    for i, (node, direction) in enumerate(dependent.tolist()):
        part = slice(A.indptr[i], A.indptr[i + 1])
        value, column = A.data[part], A.indices[part]
        keep = np.abs(value) > ZERO * np.abs(value).max(initial=0.0)
        terms = [f"{m},{d},{v:.12e}" for (m, d), v in zip(place[column[keep]].tolist(), value[keep].tolist(),
                                                          strict=True)]  # fmt: skip
        if not terms:
            conditions.append(f"{node},{direction},{direction},{constant[i]:.12e}")
            continue
        terms.insert(0, f"{node},{direction},-1.0")
        if constant[i] != 0.0:
            terms.append(f"{one},1,{constant[i]:.12e}")
        equations.append(f"*EQUATION\n{len(terms)}")
        equations += [",".join(terms[k : k + 4]) for k in range(0, len(terms), 4)]
    return equations, conditions


def _nodes(motions: Motions, numbers: _Numbers) -> list[str]:
    """Node cards: those of the model, companions, and auxiliary ones at the origin or 10 m from it."""
    model = motions.model
    n = len(model.xyz)
    used = np.unique(np.concatenate([motions.place[:, 0], np.flatnonzero(motions.on_shell) + 1]))
    at = np.zeros((len(used), 3))
    real = used <= 2 * n
    at[real] = model.xyz[(used[real] - 1) % n]
    rows = [
        f"{i},{x:.12e},{y:.12e},{z:.12e}" for i, (x, y, z) in zip(used.tolist(), at.tolist(), strict=True)
    ]
    rows += [f"{i},0.0,0.0,0.0" for i in (numbers.one, numbers.ground, *numbers.linear.tolist())]
    rows += [f"{i},{2.0 * CONTACT_REACH},0.0,0.0" for i in numbers.far.tolist()]
    return ["*NODE,NSET=NALL", *rows]


def _springs(modes: Modes, numbers: _Numbers, first: int) -> tuple[list[str], int]:
    """Unit springs on the auxiliary motions, and one-way ones from the ground node."""
    lines: list[str] = []
    element, mode_place = first, numbers.mode_place
    for direction in (1, 2, 3):
        nodes = mode_place[~modes.one_way & (mode_place[:, 1] == direction), 0]
        if not len(nodes):
            continue
        lines.append(f"*ELEMENT,TYPE=SPRING1,ELSET=MODE{direction}")
        lines += [f"{element + i},{node}" for i, node in enumerate(nodes.tolist())]
        lines.append(f"*SPRING,ELSET=MODE{direction}\n{direction}\n1.0")
        element += len(nodes)
    for k in np.unique(modes.one_way_stiffness[modes.one_way]).tolist():
        nodes = mode_place[modes.one_way & (modes.one_way_stiffness == k), 0]
        lines.append(f"*ELEMENT,TYPE=SPRINGA,ELSET=PUSH{element}")
        lines += [f"{element + i},{numbers.ground},{node}" for i, node in enumerate(nodes.tolist())]
        push = k * (CONTACT_REACH + TOUCH)
        lines.append(f"*SPRING,ELSET=PUSH{element},NONLINEAR")
        lines.append(f"{-push:.12e},{-CONTACT_REACH:.1f}\n0.0,{TOUCH:.1e}\n0.0,{CONTACT_REACH:.1f}")
        element += len(nodes)
    return lines, element


def _iterate(node: int, element: int) -> list[str]:
    """A fixed plastic tetrahedron beside the model, which makes the program iterate."""
    corner = [
        f"{node},0.0,0.0,0.0",
        f"{node + 1},1.0,0.0,0.0",
        f"{node + 2},0.0,1.0,0.0",
        f"{node + 3},0.0,0.0,1.0",
    ]
    return [
        "** a fixed body that makes the program iterate: one-way springs and constants of equations need it",
        "*NODE,NSET=ASIDE", *corner,
        "*ELEMENT,TYPE=C3D4,ELSET=ASIDE", f"{element},{node},{node + 1},{node + 2},{node + 3}",
        "*MATERIAL,NAME=ASIDE", "*ELASTIC", "1.0,0.0", "*PLASTIC", "1.0,0.0",
        "*SOLID SECTION,ELSET=ASIDE,MATERIAL=ASIDE",
        "*BOUNDARY", "ASIDE,1,3,0.0",
    ]  # fmt: skip


def _reading_lines(
    reading: Reading, motions: Motions, first: int, element: int, one: int
) -> tuple[list[str], list[str], list[str]]:
    """Cards of the nodes and faint springs of a reading, and its equations and conditions."""
    nodes = first + np.arange(len(reading.what))
    lines = [f"** set {reading.name}, displacements of its nodes: {_words(reading.head)}"]
    lines += [
        f"** node {node}: {_words(what)}" for node, what in zip(nodes.tolist(), reading.what, strict=True)
    ]
    lines += [f"*NODE,NSET={reading.name}", *(f"{node},0.0,0.0,0.0" for node in nodes.tolist())]
    lines += [f"*ELEMENT,TYPE=SPRING1,ELSET={reading.name}"]
    lines += [f"{element + i},{node}" for i, node in enumerate(nodes.tolist())]
    lines += [f"*SPRING,ELSET={reading.name}", "1", f"{FAINT:.1e}"]
    place = np.stack(np.broadcast_arrays(nodes[:, None], [1, 2, 3]), axis=-1).reshape(-1, 2)
    rows = sparse.csr_array(reading.rows @ motions.transform)
    equations, conditions = _equations(place, rows, reading.rows @ motions.offset, motions.place, one)
    return lines, equations, conditions


def _steps(
    names: Sequence[str], load: Array, place: IntArray, reading: Reading | None, *, iterate: bool
) -> list[str]:
    """One static step a case, loads on the unknowns that stay."""
    lines = []
    for q, name in enumerate(names):
        lines += [f"** case: {name}", "*STEP,INC=1000", "*STATIC"]
        if iterate:
            lines += ["1.0,1.0", "*CONTROLS,PARAMETERS=FIELD", "1.0e-9,1.0e-6"]
            lines += ["*CONTROLS,PARAMETERS=TIME INCREMENTATION", "100,200,200,400,10,4"]
        lines.append("*CLOAD,OP=NEW")
        at = np.flatnonzero(load[:, q])
        at = at if len(at) else np.array([0])
        lines += [
            f"{m},{d},{v:.12e}" for (m, d), v in zip(place[at].tolist(), load[at, q].tolist(), strict=True)
        ]
        if reading is not None:
            lines += [f"*NODE PRINT,NSET={reading.name},FREQUENCY=1000", "U"]
        lines += ["*NODE PRINT,NSET=NALL,FREQUENCY=1000", "U,RF", "*END STEP"]
    return lines


def _words(text: str) -> str:
    """One line of plain characters for a comment."""
    return " ".join(text.encode("ascii", "replace").decode().split())


def calculix_deck(
    model: Model,
    load: Array,
    names: Sequence[str],
    links: Sequence[OneWayLinks] = (),
    reading: Reading | None = None,
    remarks: Sequence[str] = (),
) -> Deck:
    """Input deck for CalculiX of a model under nodal loads.

    Parameters
    ----------
    model : Model
    load : (d, q) float
        Nodal loads, those of pressure, weight and temperature among them. [N, N m]
    names : sequence of str, (q,)
        Load cases.
    links : sequence of OneWayLinks
        One-way links beside the contacts of the model.
    reading : Reading or None
        What that program prints beside displacements and forces.
    remarks : sequence of str
        For its head.

    Returns
    -------
    Deck

    Raises
    ------
    InputError
        Loads of a wrong shape or not finite, a sheet that is not isotropic, ties that contradict each other.
    """
    if load.shape != (model.dof_count, len(names)) or not np.isfinite(load).all() or not len(names):
        message = (
            f"deck: loads have shape {load.shape}; they must be finite numbers of shape "
            f"({model.dof_count}, {len(names)}), a column for each of the named cases."
        )
        raise InputError(message)
    motions = eliminated(model, links)
    numbers = _Numbers(model, motions.modes)
    rows = sparse.vstack(
        [motions.transform[motions.tied], motions.modes.rows @ motions.transform], format="csr"
    )
    spring_constant = motions.modes.rows @ motions.offset + motions.modes.constant
    equations, conditions = _equations(
        np.concatenate([motions.dof_place[motions.tied], numbers.mode_place]),
        rows,
        np.concatenate([motions.offset[motions.tied], spring_constant]),
        motions.place,
        numbers.one,
    )
    shells, words, element = shell_lines(model)
    springs, element = _springs(motions.modes, numbers, element)
    substitutions = (*words, *motions.substitutions)
    read: list[str] = []
    if reading is not None:
        read, more, still = _reading_lines(reading, motions, numbers.after + 4, element + 1, numbers.one)
        equations, conditions = [*equations, *more], [*conditions, *still]
    lines = [
        "** written by Eavewright; SI units: m, N, Pa",
        *(f"** {line}" for remark in remarks for line in textwrap.wrap(_words(remark), 96)),
        *(f"** substitution: {_words(s.what)}: {_words(s.how)}" for s in substitutions),
        *_nodes(motions, numbers),
        *shells,
        *springs,
        *read,
        *(_iterate(numbers.after, element) if motions.iterate else []),
        *equations,
        "*BOUNDARY",
        f"{numbers.one},1,1,1.0",
        f"{numbers.one},2,3,0.0",
        f"{numbers.ground},1,3,0.0",
        *(f"{node},2,3,0.0" for node in numbers.far.tolist()),
        *(f"{node},{direction},{direction},0.0" for node, direction in numbers.spare.tolist()),
        *conditions,
        *_steps(names, motions.transform.T @ load, motions.place, reading, iterate=motions.iterate),
    ]
    return Deck(
        text="\n".join(lines) + "\n",
        cases=tuple(names),
        substitutions=substitutions,
        load=load,
        motions=motions,
        mode_place=numbers.mode_place,
    )
