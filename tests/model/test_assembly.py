"""Equations of a model: closed forms, invariance, reactions, refusals."""

from dataclasses import replace

import numpy as np
import pytest

from fea.elements.shells import shell_stiffness
from fea.model import pattern as pattern_module
from fea.model.assembly import build_system
from fea.model.data import GROUND, Model, Ties, node_dof
from fea.model.loads import pressure
from fea.model.solution import solve_model
from roofmodel.errors import InputError
from tests.model.frames import STEEL, chain, fix, plate, springs


def held(nx=6, ny=5):
    model, edge = plate(nx, ny)
    return replace(model, ties=fix(edge))


def test_matrix_equals_the_sum_of_dense_element_matrices():
    model, _ = plate(5, 4)
    K = np.zeros((model.dof_count, model.dof_count))
    group = model.shells[0]
    for node, matrix in zip(
        group.node, shell_stiffness(model.xyz[group.node], group.thickness, STEEL), strict=True
    ):
        dof = node_dof(node).ravel()
        K[np.ix_(dof, dof)] += matrix
    system = build_system(model)
    np.testing.assert_allclose(system.matrix.toarray(), K, rtol=0.0, atol=1e-9 * K.max())
    assert system.upper.indices.dtype == np.int32


def test_chunks_change_nothing(monkeypatch):
    model = held()
    whole = build_system(model).upper
    monkeypatch.setattr(pattern_module, "CHUNK", 7)
    assert abs(build_system(model).upper - whole).max() < 1e-12 * whole.max()


def test_pattern_used_again_with_other_values():
    model = held()
    system = build_system(model)
    thick = replace(model, shells=(replace(model.shells[0], thickness=model.shells[0].thickness * 2.0),))
    np.testing.assert_array_equal(
        build_system(thick, system.pattern).upper.data, build_system(thick).upper.data
    )


def test_springs_in_series_and_their_reaction():
    model = chain(4, 1000.0)
    F = np.zeros((24, 1))
    F[18] = 3.0
    u = solve_model(build_system(model), F).displacement
    np.testing.assert_allclose(u[::6, 0], [0.003, 0.006, 0.009, 0.012], rtol=1e-12)


def test_prescribed_displacement_and_its_force():
    model = replace(chain(2, 1000.0), ties=fix([1], 0.01))
    solution = solve_model(build_system(model), np.zeros((12, 1)))
    np.testing.assert_allclose(solution.displacement[:6, 0], 0.005, rtol=1e-12)
    np.testing.assert_allclose(solution.reaction[6:, 0], 5.0, rtol=1e-12)


def test_reactions_balance_the_load_about_every_axis():
    model = held()
    F = pressure(model, 0, np.full((30, 1), 1500.0))
    solution = solve_model(build_system(model), F)
    total = (F + solution.reaction).reshape(-1, 6)
    force = np.abs(total[:, :3].sum(axis=0)).max()
    moment = np.abs((np.cross(model.xyz, total[:, :3]) + total[:, 3:]).sum(axis=0)).max()
    assert force < 1e-9 * 3000.0
    assert moment < 1e-9 * 3000.0


def test_numbers_of_nodes_do_not_matter():
    model = held()
    rng = np.random.default_rng(4)
    order = rng.permutation(len(model.xyz))
    place = np.argsort(order)
    group = model.shells[0]
    turned = replace(group, node=place[group.node][rng.permutation(len(group.node))])
    node = place[model.ties.fixed_dof // 6]
    ties = replace(model.ties, fixed_dof=6 * node + model.ties.fixed_dof % 6)
    other = replace(model, xyz=model.xyz[order], shells=(turned,), ties=ties)
    F = rng.normal(size=(model.dof_count, 1))
    u = solve_model(build_system(model), F).displacement.reshape(-1, 6)
    v = solve_model(build_system(other), F.reshape(-1, 6)[order].reshape(-1, 1)).displacement.reshape(-1, 6)
    np.testing.assert_allclose(v, u[order], rtol=0.0, atol=1e-8 * np.abs(u).max())


def test_rigid_link_moves_a_force_with_its_moment():
    """A spring at the origin, loaded at the end of a chain of two rigid arms."""
    xyz = np.array([[0.0, 0.0, 0.0], [0.3, 0.0, 0.1], [0.5, 0.2, 0.4]])
    stiffness = np.array([1e3, 2e3, 3e3, 40.0, 50.0, 60.0])
    every = np.ones((2, 6), dtype=bool)
    model = Model(
        xyz,
        springs=(springs("clamp", [[0, GROUND]], stiffness),),
        ties=Ties(rigid_main=np.array([0, 1]), rigid_node=np.array([1, 2]), rigid_part=every),
    )
    F = np.zeros((18, 1))
    F[12:15, 0] = force = np.array([5.0, -3.0, 2.0])
    solution = solve_model(build_system(model), F)
    motion = np.concatenate([force, np.cross(xyz[2], force)]) / stiffness
    np.testing.assert_allclose(solution.displacement[:6, 0], motion, rtol=1e-12)
    tip = motion[:3] + np.cross(motion[3:], xyz[2])
    np.testing.assert_allclose(solution.displacement[12:15, 0], tip, rtol=1e-12)
    tie = solution.tie_force.reshape(3, 6)
    assert np.abs(tie[:, :3].sum(axis=0)).max() < 1e-12
    assert np.abs((np.cross(xyz, tie[:, :3]) + tie[:, 3:]).sum(axis=0)).max() < 1e-12


def test_equation_is_the_limit_of_a_penalty():
    model = held(4, 3)
    a, b, c = node_dof(np.array([9, 14, 18]))[:, 2]
    equation = np.array([1.0, -2.0, 0.5])
    tied = replace(
        model,
        ties=replace(
            model.ties,
            equation_dof=np.array([[a, b, c]]),
            equation_coefficient=equation[None],
            equation_value=np.array([1e-3]),
        ),
    )
    F = pressure(model, 0, np.full((12, 1), 1e3))
    exact = solve_model(build_system(tied), F).displacement
    assert abs(equation @ exact[[a, b, c], 0] - 1e-3) < 1e-15
    system = build_system(model)
    K, G = system.matrix.toarray(), np.zeros((1, system.upper.shape[0]))
    G[0, system.ties.number[[a, b, c]]] = equation
    distance = []
    for penalty in (1e9, 1e11):
        u = np.linalg.solve(K + penalty * G.T @ G, system.gather(F) + penalty * 1e-3 * G.T)
        distance.append(np.abs(system.expand(u) - exact).max())
    assert distance[1] < 0.02 * distance[0]


@pytest.mark.parametrize(
    ("ties", "words"),
    [
        (
            Ties(fixed_dof=np.array([3, 3]), fixed_value=np.array([0.0, 1.0])),
            "rx of node 0 is fixed at 0 and at 1",
        ),
        (Ties(fixed_dof=np.array([99]), fixed_value=np.zeros(1)), "between 0 and 17"),
        (
            Ties(
                fixed_dof=np.array([6]),
                fixed_value=np.zeros(1),
                rigid_main=np.array([0]),
                rigid_node=np.array([1]),
                rigid_part=np.ones((1, 6), dtype=bool),
            ),
            "ux of node 1 is fixed or tied twice",
        ),
        (
            Ties(
                rigid_main=np.array([0, 1]),
                rigid_node=np.array([1, 0]),
                rigid_part=np.ones((2, 6), dtype=bool),
            ),
            "in a circle",
        ),
        (
            Ties(
                equation_dof=np.array([[0, 6]]),
                equation_coefficient=np.array([[0.0, 1.0]]),
                equation_value=np.zeros(1),
            ),
            "equation 0 has no first coefficient",
        ),
    ],
)
def test_ties_that_cannot_be_are_refused(ties, words):
    with pytest.raises(InputError, match=words):
        build_system(replace(chain(3), ties=ties))


def test_elements_on_missing_or_repeated_nodes_are_refused():
    model = chain(2)
    for node, words in (([[0, 7]], "nodes run from 0 to 1"), ([[1, 1]], "same node twice")):
        with pytest.raises(InputError, match=words):
            build_system(replace(model, springs=(springs("bad", node, 1.0),)))


def test_loads_of_a_wrong_shape_are_refused():
    with pytest.raises(InputError, match=r"\(12, cases\)"):
        solve_model(build_system(chain(2)), np.zeros((6, 1)))


def test_elements_of_one_shape_share_a_matrix_and_others_do_not():
    model, _ = plate(8, 8)
    group, rng = model.shells[0], np.random.default_rng(1)
    bent = model.xyz.copy()
    bent[:20] += 1e-6 * rng.normal(size=(20, 3))
    thickness = group.thickness.copy()
    thickness[40] *= 1.0 + 1e-6
    other = replace(model, xyz=bent, shells=(replace(group, thickness=thickness),))
    K = pattern_module.element_groups(other)[0].matrices(slice(0, 64))
    exact = shell_stiffness(bent[group.node], thickness, STEEL)
    np.testing.assert_allclose(K, exact, rtol=0.0, atol=1e-10 * exact.max())
    assert np.abs(K[40] - K[41]).max() > 1e-7 * exact.max()
