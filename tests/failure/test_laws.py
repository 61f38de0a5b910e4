"""Laws of single clamps from the project file, and bond that goes plane after plane."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from fea.failure.assembled import assembly
from fea.failure.cascade import cascade
from fea.failure.inputs import laws_of
from fea.failure.study import RoofCase
from fea.failure.thaw import follow_thaw
from roofmodel.project.uncertainty_schema import ThawTable, UncertaintyTable
from tests.failure.chains import beam_row

LAYOUT = SimpleNamespace(
    clamp_name=tuple(f"low-{i}" for i in range(1, 7)),
    clamp_row=np.zeros(6, dtype=int),
    row_name=("low",),
    row_plane=np.array([0]),
)


def project(**table):
    whole = SimpleNamespace(uncertainty=UncertaintyTable.model_validate(table))
    return SimpleNamespace(table=whole, layout=LAYOUT, path=SimpleNamespace(name="project.toml"))


def test_later_laws_count_and_what_is_not_named_stays_open():
    laws = laws_of(
        project(
            unzip=0.1,
            law=[
                {"clamps": "row low", "kind": "slip", "residual": 0.6},
                {"clamps": "low-2..low-3", "kind": "brittle", "unzip": 0.4},
                {"clamps": "low-5", "kind": "ductile"},
            ],
        ),
        1.0,
    )
    assert laws.residual == pytest.approx([0.6, 0.0, 0.0, 0.6, 1.0, 0.6])
    assert laws.unzip == pytest.approx([0.1, 0.4, 0.4, 0.1, 0.1, 0.1])
    some = laws_of(project(law=[{"clamps": "low-1", "kind": "ductile"}]), 1.0)
    assert np.isnan(some.residual[1:]).all()


def test_no_law_holds_more_than_ductile_clamps():
    """Static theorem of limit analysis: nothing that keeps to the strengths carries more than all of them."""
    rng = np.random.default_rng(2)
    Z, H = beam_row(9, EI=1.0)
    roof = assembly(Z, np.zeros(9, dtype=int), 1.0, 1e-13)
    load, strength = H @ np.ones(9), rng.uniform(0.6, 1.4, (200, 9))
    held = []
    for residual in (0.0, 0.5, 1.0):
        found = cascade(roof, np.zeros(9), load, strength, residual * strength, target=9.0)
        held.append(found.first_row)
    ductile = held[2]
    for other in held[:2]:
        assert (other <= ductile * (1.0 + 1e-9)).all()
        assert np.mean(other < 0.99 * ductile) > 0.5


@pytest.fixture
def two_planes():
    """Two rows of rigid bars on two planes, the second stronger."""
    Z = np.zeros((6, 6))
    for part in (slice(0, 3), slice(3, 6)):
        Z[part, part] = np.eye(3) - 1.0 / 3.0
    case = RoofCase(
        assembly(Z, np.repeat([0, 1], 3), 1.0, 1e-13),
        np.zeros(6),
        np.stack([np.ones(6), np.zeros(6)])[None],
        np.zeros(1),
        0.0,
        np.repeat([0.8, 0.5], 3),
        np.zeros(6),
        release=1.0,
    )
    layout = SimpleNamespace(row_plane=np.array([0, 1]), clamp_row=np.repeat([0, 1], 3))
    return case, SimpleNamespace(planes=SimpleNamespace(name=("S1", "N1"))), layout


@pytest.mark.parametrize("planes", [[], ["S1", "N1"], ["N1"]])
def test_bond_that_goes_plane_after_plane(two_planes, planes):
    """A clamp with strength R under a pull of 1 gives way when a share R of the bond of its plane is lost."""
    case, roof, layout = two_planes
    thaw = follow_thaw(case, roof, layout, ThawTable(planes=planes))
    at = thaw.course.at[0]
    place = {(): [0, 0], ("S1", "N1"): [0, 1], ("N1",): [1, 0]}[tuple(planes)]
    assert at == pytest.approx(np.repeat([place[0] + 0.8, place[1] + 0.5], 3), rel=1e-9)
    assert [thaw.bond_left(f)[0] for f in at] == np.repeat(place, 3).tolist()
    assert [thaw.bond_left(f)[1] for f in at] == pytest.approx(np.repeat([0.2, 0.5], 3), abs=1e-9)


def test_more_snow_needs_less_of_the_bond_gone(two_planes):
    case, roof, layout = two_planes
    thaw = follow_thaw(case, roof, layout, ThawTable(snow=2.0))
    assert thaw.course.at[0] == pytest.approx(np.repeat([0.4, 0.25], 3), rel=1e-9)
    weak = replace(case, capacity=np.full(6, 3.0))
    assert follow_thaw(weak, roof, layout, ThawTable(snow=2.0)).course.events[0] == 0


@pytest.mark.parametrize("planes", [["S1"], ["S1", "N1"], []])
def test_a_front_takes_the_bond_strip_after_strip(two_planes, planes):
    """Clamps whose snow lies in one strip each get it as the front passes there, and never before."""
    case, roof, layout = two_planes
    shares = np.tile(np.eye(3), (1, 2))  # first clamp of each row from the first strip, and so on
    strong = replace(case, capacity=np.tile([2.0, 0.5, 2.0], 2))
    still = replace(strong, roof=replace(case.roof, Z=np.zeros((6, 6))))  # one clamp gone, its row is
    table = ThawTable(planes=planes, thaw_from="left", thaw_steps=3)
    thaw = follow_thaw(still, roof, layout, table, shares)
    behind = {("S1",): 3.0, ("S1", "N1"): 3.0, (): 0.0}[tuple(planes)]
    assert thaw.course.at[0, :3] == pytest.approx(1.5)
    assert thaw.course.at[0, 3:] == pytest.approx(behind + (0.5 if planes == ["S1"] else 1.5))
    assert thaw.bond_left(0.5) == (0, pytest.approx(1.0 - 0.5 / 3.0))
    if planes == ["S1"]:
        assert thaw.bond_left(3.5) == (1, pytest.approx(0.5))
    if planes == ["S1", "N1"]:
        assert thaw.bond_left(5.0) == (1, pytest.approx(1.0 / 3.0))
