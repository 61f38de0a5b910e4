"""The 3D part of a picture, drawn by PyVista in a child process.

Without a usable OpenGL, VTK ends the process instead of raising, and it writes to the terminal on its own.
So the parent starts a child, which loads PyVista while the parent still computes, hands it plain arrays,
goes on with its own work, and takes the pixels or a reason.
"""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from viewer.picture.camera import View

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

SIZE = (2000, 1400)  # width and height [px]
DRAWING, PIXELS = "drawing{}.npz", "pixels{}.npy"  # files between parent and child, numbered
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
    """A child process that is ready to draw pictures; close it, or use it in a with block."""

    def __init__(self, size: tuple[int, int] = SIZE) -> None:
        self.size = size
        self._folder = tempfile.TemporaryDirectory(prefix="eavewright-")
        self._count = 0  # drawings handed over
        self._ended: str | None = None  # "" or why nothing was drawn, once the child has ended
        self._child = self._start(WINDOWS[0])

    def __enter__(self) -> Renderer:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()

    def close(self) -> None:
        """End the child and drop its files."""
        if self._child.poll() is None:
            self._child.kill()
            self._child.communicate()
        self._folder.cleanup()

    def _start(self, window: str) -> subprocess.Popen[bytes]:
        environment = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY")}
        if window:
            environment["VTK_DEFAULT_OPENGL_WINDOW"] = window
        root = str(Path(__file__).resolve().parents[__name__.count(".")])
        environment["PYTHONPATH"] = os.pathsep.join(filter(None, [root, os.environ.get("PYTHONPATH")]))
        return subprocess.Popen(
            [sys.executable, "-m", __name__, self._folder.name, *map(str, self.size)],
            env=environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
        )

    def draw(self, drawing: Drawing, view: View) -> int:
        """Hand over what is to be drawn; returns its number at once. All come before the first `pixels`."""
        reach = float(np.ptp(drawing.points, axis=0).max())
        number = self._count
        np.savez(
            Path(self._folder.name, DRAWING.format(number)),
            camera=np.stack([view.focus + 4.0 * reach * view.toward, view.focus, view.up]),
            parallel_scale=np.array(0.5 * view.size[1] / view.scale),
            **vars(drawing),
        )
        self._count += 1
        self._go(number)
        return number

    def _go(self, number: int) -> None:
        assert self._child.stdin is not None
        with contextlib.suppress(OSError):  # a child that has ended says why through its exit code
            self._child.stdin.write(f"{number}\n".encode())
            self._child.stdin.flush()

    def pixels(self, number: int = 0) -> NDArray[np.uint8] | str:
        """Wait for a picture (h, w, 3), or the reason in one line why there is none."""
        if self._ended is None:
            self._ended = self._wait()
            for window in WINDOWS[1:]:
                if self._ended != NO_OPENGL:
                    break
                self._child = self._start(window)
                for again in range(self._count):
                    self._go(again)
                self._ended = self._wait() and NO_OPENGL
        return self._ended or np.asarray(
            np.load(Path(self._folder.name, PIXELS.format(number))), dtype=np.uint8
        )

    def _wait(self) -> str:
        try:
            _, said = self._child.communicate(timeout=TIME_LIMIT)
        except subprocess.TimeoutExpired:
            self._child.kill()
            self._child.communicate()
            return f"drawing took longer than {TIME_LIMIT:.0f} s"
        drawn = all(Path(self._folder.name, PIXELS.format(k)).exists() for k in range(self._count))
        if self._child.returncode == 0 and drawn:
            return ""
        if self._child.returncode < 0:  # ended by a signal
            return NO_OPENGL
        lines = said.decode(errors="replace").strip().splitlines()
        return lines[-1].strip() if lines else NO_OPENGL


def draw(folder: Path, size: tuple[int, int]) -> None:
    """Draw the arrays of files in a folder and save the pixels (h, w, 3) uint8 of each; runs in the child.

    Their numbers come line by line.
    """
    import pyvista

    plotter = pyvista.Plotter(off_screen=True, window_size=list(size), lighting="none")
    plotter.set_background("white")
    plotter.add_light(pyvista.Light(light_type="headlight"))
    plotter.render_window.SetMultiSamples(8)
    plotter.show(auto_close=False)  # wakes OpenGL while the parent still computes
    for line in sys.stdin:  # ends when the parent waits, or has gone without a picture
        number = int(line)
        plotter.clear_actors()
        _draw(plotter, np.load(folder / DRAWING.format(number)))
        pixels = plotter.screenshot(return_img=True, transparent_background=False)
        np.save(folder / PIXELS.format(number), pixels)


def _draw(plotter: Any, data: Any) -> None:
    """Draw the arrays of one picture."""
    import pyvista

    # Without light VTK adds ambient and diffuse: they must make one for true colors.
    still = {"render": False, "reset_camera": False}
    flat = {"lighting": False, "ambient": 1.0, "diffuse": 0.0, "specular": 0.0, **still}
    polygons = pyvista.PolyData(data["points"].astype(np.float32), faces=data["faces"])
    plotter.add_mesh(polygons, scalars=data["point_rgb"], rgb=True, **flat)
    for line_width in np.unique(data["line_width"]):
        chosen = data["line_width"] == line_width
        lines = _segments(data["lines"][chosen])
        lines.cell_data["rgb"] = data["line_rgb"][chosen]
        plotter.add_mesh(lines, scalars="rgb", rgb=True, line_width=float(line_width), **flat)
    if len(data["tubes"]):
        tubes = _segments(data["tubes"]).tube(radius=float(data["tube_radius"]), n_sides=18, capping=True)
        plotter.add_mesh(
            tubes, color=data["tube_rgb"] / 255.0, ambient=0.4, diffuse=0.65, specular=0.3, **still
        )
    plotter.camera_position = [tuple(point) for point in data["camera"]]
    plotter.enable_parallel_projection()
    plotter.camera.parallel_scale = float(data["parallel_scale"])
    plotter.reset_camera_clipping_range()
    plotter.render()


def _segments(ends: Array) -> Any:
    """PyVista lines from (n, 2, 3) ends."""
    import pyvista

    count = len(ends)
    cells = np.column_stack([np.full(count, 2), np.arange(2 * count).reshape(-1, 2)])
    return pyvista.PolyData(ends.reshape(-1, 3).astype(np.float32), lines=cells.ravel())


if __name__ == "__main__":
    draw(Path(sys.argv[1]), (int(sys.argv[2]), int(sys.argv[3])))
