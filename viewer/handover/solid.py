"""roof.glb and model.vtm: the roof with its rows for anybody's 3D viewer."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from viewer import style
from viewer.export import write_meshes
from viewer.files import atomic, write_text
from viewer.package.bill import warning
from viewer.picture.scene import Scene, build_scene
from viewer.version import version

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

SIDES = 12  # of a rail's tube
Y_UP = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])  # glTF has y up and -z north
Part = tuple[Array, IntArray, Array]  # points, triangles, colors of the points


def write_glb(analysis: Analysis, path: Path) -> None:
    """Write roof.glb: snow of the governing case, rails, and clamps by utilization.

    glTF 2.0 (Khronos): meters, y up, so east is x and north is -z. The node "roof" carries in its extras
    the map coordinates of the origin, the case, and the ends of the color scales.
    """
    import trimesh

    scene = build_scene(analysis)
    project = analysis.project
    radius = 0.5 * project.rail.section.depth_z
    parts = {
        "roof": _roof(scene),
        "building": _walls(scene),
        "rails": _rails(scene, radius),
        "clamps": _clamps(scene, max(0.5 * project.clamp.grip_length, 1.4 * radius)),
    }
    found = trimesh.Scene()
    for name, (points, faces, color) in parts.items():
        if not len(faces):
            continue
        mesh = trimesh.Trimesh(points @ Y_UP.T, faces, process=False)
        linear = style.linear_rgb(color)  # as glTF asks
        rgba = np.column_stack([np.rint(255.0 * linear), np.full(len(color), 255)]).astype(np.uint8)
        mesh.visual = trimesh.visual.ColorVisuals(mesh, vertex_colors=rgba)
        if name == "roof":
            mesh.metadata.update(
                {
                    "project": project.table.project.name,
                    "case": analysis.snow.cases[scene.case].name,
                    "origin_on_map_m": project.roof.offset.tolist(),
                    "snow_color_top_Pa": scene.pressure_top,
                    "utilization_color_top": style.UTILIZATION_TOP,
                    "warning": warning(analysis),
                    "generator": f"eavewright {version()}",
                }
            )
        found.add_geometry(mesh, node_name=name, geom_name=name)
    with atomic(path) as temporary:
        temporary.write_bytes(found.export(file_type="glb"))


def _quads(corners: Array, color: Array) -> Part:
    number = np.arange(4 * len(corners)).reshape(-1, 4)
    faces = np.concatenate([number[:, [0, 1, 2]], number[:, [0, 2, 3]]])
    return corners.reshape(-1, 3), faces, np.repeat(color, 4, axis=0)


def _roof(scene: Scene) -> Part:
    return _quads(scene.cells, style.snow_rgb(scene.pressure / scene.pressure_top))


def _walls(scene: Scene) -> Part:
    return _quads(scene.walls, np.tile(style.rgb(style.WALL), (len(scene.walls), 1)))


def _rails(scene: Scene, radius: float) -> Part:
    """Tubes along the rows, closed at their ends by nothing: nobody looks in."""
    way = scene.rows[:, 1] - scene.rows[:, 0]
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    side = np.cross(way, [0.0, 0.0, 1.0])
    side /= np.linalg.norm(side, axis=1, keepdims=True)
    up = np.cross(side, way)
    turn = np.linspace(0.0, 2.0 * np.pi, SIDES, endpoint=False)
    ring = radius * (np.cos(turn)[None, :, None] * side[:, None] + np.sin(turn)[None, :, None] * up[:, None])
    points = scene.rows[:, :, None] + ring[:, None]  # row, end, side
    index = np.arange(points.size // 3).reshape(len(way), 2, SIDES)
    a, b = index[:, 0], index[:, 1]
    a1, b1 = np.roll(a, -1, axis=1), np.roll(b, -1, axis=1)
    faces = np.concatenate(
        [np.stack([a, b1, b], axis=-1).reshape(-1, 3), np.stack([a, a1, b1], axis=-1).reshape(-1, 3)]
    )
    return points.reshape(-1, 3), faces, np.tile(style.rgb(style.MUTED), (points.size // 3, 1))


def _clamps(scene: Scene, radius: float) -> Part:
    """Octahedra at the rail's axis, in the colors of utilization."""
    corner = np.concatenate([np.eye(3), -np.eye(3)])
    face = np.array([[0, 1, 2], [1, 3, 2], [3, 4, 2], [4, 0, 2], [1, 0, 5], [3, 1, 5], [4, 3, 5], [0, 4, 5]])
    points = scene.clamps[:, None] + radius * corner
    faces = 6 * np.arange(len(scene.clamps))[:, None, None] + face
    return points.reshape(-1, 3), faces.reshape(-1, 3), np.repeat(style.utilization_rgb(scene.use), 6, axis=0)


def write_blocks(analysis: Analysis, folder: Path) -> None:
    """Write roof.vtu, rails.vtu and clamps.vtu, and model.vtm that opens the three together."""
    written = write_meshes(analysis, folder)
    blocks = "\n".join(
        f'    <DataSet index="{number}" name="{path.stem}" file="{path.name}"/>'
        for number, path in enumerate(written)
    )
    write_text(
        folder / "model.vtm",
        '<?xml version="1.0"?>\n'
        '<VTKFile type="vtkMultiBlockDataSet" version="1.0" byte_order="LittleEndian">\n'
        f"  <vtkMultiBlockDataSet>\n{blocks}\n  </vtkMultiBlockDataSet>\n</VTKFile>\n",
    )
