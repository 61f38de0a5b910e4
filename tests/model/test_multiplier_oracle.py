"""Elimination against a road of its own: the same conditions by dense Lagrange multipliers."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fea.elements.shells import shell_stiffness
from fea.model.assembly import build_system
from fea.model.data import GROUND, Model, Shells, Springs, Ties, node_dof
from fea.model.solution import solve_model
from tests.model.test_loads import STEEL, turned


def structure(rng, nodes=12):
    """A few thick quads and triangles somewhere in space, and springs that join all nodes to the ground."""
    xyz = rng.uniform(-1.0, 1.0, (nodes, 3))
    corner = np.array([[0.0, 0.0, 0.0], [1.0, 0.1, 0.0], [1.1, 0.9, 0.05], [0.1, 1.0, 0.0]])
    xyz[:4] = corner @ turned(int(rng.integers(10**6))).T
    order = rng.permutation(nodes)
    place = np.empty(nodes, dtype=np.int64)
    place[order] = np.arange(nodes)  # number of the node that was i
    quad, triangle = place[[[0, 1, 2, 3]]], place[[[4, 5, 6], [6, 5, 7], [3, 2, 8]]]
    half = rng.normal(size=(nodes, 6, 6))
    springs = Springs(
        "feet",
        np.stack([np.arange(nodes), np.full(nodes, GROUND)], axis=1),
        1e7 * (half @ np.swapaxes(half, 1, 2) + np.eye(6)),
        np.stack([turned(int(rng.integers(10**6))) for _ in range(nodes)]),
    )
    thick = 0.05
    shells = (
        Shells("quad", quad, np.full(1, thick), STEEL),
        Shells("triangles", triangle, np.full(3, thick), STEEL),
    )
    return Model(xyz[order], shells, springs=(springs,)), rng.permutation(nodes)


def random_ties(rng, model, free):
    """A chain of rigid links a <- b <- c, a partial link, two equations that use tied and fixed parts."""
    a, b, c, e, f, g, h, i, j = free[:9]
    part = np.ones((4, 6), dtype=bool)
    part[2] = [True, True, False, False, False, True]
    part[3] = [False, False, True, False, True, False]
    equation = np.array(
        [
            [6 * f + 1, 6 * g + 2, 6 * c + 3, 6 * h],  # to a free, a tied and a fixed one
            [6 * i + 4, 6 * f + 1, 6 * j, -1],  # to the first equation's own
        ]
    )
    return Ties(
        fixed_dof=np.concatenate([node_dof(h), node_dof(a)[:2]]),
        fixed_value=rng.normal(size=8) * 1e-4,
        rigid_main=np.array([a, b, a, e]),
        rigid_node=np.array([b, c, e, g]),
        rigid_part=part,
        equation_dof=equation,
        equation_coefficient=rng.uniform(0.5, 2.0, (2, 4)) * rng.choice([-1.0, 1.0], (2, 4)),
        equation_value=rng.normal(size=2) * 1e-4,
    )


def conditions(model):
    """Rows of B u = c, the fixed ones first; written out link by link."""
    ties, d = model.ties, model.dof_count
    rows = [np.eye(d)[dof] for dof in ties.fixed_dof]
    values = list(ties.fixed_value)
    for main, node, part in zip(ties.rigid_main, ties.rigid_node, ties.rigid_part, strict=True):
        x, y, z = model.xyz[node] - model.xyz[main]
        motion = np.eye(6)
        motion[:3, 3:] = [[0.0, z, -y], [-z, 0.0, x], [y, -x, 0.0]]
        for k in np.flatnonzero(part):
            row = np.eye(d)[6 * node + k]
            row[node_dof(main)] -= motion[k]
            rows.append(row)
            values.append(0.0)
    for dof, coefficient, value in zip(
        ties.equation_dof, ties.equation_coefficient, ties.equation_value, strict=True
    ):
        row = np.zeros(d)
        np.add.at(row, dof[dof >= 0], coefficient[dof >= 0])
        rows.append(row)
        values.append(value)
    return np.array(rows), np.array(values)


def dense(model):
    K = np.zeros((model.dof_count, model.dof_count))
    for s in model.shells:
        for node, t in zip(s.node, s.thickness, strict=True):
            dof = node_dof(node).ravel()
            K[np.ix_(dof, dof)] += shell_stiffness(model.xyz[None, node], np.array([t]), s.material)[0]
    for node, stiffness, axes in zip(
        model.springs[0].node, model.springs[0].stiffness, model.springs[0].axes, strict=True
    ):
        turn = np.kron(np.eye(2), axes)
        dof = node_dof(node[0])
        K[np.ix_(dof, dof)] += turn.T @ stiffness @ turn
    return K


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_elimination_equals_multipliers(seed):
    rng = np.random.default_rng(seed)
    model, free = structure(rng)
    model = Model(model.xyz, model.shells, springs=model.springs, ties=random_ties(rng, model, free))
    system = build_system(model)
    F = rng.normal(size=(model.dof_count, 3)) * 1e3
    found = solve_model(system, F)
    K, (B, c) = dense(model), conditions(model)
    np.testing.assert_allclose(
        system.matrix.toarray(), (system.transform.T @ (K @ system.transform.toarray())), atol=1e-9 * K.max()
    )
    scale = K.max()
    both = np.block([[K / scale, B.T], [B, np.zeros((len(B), len(B)))]])
    right = np.concatenate([F / scale, np.repeat(c[:, None], 3, axis=1)])
    u, multiplier = np.split(np.linalg.solve(both, right), [model.dof_count])
    force = -scale * multiplier  # of the conditions on the structure
    np.testing.assert_allclose(found.displacement, u, atol=1e-9 * np.abs(u).max())
    np.testing.assert_allclose(B @ found.displacement, right[model.dof_count :], atol=1e-14)
    fixed = len(model.ties.fixed_dof)
    support, link = B[:fixed].T @ force[:fixed], B[fixed:].T @ force[fixed:]
    atol = 1e-8 * np.abs(force).max()
    np.testing.assert_allclose(found.reaction, support, atol=atol)
    np.testing.assert_allclose(found.tie_force, link, atol=atol)


@settings(max_examples=10, deadline=None)
@given(seed=st.integers(0, 10**6))
def test_numbers_of_nodes_do_not_matter(seed):
    """The same structure with its nodes in another order moves the same."""
    rng = np.random.default_rng(seed)
    model, free = structure(rng)
    ties = random_ties(rng, model, free)
    model = Model(model.xyz, model.shells, springs=model.springs, ties=ties)
    F = rng.normal(size=(model.dof_count, 1))
    new = rng.permutation(len(model.xyz))  # number that node i gets

    def moved(dof):
        return np.where(dof < 0, -1, 6 * new[dof // 6] + dof % 6)

    other = Model(
        model.xyz[np.argsort(new)],
        tuple(Shells(s.name, new[s.node], s.thickness, s.material) for s in model.shells),
        springs=tuple(
            Springs(s.name, np.where(s.node < 0, s.node, new[s.node]), s.stiffness, s.axes)
            for s in model.springs
        ),
        ties=Ties(
            moved(ties.fixed_dof), ties.fixed_value,
            new[ties.rigid_main], new[ties.rigid_node], ties.rigid_part,
            moved(ties.equation_dof), ties.equation_coefficient, ties.equation_value,
        ),
    )  # fmt: skip
    place = moved(np.arange(model.dof_count))
    G = np.zeros_like(F)
    G[place] = F
    first, second = (solve_model(build_system(m), load) for m, load in ((model, F), (other, G)))
    for what in ("displacement", "reaction", "tie_force"):
        a, b = getattr(first, what), getattr(second, what)[place]
        np.testing.assert_allclose(a, b, atol=1e-9 * np.abs(a).max())
