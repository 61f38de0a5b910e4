"""A model that floats is told in words: part and direction."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fea.model.assembly import build_system
from fea.model.data import GROUND, Model, Springs, Ties, node_dof
from fea.model.diagnosis import FloatingError, diagnose
from fea.model.solution import solve_model
from fea.solvers.direct import SingularError
from roofmodel.errors import InputError
from tests.model.frames import chain, fix, plate, springs


def words(model):
    with pytest.raises(FloatingError) as caught:
        solve_model(build_system(model), np.ones((model.dof_count, 1)))
    assert isinstance(caught.value, InputError)
    assert isinstance(caught.value, SingularError)
    text = str(caught.value)
    assert "\n" not in text
    return text


def test_a_loose_plate_moves_and_turns_every_way():
    model, _ = plate(name="rib")
    assert "part 'rib' is not held: it can move along x and y and z and turn about x and y and z" in words(
        model
    )


@pytest.mark.parametrize(
    ("free", "text"),
    [
        ([0], "it can move along x."),
        ([4], "it can turn about y."),
        ([0, 4], "it can move along x and turn about y."),
        ([1, 2, 3], "it can move along y and z and turn about x."),
    ],
)
def test_directions_that_a_support_leaves_free(free, text):
    model, _ = plate(name="pan")
    held = np.setdiff1d(np.arange(6), free)
    dof = node_dof(np.array([0]))[0, held]
    model = replace(model, ties=Ties(fixed_dof=dof, fixed_value=np.zeros(len(dof))))
    assert text in words(model)


def test_a_hinge_line_lets_turn_about_an_oblique_axis():
    model, _ = plate(4, 4)
    nodes = [0, len(model.xyz) - 1]  # opposite corners of 2 x 1 m
    dof = node_dof(np.array(nodes))[:, :3].ravel()
    model = replace(model, ties=Ties(fixed_dof=dof, fixed_value=np.zeros(6)))
    assert "it can turn about (0.89, 0.45, 0.00)" in words(model)


def test_only_the_floating_one_of_two_parts_is_named():
    held, edge = plate(name="pan")
    loose, _ = plate(3, 3, name="rib", lift=0.3)
    shift = len(held.xyz)
    group = replace(loose.shells[0], node=loose.shells[0].node + shift)
    model = Model(np.concatenate([held.xyz, loose.xyz]), shells=(held.shells[0], group), ties=fix(edge))
    text = words(model)
    assert "part 'rib'" in text
    assert "pan" not in text


def test_a_node_without_elements_and_a_direction_without_stiffness():
    model, edge = plate()
    alone = replace(model, xyz=np.concatenate([model.xyz, [[9.0, 9.0, 9.0]]]), ties=fix(edge))
    assert f"node {len(model.xyz)} belongs to no element" in words(alone)
    soft = Model(np.zeros((1, 3)), springs=(springs("clip", [[0, GROUND]], [1.0, 1.0, 0.0, 1.0, 1.0, 1.0]),))
    assert "uz of node 0 has no stiffness" in words(soft)


def test_a_mechanism_inside_a_held_chain_names_its_place():
    model = chain(5)
    stiffness = model.springs[0].stiffness.copy()
    stiffness[3, 1, 1] = 0.0  # lets nodes 3 and 4 slide
    model = replace(model, springs=(replace(model.springs[0], stiffness=stiffness),))
    text = words(model)
    assert "part 'chain'" in text
    assert "along y" in text


def test_too_uneven_stiffness_is_refused():
    model = Model(
        np.zeros((2, 3)),
        springs=(springs("soft", [[0, GROUND]], 1e-7), springs("hard", [[0, 1]], 1e9)),
    )
    assert "model:" in words(model)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(0, 5), min_size=1, max_size=5, unique=True), st.integers(0, 2))
def test_random_parts_are_found(free, which):
    parts = [plate(2, 2, name=f"part {i}", lift=float(i))[0] for i in range(3)]
    size = len(parts[0].xyz)
    shells = tuple(replace(p.shells[0], node=p.shells[0].node + i * size) for i, p in enumerate(parts))
    dof = [
        node_dof(np.array([i * size + 4]))[
            0, np.setdiff1d(np.arange(6), free) if i == which else np.arange(6)
        ]
        for i in range(3)
    ]
    fixed = np.concatenate(dof)
    model = Model(
        np.concatenate([p.xyz for p in parts]), shells=shells, ties=Ties(fixed, np.zeros(len(fixed)))
    )
    text = words(model)
    assert f"part 'part {which}' is not held" in text
    moves = [f"{'xyz'[i]}" for i in sorted(free) if i < 3]
    turns = [f"{'xyz'[i - 3]}" for i in sorted(free) if i > 2]
    told = [
        f"{verb} {' and '.join(axes)}"
        for verb, axes in (("move along", moves), ("turn about", turns))
        if axes
    ]
    assert f"it can {' and '.join(told)}." in text


@pytest.mark.parametrize("soft", [1e-3, 1e-6, 1e-8])
def test_what_is_held_softly_is_not_said_to_float(soft):
    """A spring of a hundred-millionth of the sheet's stiffness still holds."""
    model, _ = plate(name="pan")
    stiff = build_system(model).upper.diagonal().max()
    dof = node_dof(np.array([0]))[0, 1:]
    pair = np.array([[0, GROUND]])
    K = np.zeros((1, 6, 6))
    K[0, 0, 0] = soft * stiff
    spring = Springs("hold", pair, K, np.eye(3)[None])
    held = replace(model, springs=(spring,), ties=Ties(fixed_dof=dof, fixed_value=np.zeros(len(dof))))
    assert diagnose(build_system(held)) == ""
    loose = replace(held, springs=())
    assert "move along x" in diagnose(build_system(loose))
