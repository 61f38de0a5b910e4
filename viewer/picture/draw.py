"""The picture of a check, from results to PNG."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from viewer.files import atomic
from viewer.picture.overlay import compose, drawing_box
from viewer.picture.render import SIZE, Renderer
from viewer.picture.scene import build_scene, choose_view, make_drawing
from viewer.picture.sheet import Overlay, paint


@dataclass(frozen=True)
class Picture:
    """What came of a picture: its path, or one line that says why there is none."""

    path: Path | None
    reason: str = ""


@dataclass(frozen=True)
class StartedPicture:
    """A picture whose 3D part is being drawn in the child."""

    renderer: Renderer
    overlay: Overlay


def start_picture(analysis: Analysis, renderer: Renderer, place: str = "") -> StartedPicture:
    """Lay the picture out and let the renderer draw; `finish_picture` waits for it.

    `place` says what rows do not bear a little out of their places, where that is known.
    """
    scene, size = build_scene(analysis), renderer.size
    view = choose_view(analysis, scene, drawing_box(scene, analysis.project.layout.row_name, size), size)
    renderer.draw(make_drawing(analysis, scene, view), view)
    return StartedPicture(renderer, compose(analysis, scene, view, place))


def finish_picture(started: StartedPicture, path: str | Path, band: int = 0) -> Picture:
    """Wait for the drawing, write the PNG whole or not at all; `band` pixels of the overlay lie below it."""
    pixels = started.renderer.pixels()
    if isinstance(pixels, str):
        return Picture(None, pixels)
    image = paint(*taller(pixels, started.overlay, band))
    with atomic(Path(path)) as temporary:
        image.save(temporary, format="PNG", compress_level=6)
    return Picture(Path(path))


def taller(pixels: NDArray[np.uint8], overlay: Overlay, band: int) -> tuple[NDArray[np.uint8], Overlay]:
    """The sheet with a band of paper below it. [px]."""
    padded = np.pad(pixels, ((0, band), (0, 0), (0, 0)), constant_values=255)
    return padded, replace(overlay, size=(overlay.size[0], overlay.size[1] + band))


def draw_utilization(analysis: Analysis, path: str | Path, *, size: tuple[int, int] = SIZE) -> Picture:
    """Draw the roof with snow, rows and clamps, and say what governs.

    Parameters
    ----------
    analysis : Analysis
    path : str or Path
        PNG file, written whole or not at all.
    size : (int, int)
        Width and height. [px]

    Returns
    -------
    Picture
        The path, or the reason why this machine cannot draw; results do not depend on it.
    """
    with Renderer(size) as renderer:
        return finish_picture(start_picture(analysis, renderer), path)
