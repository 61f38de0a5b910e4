"""How long the browser app takes to answer a row that moves: what the server computes, and what it sends.

The bars: under 100 ms for 100 clamps and all cases. Nothing is asserted; `--quick` makes few moves. The
time of the processor is printed beside the clock's, as other programs may share the machine. Each project
moves as it is, and once more as if nobody had given how splices and clamps turn: more states are solved then.
"""

from __future__ import annotations

import argparse
import itertools
import json
import os
import re
import shutil
import tempfile
import time
from dataclasses import replace
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as `eavewright open` does

import numpy as np

from viewer.app import messages
from viewer.app.session import open_state, preview, solved
from viewer.app.surface import roof_block, surface_block
from viewer.app.view import answer_data

MODELS = Path(__file__).parents[1] / "models"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true")
    moves = 4 if parser.parse_args().quick else 20
    names = ("sentier-house", "ridge-school", "cedar-hollow", "tannery-hall")
    for name, given in itertools.product(names, (True, False)):
        with tempfile.TemporaryDirectory() as folder:
            measure(
                name if given else f"{name}, nothing given", copied(name, Path(folder), given=given), moves
            )


def copied(name: str, folder: Path, *, given: bool) -> Path:
    """The project in a folder of its own, with or without what splices and clamps do."""
    shutil.copytree(MODELS / name, folder, dirs_exist_ok=True)
    path = folder / "project.toml"
    if not given:
        text = re.sub(r', rocking = "[^"]*"', "", path.read_text(encoding="utf-8"))
        path.write_text(text.replace('splice_torsion = "passed"', ""), encoding="utf-8")
    return path


def measure(name: str, path: Path, moves: int) -> None:
    """Open a project, move its first row and print how long the answers take."""
    begun = time.perf_counter()
    state = open_state(path)
    state = replace(state, now=solved(state.now))
    analysis = state.now.analysis
    assert analysis is not None
    first = time.perf_counter() - begun
    row = state.now.project.table.row[0]
    clock, work, sent = [], [], 0
    for move in range(moves):
        up = f"{row.up + 0.05 * (move + 1):.3f} m"
        edit = messages.SetRow(id=1, type="row", revision=1, preview=True, row=row.name, fields={"up": up})
        start, cpu = time.perf_counter(), time.process_time()
        sent = len(json.dumps(answer_data(preview(state, edit))))
        clock.append(time.perf_counter() - start)
        work.append(time.process_time() - cpu)
    clamps, cases = len(analysis.project.layout.clamp_name), len(analysis.snow.cases)
    blocks = len(roof_block(state.now.project)) + len(surface_block(analysis, 0))
    print(
        f"{name}: {clamps} clamps, {cases} cases: opened and solved in {first:.2f} s; a move "
        f"{1e3 * np.median(clock):.0f} ms (least {1e3 * min(clock):.0f}, processor "
        f"{1e3 * np.median(work):.0f}), {sent / 1e3:.0f} kB sent; geometry once {blocks / 1e6:.1f} MB"
    )


if __name__ == "__main__":
    main()
