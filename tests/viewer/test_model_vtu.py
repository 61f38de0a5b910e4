"""The solved model as VTU: what is read back is what was solved."""

import meshio
import numpy as np
import pytest

from fea.elements.beam_data import Beams, BeamStiffness
from fea.model.data import GROUND, Contacts, Model, Shells, Springs, Ties
from roofmodel.errors import InputError
from roofmodel.hardware import Material
from viewer.model_vtu import parts, write_model

STEEL = Material("steel", E=210e9, G=210e9 / 2.6, alpha=12e-6, density=7850.0, yield_strength=250e6)


def mixed_model() -> Model:
    """Two quads, two triangles, a beam, springs to the ground and between nodes, a contact."""
    x, y = np.meshgrid(np.arange(4.0), np.arange(2.0), indexing="ij")
    xyz = np.stack([x.ravel(), y.ravel(), np.zeros(8)], axis=1)
    xyz = np.concatenate([xyz, [[3.0, 0.0, 0.0]]])
    stiffness = BeamStiffness(1e6, np.eye(2), np.zeros(2), 1.0, 0.0, np.zeros(2), 0.0)
    return Model(
        xyz=xyz,
        shells=(
            Shells("pan", np.array([[0, 2, 3, 1], [2, 4, 5, 3]]), np.full(2, 0.01), STEEL),
            Shells("end", np.array([[4, 6, 7], [4, 7, 5]]), np.full(2, 0.01), STEEL),
        ),
        beams=(
            Beams(
                "rail", np.array([[0, 1]]), stiffness, np.array([[1.0, 0, 0]]), np.zeros((1, 2, 3)),
                np.zeros((1, 2, 7), dtype=bool), np.full((1, 2), -1),
            ),
        ),
        springs=(
            Springs(
                "clips", np.array([[0, GROUND], [6, 8]]), np.repeat(np.eye(6)[None], 2, axis=0),
                np.repeat(np.eye(3)[None], 2, axis=0),
            ),
        ),
        contacts=(Contacts("deck", np.array([7]), np.array([[0, 0, 1.0]]), np.ones(1), np.zeros(1)),),
        ties=Ties(),
        sets={"eave": np.array([0, 1])},
    )  # fmt: skip


def test_fields_read_back(tmp_path):
    model = mixed_model()
    strain = 1e-4
    u = np.zeros((model.dof_count, 2))
    u[0::6, 0] = strain * model.xyz[:, 0]
    u[2::6, 1] = 0.5 * model.xyz[:, 0]  # turned as a rigid body
    u[4::6, 1] = -0.5
    write_model(tmp_path / "model.vtu", model, u, ["stretch", "turn"])
    mesh = meshio.read(tmp_path / "model.vtu")
    assert mesh.points == pytest.approx(model.xyz)
    assert mesh.point_data["displacement m, stretch"][:, 0] == pytest.approx(strain * model.xyz[:, 0])
    assert mesh.point_data["rotation rad, turn"][:, 1] == pytest.approx(-0.5)
    assert np.flatnonzero(mesh.point_data["set eave"]).tolist() == [0, 1]
    shell = [i for i, block in enumerate(mesh.cells) if block.type in ("quad", "triangle")]
    # plane stress under one strain: von Mises of (E e, nu E e) / (1 - nu^2)
    stress = STEEL.E * strain / (1.0 - 0.09) * np.sqrt(1.0 - 0.3 + 0.09)
    for i in shell:
        for face in ("top", "bottom"):
            assert mesh.cell_data[f"von Mises {face} Pa, stretch"][i] == pytest.approx(stress, rel=1e-9)
            assert mesh.cell_data[f"von Mises {face} Pa, turn"][i] == pytest.approx(0.0, abs=1e-3)
        force = mesh.cell_data["membrane force N/m, stretch"][i]
        assert force[:, :2].sum(axis=1) == pytest.approx(STEEL.E * strain * 0.01 * 1.3 / 0.91, rel=1e-9)


def test_every_part_is_there_with_its_number(tmp_path):
    model = mixed_model()
    write_model(tmp_path / "model.vtu", model, np.zeros((model.dof_count, 1)), ["rest"])
    mesh = meshio.read(tmp_path / "model.vtu")
    found = {}
    for block, part in zip(mesh.cells, mesh.cell_data["part"], strict=True):
        for number in np.unique(part):
            found.setdefault(parts(model)[int(number)], set()).add(block.type)
    assert found == {
        "pan": {"quad"},
        "end": {"triangle"},
        "rail": {"line"},
        "clips": {"vertex", "line"},
        "deck": {"vertex"},
    }
    assert np.isnan(mesh.cell_data["von Mises top Pa, rest"][-1]).all()


def test_folder_that_is_not_there(tmp_path):
    model = mixed_model()
    with pytest.raises(InputError, match="cannot be written"):
        write_model(tmp_path / "no" / "model.vtu", model, np.zeros((model.dof_count, 1)), ["rest"])
