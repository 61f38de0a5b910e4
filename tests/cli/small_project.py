"""A small valid project as text, and ways to break it."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import viewer
from viewer.cli import main

MAIN = "from viewer.cli import main; main()"

GOOD = """\
[project]
name = "Test shed"
units = "SI"

[site]
standard = "EN 1991-1-3"
ground_snow = "1.8 kN/m^2"

[[roof.part]]
name = "shed"
shape = "shed"
footprint = "0 0, 6 0, 6 4, 0 4 m"
pitch = "20 deg"
fall = "180 deg"
eave_height = "3 m"

[surface]
slippery = true

[panel]
metal = "steel"
seam_spacing = "500 mm"
seam_height = "50 mm"
thickness = "0.63 mm"
anchorage = "9 kN"
anchorage_kind = "characteristic"
anchorage_factor = 1.33

[rail]
shape = "round tube"
diameter = "42 mm"
wall = "3 mm"
material = "aluminum"
yield_strength = "200 MPa"

[clamp]
height = "35 mm"
grip_length = "60 mm"
strength_kind = "characteristic"
factor = 1.33
stiffness = { along = "2.5 kN/mm", across = "1 kN/mm", pull = "4 kN/mm", rocking = "1200 N*m/rad" }
strength = { along = "7 kN", across = "3 kN", pull = "4 kN", push = "6 kN" }

[[row]]
name = "R1"
plane = "S1"
up = "0.6 m"

[design]
format = "EN"
"""

IMPORTED = re.sub(
    r"\[\[roof\.part\]\].*?(?=\[surface\])",
    '[roof]\nfile = "roof.stl"\nunit = "m"\nup = "z"\n\n',
    GOOD,
    flags=re.DOTALL,
)


US = 'standard = "ASCE/SEI 7-22"\nground_snow = "30 psf"\nrisk_category = "II"\nwinter_wind = 0.5'
EN = 'standard = "EN 1991-1-3"\nground_snow = "1.8 kN/m^2"'
SECOND_ROW = '[[row]]\nname = "{name}"\nplane = "S1"\nup = "{up}"\n{more}\n[design]'


def changed(old: str, new: str, text: str = GOOD) -> str:
    """The project with one piece of text replaced."""
    assert text.count(old) == 1, f"{old!r} is there {text.count(old)} times"
    return text.replace(old, new)


def outline(points: str) -> str:
    return changed("0 0, 6 0, 6 4, 0 4 m", points)


def row(more: str) -> str:
    return changed('up = "0.6 m"', f'up = "0.6 m"\n{more}')


def two_rows(name: str, up: str, more: str = "") -> str:
    return changed("[design]", SECOND_ROW.format(name=name, up=up, more=more))


def site(text: str, form: str = "EN") -> str:
    return changed(EN, text, changed('format = "EN"', f'format = "{form}"'))


def run(arguments: list[str], monkeypatch: pytest.MonkeyPatch) -> int:
    """Exit code of the command line, run in this process."""
    monkeypatch.setattr("sys.argv", ["eavewright", *arguments])
    try:
        main()
    except SystemExit as stop:
        return int(stop.code or 0)
    return 0


def command(*arguments: str, folder: Path, code: str = MAIN) -> subprocess.CompletedProcess[str]:
    """Run the command line as its own process."""
    root = str(Path(viewer.__file__).parents[1])
    return subprocess.run(
        [sys.executable, "-c", code, *arguments],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": root, "NO_COLOR": "1", "COLUMNS": "80"},
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def gable_mesh(width: float = 8.0, length: float = 10.0, rise: float = 2.0) -> tuple[np.ndarray, np.ndarray]:
    """Points and triangles of a gable roof without walls, ridge along x."""
    w, r = 0.5 * width, rise
    points = np.array(
        [[0, -w, 0], [length, -w, 0], [length, 0, r], [0, 0, r], [length, w, 0], [0, w, 0]], dtype=float
    )
    return points, np.array([[0, 1, 2], [0, 2, 3], [3, 2, 4], [3, 4, 5]])


def stl(points: np.ndarray, faces: np.ndarray) -> str:
    """ASCII STL."""
    lines = ["solid roof"]
    for corners in points[faces]:
        lines += ["facet normal 0 0 0", "outer loop"]
        lines += [f"vertex {x:.9g} {y:.9g} {z:.9g}" for x, y, z in corners]
        lines += ["endloop", "endfacet"]
    return "\n".join([*lines, "endsolid roof", ""])


def put(folder: Path, text: str | bytes, name: str = "project.toml") -> Path:
    """Write a file into a folder."""
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def refused(
    text: str | bytes,
    words: list[str],
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    capfd: pytest.CaptureFixture[str],
    name: str = "check",
) -> None:
    """Exit code 2, nothing written, one line that holds every word ("a|b": one of them)."""
    project, out = put(folder, text), folder / "out"
    code = run([name, str(project), "--out", str(out)], monkeypatch)
    told = capfd.readouterr()
    assert code == 2, told.err
    assert told.out == ""
    assert told.err.count("\n") == 1
    assert told.err.endswith("\n")
    assert len(told.err) < 500, "a line that nobody reads"
    assert told.err.startswith("eavewright: project.toml: ")
    for word in words:
        assert any(one in told.err for one in word.split("|")), f"{word!r} is not in: {told.err}"
    assert not any(bad in told.err for bad in ("Traceback", "Warning", "internal error", "\x1b"))
    assert sorted(p.name for p in folder.iterdir()) == ["project.toml"], "nothing may be written"
