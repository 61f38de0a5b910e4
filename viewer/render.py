"""The 3D part of a picture, drawn by VTK in a child process.

Without a usable OpenGL, VTK ends the process instead of raising, and it writes to the terminal on its own.
So the parent hands plain arrays to a child, goes on with its own work, and takes the pixels or a reason.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from viewer.camera import View

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

TIME_LIMIT = 120.0  # [s]
NO_OPENGL = (
    "no usable OpenGL on this machine; on Debian or Ubuntu: "
    "apt-get install libegl1 libgl1 libgl1-mesa-dri libxrender1"
)
# The second try helps where only the off-screen library of Mesa is installed.
WINDOWS = ("", "vtkOSOpenGLRenderWindow")


@dataclass(frozen=True)
class Drawing:
    """What the child draws: polygons in plain color, lines in plain color, tubes in light and shade.

    Attributes
    ----------
    points : (n, 3) float
        Corners of the polygons. [m]
    point_rgb : (n, 3) uint8
    faces : (k,) int
        Count and corners of each polygon, one after the other.
    lines : (m, 2, 3) float
        [m]
    line_rgb : (m, 3) uint8
    line_width : (m,) float
        [px]
    tubes : (r, 2, 3) float
        [m]
    tube_radius : float
        [m]
    tube_rgb : (3,) uint8
    """

    points: Array
    point_rgb: NDArray[np.uint8]
    faces: IntArray
    lines: Array
    line_rgb: NDArray[np.uint8]
    line_width: Array
    tubes: Array
    tube_radius: float
    tube_rgb: NDArray[np.uint8]


class Renderer:
    """A child process that is drawing."""

    def __init__(self, drawing: Drawing, view: View) -> None:
        self._folder = tempfile.TemporaryDirectory(prefix="eavewright-")
        folder = Path(self._folder.name)
        self._input, self._output = folder / "drawing.npz", folder / "pixels.npy"
        reach = float(np.ptp(drawing.points, axis=0).max())
        np.savez(
            self._input,
            camera=np.stack([view.focus, view.focus + 4.0 * reach * view.toward, view.up]),
            window=np.array(view.size),
            parallel_scale=np.array(0.5 * view.size[1] / view.scale),
            **vars(drawing),
        )
        self._child = self._start(WINDOWS[0])

    def _start(self, window: str) -> subprocess.Popen[bytes]:
        environment = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY")}
        if window:
            environment["VTK_DEFAULT_OPENGL_WINDOW"] = window
        root = str(Path(__file__).resolve().parent.parent)
        environment["PYTHONPATH"] = os.pathsep.join(filter(None, [root, os.environ.get("PYTHONPATH")]))
        return subprocess.Popen(
            [sys.executable, "-m", "viewer.render", str(self._input), str(self._output)],
            env=environment,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
        )

    def pixels(self) -> NDArray[np.uint8] | str:
        """Wait for the picture (h, w, 3), or the reason in one line why there is none."""
        try:
            reason = self._wait()
            for window in WINDOWS[1:]:
                if reason != NO_OPENGL:
                    break
                self._child = self._start(window)
                if not self._wait():
                    reason = ""
                    break
            if reason:
                return reason
            return np.asarray(np.load(self._output), dtype=np.uint8)
        finally:
            self._folder.cleanup()

    def _wait(self) -> str:
        try:
            _, said = self._child.communicate(timeout=TIME_LIMIT)
        except subprocess.TimeoutExpired:
            self._child.kill()
            self._child.communicate()
            return f"drawing took longer than {TIME_LIMIT:.0f} s"
        if self._child.returncode == 0 and self._output.exists():
            return ""
        if self._child.returncode < 0:  # ended by a signal
            return NO_OPENGL
        lines = said.decode(errors="replace").strip().splitlines()
        return lines[-1].strip() if lines else NO_OPENGL


def draw(source: Path, target: Path) -> None:
    """Draw the arrays of a file and save the pixels (h, w, 3) uint8; runs in the child."""
    # VTK's own modules: PyVista would load its plotting library too, which takes longer than the picture.
    from vtkmodules import vtkRenderingOpenGL2  # noqa: F401
    from vtkmodules.util.numpy_support import vtk_to_numpy
    from vtkmodules.vtkRenderingCore import (
        vtkLight,
        vtkRenderer,
        vtkRenderWindow,
        vtkWindowToImageFilter,
    )

    data = np.load(source)
    scene = vtkRenderer()
    scene.SetBackground(1.0, 1.0, 1.0)
    light = vtkLight()
    light.SetLightTypeToHeadlight()
    scene.AddLight(light)
    for actor in _actors(data):
        scene.AddActor(actor)
    window = vtkRenderWindow()
    window.OffScreenRenderingOn()
    window.SetMultiSamples(8)
    window.SetSize(*(int(n) for n in data["window"]))
    window.AddRenderer(scene)
    camera = scene.GetActiveCamera()
    focus, position, up = data["camera"]
    camera.SetFocalPoint(*focus)
    camera.SetPosition(*position)
    camera.SetViewUp(*up)
    camera.ParallelProjectionOn()
    camera.SetParallelScale(float(data["parallel_scale"]))
    scene.ResetCameraClippingRange()
    window.Render()
    grab = vtkWindowToImageFilter()
    grab.SetInput(window)
    grab.SetInputBufferTypeToRGB()
    grab.ReadFrontBufferOff()
    grab.Update()
    image = grab.GetOutput()
    width, height, _ = image.GetDimensions()
    pixels = vtk_to_numpy(image.GetPointData().GetScalars()).reshape(height, width, 3)[::-1]
    np.save(target, pixels)


def _actors(data: Mapping[str, Any]) -> list[Any]:
    """Everything that is drawn: polygons, lines by width, tubes."""
    from vtkmodules.vtkFiltersCore import vtkTubeFilter

    polygons = _poly_data(data["points"])
    polygons.SetPolys(_cell_array(data["faces"]))
    polygons.GetPointData().SetScalars(_colors(data["point_rgb"]))
    actors = [_actor(polygons, lit=False)]
    for line_width in np.unique(data["line_width"]):
        chosen = data["line_width"] == line_width
        lines = _segments(data["lines"][chosen])
        lines.GetCellData().SetScalars(_colors(data["line_rgb"][chosen]))
        actor = _actor(lines, lit=False)
        actor.GetProperty().SetLineWidth(float(line_width))
        actors.append(actor)
    if len(data["tubes"]):
        tube = vtkTubeFilter()
        tube.SetInputData(_segments(data["tubes"]))
        tube.SetRadius(float(data["tube_radius"]))
        tube.SetNumberOfSides(18)
        tube.CappingOn()
        tube.Update()
        actor = _actor(tube.GetOutput(), lit=True)
        actor.GetProperty().SetColor(*(data["tube_rgb"] / 255.0))
        actors.append(actor)
    return actors


def _actor(mesh: Any, *, lit: bool) -> Any:
    from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

    mapper = vtkPolyDataMapper()
    mapper.SetInputData(mesh)
    actor = vtkActor()
    actor.SetMapper(mapper)
    look = actor.GetProperty()
    look.SetLighting(lit)
    # Without light VTK still adds ambient and diffuse: they must make one for true colors.
    look.SetAmbient(0.4 if lit else 1.0)
    look.SetDiffuse(0.65 if lit else 0.0)
    look.SetSpecular(0.3 if lit else 0.0)
    return actor


def _poly_data(points: Array) -> Any:
    from vtkmodules.util.numpy_support import numpy_to_vtk
    from vtkmodules.vtkCommonCore import vtkPoints
    from vtkmodules.vtkCommonDataModel import vtkPolyData

    corners = vtkPoints()
    corners.SetData(numpy_to_vtk(np.ascontiguousarray(points, dtype=np.float32), deep=True))
    mesh = vtkPolyData()
    mesh.SetPoints(corners)
    return mesh


def _segments(ends: Array) -> Any:
    mesh = _poly_data(ends.reshape(-1, 3))
    count = len(ends)
    mesh.SetLines(
        _cell_array(np.column_stack([np.full(count, 2), np.arange(2 * count).reshape(-1, 2)]).ravel())
    )
    return mesh


def _cell_array(cells: IntArray) -> Any:
    """VTK cells from count and corners of each, one after the other."""
    from vtkmodules.util.numpy_support import numpy_to_vtkIdTypeArray
    from vtkmodules.vtkCommonDataModel import vtkCellArray

    array = vtkCellArray()
    array.ImportLegacyFormat(numpy_to_vtkIdTypeArray(np.ascontiguousarray(cells, dtype=np.int64), deep=True))
    return array


def _colors(rgb: NDArray[np.uint8]) -> Any:
    from vtkmodules.util.numpy_support import numpy_to_vtk

    return numpy_to_vtk(np.ascontiguousarray(rgb), deep=True)


if __name__ == "__main__":
    draw(Path(sys.argv[1]), Path(sys.argv[2]))
