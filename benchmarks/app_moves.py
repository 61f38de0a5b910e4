"""How long the browser app takes to answer a row that moves: what the server computes, and what it sends.

The bars: under 100 ms for 100 clamps and all cases. Nothing is asserted; `--quick` makes few moves. The
time of the processor is printed beside the clock's, as other programs may share the machine.
"""

from __future__ import annotations

import argparse
import json
import os
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
    for name in ("sentier-house", "ridge-school", "cedar-hollow"):
        begun = time.perf_counter()
        state = open_state(MODELS / name / "project.toml")
        state = replace(state, now=solved(state.now))
        analysis = state.now.analysis
        assert analysis is not None
        first = time.perf_counter() - begun
        row = state.now.project.table.row[0]
        clock, work, sent = [], [], 0
        for move in range(moves):
            up = f"{row.up + 0.05 * (move + 1):.3f} m"
            edit = messages.SetRow(
                id=1, type="row", revision=1, preview=True, row=row.name, fields={"up": up}
            )
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
