"""Time of the blanket on a 40 x 15 m plane with two rows: 60,000 cells, both states, from scratch.

Prints wall time and this process's own time, which does not feel other work on the machine.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

from fea.blanket.study import study_blanket
from roofmodel.project.load import load_project

PROJECT = """
[project]
name = "Long shed"
[site]
standard = "EN 1991-1-3"
ground_snow = "1.5 kN/m^2"
[[roof.part]]
name = "shed"
shape = "shed"
footprint = "0 0, 40 0, 40 13.6, 0 13.6 m"
pitch = "25 deg"
fall = "180 deg"
eave_height = "3 m"
[surface]
slippery = true
[panel]
metal = "steel"
seam_spacing = "400 mm"
seam_height = "50 mm"
thickness = "0.63 mm"
[rail]
shape = "round tube"
diameter = "42 mm"
wall = "3 mm"
material = "steel"
yield_strength = "235 MPa"
[clamp]
height = "35 mm"
grip_length = "60 mm"
strength_kind = "design"
stiffness = { along = "2.5 kN/mm", across = "1 kN/mm", pull = "4 kN/mm" }
strength = { along = "6 kN", across = "3 kN", pull = "4 kN", push = "6 kN" }
[[row]]
name = "low"
plane = "S1"
up = "0.5 m"
[[row]]
name = "high"
plane = "S1"
up = "7 m"
[blanket]
mesh = "MESH"
[design]
format = "EN"
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="a coarse mesh only")
    quick = parser.parse_args().quick
    for mesh in ("0.5 m",) if quick else ("0.5 m", "0.2 m", "0.1 m"):
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "project.toml"
            path.write_text(PROJECT.replace("MESH", mesh))
            project = load_project(path)
            wall, own = time.perf_counter(), time.process_time()
            study = study_blanket(project)
            wall, own = time.perf_counter() - wall, time.process_time() - own
        cells = len(study.answers[0].view.layer.corner)
        steps = sum(answer.view.state.steps for answer in study.answers)
        print(f"{mesh}: {cells:,} cells, {steps} last steps, {wall:.1f} s ({own:.1f} s of this process)")


if __name__ == "__main__":
    main()
