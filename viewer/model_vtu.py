"""The model that was solved, with its results, as a VTU file for any VTK-based viewer."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fea.elements.shells import Resultants, shell_resultants, surface_stress
from fea.model.data import GROUND, Model, Shells, node_dof
from viewer.files import atomic

if TYPE_CHECKING:
    import meshio

Array = NDArray[np.float64]

_CELL = {3: "triangle", 4: "quad"}


def parts(model: Model) -> tuple[str, ...]:
    """Names of the parts in the order of their numbers in the file."""
    names = [group.name for group in model.shells] + [group.name for group in model.beams]
    names += [group.name for group in model.springs] + [group.name for group in model.contacts]
    return tuple(names)


def shell_fields(model: Model, displacement: Array) -> list[Resultants]:
    """Resultants of every shell group from displacements alone, without strains of temperature."""
    return [
        shell_resultants(
            model.xyz[group.node],
            group.thickness,
            group.material,
            displacement[node_dof(group.node).reshape(len(group.node), -1)],
        )
        for group in model.shells
    ]


def _cells(model: Model) -> list[tuple[int, str, NDArray[np.int64]]]:
    """Part number, kind and nodes of every block of cells, shells first; grounded springs are points."""
    blocks = [(_CELL[group.node.shape[1]], group.node) for group in model.shells]
    blocks += [("line", group.node) for group in model.beams]
    numbered = [(part, kind, node) for part, (kind, node) in enumerate(blocks)]
    for part, springs in enumerate(model.springs, len(blocks)):
        grounded = (springs.node == GROUND).any(axis=1)
        numbered.append((part, "line", springs.node[~grounded]))
        numbered.append((part, "vertex", springs.node[grounded].max(axis=1)[:, None]))
    first = len(blocks) + len(model.springs)
    numbered += [(part, "vertex", group.node[:, None]) for part, group in enumerate(model.contacts, first)]
    return [block for block in numbered if len(block[2])]


def _shell_data(group: Shells, found: Resultants, names: Sequence[str]) -> dict[str, Array]:
    """Fields at the centers of the elements of one group."""
    stress = surface_stress(found, group.thickness)[:, 0]
    data = {}
    for q, name in enumerate(names):
        data[f"von Mises top Pa, {name}"] = stress[:, 0, q]
        data[f"von Mises bottom Pa, {name}"] = stress[:, 1, q]
        data[f"membrane force N/m, {name}"] = found.membrane[:, 0, :, q]
        data[f"bending moment N, {name}"] = found.moment[:, 0, :, q]
    return data


def model_mesh(
    model: Model, displacement: Array, names: Sequence[str], resultants: Sequence[Resultants] | None = None
) -> meshio.Mesh:
    """Mesh with displacements at nodes and stresses, resultants and part numbers on elements.

    Parameters
    ----------
    model : Model
    displacement : (d, q) float
        [m, rad]
    names : sequence of str, (q,)
        Load cases.
    resultants : sequence of Resultants, optional
        One for each shell group; taken from the displacements alone when left out, which is right without
        change of temperature.

    Returns
    -------
    meshio.Mesh
        Components of resultants are xx, yy, xy in the element's own axes. Elements that are no shells
        carry NaN there.
    """
    import meshio

    n = len(model.xyz)
    found = shell_fields(model, displacement) if resultants is None else list(resultants)
    moved = displacement[: 6 * n].reshape(n, 6, len(names))
    points: dict[str, Any] = {}
    for q, name in enumerate(names):
        points[f"displacement m, {name}"] = moved[:, :3, q]
        points[f"rotation rad, {name}"] = moved[:, 3:, q]
    for name, nodes in model.sets.items():
        points[f"set {name}"] = np.isin(np.arange(n), nodes).astype(float)
    cells = _cells(model)
    filled = [
        _shell_data(group, field, names)
        for group, field in zip(model.shells, found, strict=True)
        if len(group.node)
    ]
    data: dict[str, list[Any]] = {"part": [np.full(len(node), part) for part, _, node in cells]}
    for key in filled[0] if filled else {}:
        width = filled[0][key].shape[1:]
        blank = [np.full((len(node), *width), np.nan) for _, _, node in cells[len(filled) :]]
        data[key] = [block[key] for block in filled] + blank
    blocks = [(kind, node) for _, kind, node in cells]
    return meshio.Mesh(model.xyz, blocks, point_data=points, cell_data=data)


def write_model(
    path: Path,
    model: Model,
    displacement: Array,
    names: Sequence[str],
    resultants: Sequence[Resultants] | None = None,
) -> None:
    """Write `model_mesh` atomically.

    Parameters
    ----------
    path : Path
        Ends in .vtu.
    model, displacement, names, resultants
        See `model_mesh`.

    Raises
    ------
    InputError
        The file cannot be written.
    """
    mesh = model_mesh(model, displacement, names, resultants)
    with atomic(path) as temporary:
        mesh.write(temporary, file_format="vtu")
