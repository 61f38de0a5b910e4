"""What a person waits for in the browser app, in Chromium: first view, a drag's numbers, turning a fine roof.

Run: python benchmarks/app_browser.py [--quick]

Bars of the project: first view under 3 s from the command; from a dragged row to its numbers on screen under
250 ms; a roof of 200,000 faces turns smoothly. The picture is drawn by software, so that a screen with any
graphics does better. The clock is that of one run, other programs may share the machine: the time of the
program's processor and the load of the machine are printed beside it.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import trimesh
from playwright.sync_api import Page, sync_playwright

from tests.app.real_browser import CHROMIUM, GL, ROOT, started, worked

MOVE = """async ([name, up]) => {
  const asked = performance.now();
  app.edits.tryRow(name, { up });
  const told = () => document.querySelector(".trying")?.textContent.includes(up);
  while (!told()) await new Promise(requestAnimationFrame);
  const shown = performance.now() - asked;
  return [shown, app.edits.lastPreview];
}"""
TURN = """async (frames) => {
  const { view } = app, { controls, camera } = view, begun = performance.now();
  for (let i = 0; i < frames; i++) {
    const off = camera.position.clone().sub(controls.target);
    camera.position.copy(controls.target).add(off.applyAxisAngle(camera.up, 0.05));
    view.draw();
    await new Promise((done) => view.addEventListener("drawn", done, { once: true }));
  }
  return 1000 * frames / (performance.now() - begun);
}"""


@contextlib.contextmanager
def shown(path: Path, browser: Any) -> Iterator[tuple[Page, float, int]]:
    """A page with the project, the seconds from the command to its first view, and the program's number."""
    begun = time.perf_counter()
    with started(path) as program:
        page = browser.new_page(viewport={"width": 1440, "height": 900})
        page.set_default_timeout(120_000)
        try:
            page.goto(program.stdout.readline().strip())
            page.wait_for_selector("#view[data-case]")
            yield page, time.perf_counter() - begun, program.pid
        finally:
            page.close()


def drags(page: Page, pid: int, moves: int) -> str:
    """Words on rows that move."""
    name, number, unit = page.evaluate(
        "() => { const r = app.store.state.rows[0]; return [r.name, r.up / r.unit_size, r.unit]; }"
    )
    steps = [f"{number + 0.05 * (move + 1):.3f} {unit}" for move in range(moves + 2)]
    for step in steps[:2]:
        page.evaluate(MOVE, [name, step])
    before = worked(pid)
    times = np.array([page.evaluate(MOVE, [name, step]) for step in steps[2:]])
    own = 1e3 * (worked(pid) - before) / moves
    on_screen, answered = np.median(times, axis=0)
    return (
        f"a move on screen in {on_screen:.0f} ms (least {times[:, 0].min():.0f}), answered in {answered:.0f} "
        f"(least {times[:, 1].min():.0f}), program's processor {own:.0f}"
    )


def fine_roof(folder: Path, faces: int) -> Path:
    """A project whose gable roof is a mesh of about so many triangles."""
    n = 2 * int(np.ceil(np.sqrt(faces / 2.0) / 2.0))  # even: the ridge lies on a line of the grid
    u, v = np.meshgrid(np.linspace(0.0, 1.0, n + 1), np.linspace(0.0, 1.0, n + 1), indexing="ij")
    points = np.stack([30.0 * u, 16.0 * v, 4.0 + 8.0 * np.minimum(v, 1.0 - v)], axis=-1).reshape(-1, 3)
    low = (np.arange(n)[:, None] * (n + 1) + np.arange(n)).ravel()
    quads = np.stack([low, low + n + 1, low + n + 2, low + 1], axis=1)
    trimesh.Trimesh(points, quads[:, [0, 1, 2, 0, 2, 3]].reshape(-1, 3), process=False).export(
        folder / "roof.ply"
    )
    text = (ROOT / "models" / "sentier-house" / "project.toml").read_text(encoding="utf-8")
    roof, surface, row, design = (text.index(head) for head in ("[roof]", "[surface]", "[[row]]", "[design]"))
    rows = "".join(
        f'[[row]]\nname = "{name}"\nplane = "S1"\nup = "{up} m"\n\n' for name, up in (("low", 1), ("high", 4))
    )
    file = '[roof]\nfile = "roof.ply"\nunit = "m"\nup = "z"\n\n'
    path = folder / "project.toml"
    path.write_text(text[:roof] + file + text[surface:row] + rows + text[design:], encoding="utf-8")
    return path


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="one small project, few moves, a coarse mesh")
    quick = parser.parse_args().quick
    names = ("granary-door",) if quick else ("sentier-house", "ridge-school", "cedar-hollow")
    moves, frames, faces = (4, 10, 2_000) if quick else (20, 60, 200_000)
    with sync_playwright() as driver, tempfile.TemporaryDirectory() as folder:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=GL)
        if not quick:
            # An installed program has its bytecode; one that compiles itself at every start is slower.
            os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
            with shown(ROOT / "models" / names[0] / "project.toml", browser):
                pass
        for name in names:
            with shown(ROOT / "models" / name / "project.toml", browser) as (page, first, pid):
                clamps = page.evaluate("app.store.clamps.names.length")
                used = worked(pid)
                print(f"{name}, {clamps} clamps: first view {first:.2f} s (program's processor {used:.2f})")
                print(f"  {drags(page, pid, moves)}; {page.evaluate(TURN, frames):.0f} frames a second")
        with shown(fine_roof(Path(folder), faces), browser) as (page, first, pid):
            page.wait_for_timeout(500)
            print(
                f"mesh of {faces:,} faces: first view {first:.2f} s (program's processor {worked(pid):.2f})"
            )
            print(f"  {page.evaluate(TURN, frames):.0f} frames a second, drawn by software")
        browser.close()
    if hasattr(os, "getloadavg"):
        print(f"load of the machine {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")


if __name__ == "__main__":
    main()
