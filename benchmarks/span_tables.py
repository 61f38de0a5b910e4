"""Time of 100,000 rail, span and load combinations in four arrangements each.

Run: python benchmarks/span_tables.py

20 rails, 50 spans, 100 loads, patterns of load; wall time with two workers, and
time of all processors, which does not depend on what else the machine does.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

from fea.spans.capacity import Choices, span_tables
from fea.spans.lines import Arrangement
from fea.spans.study import study_hardware, study_roof
from roofmodel.project.span_study import load_study
from roofmodel.sections import rectangular_tube, round_tube

MODEL = Path(__file__).parents[1] / "models" / "cove-rails" / "spans.toml"


def main() -> None:
    """Print both times for stout rails and for rails whose thin walls buckle."""
    study = load_study(MODEL)
    base = study_hardware(study, study.variants[0], 0)
    sizes = np.linspace(0.03, 0.07, 20)
    kinds = {
        "round tubes": [round_tube(d, 0.003) for d in sizes],
        "thin square tubes": [rectangular_tube(d, d, 0.0012) for d in sizes],
    }
    arrangements = (Arrangement.SINGLE, Arrangement.TWO, Arrangement.END, Arrangement.OVERHANG)
    choices = Choices(np.linspace(0.4, 3.0, 50), np.linspace(100.0, 10e3, 100), arrangements)
    for name, sections in kinds.items():
        hardware = tuple(replace(base, rail=replace(base.rail, section=one)) for one in sections)
        wall, work = time.perf_counter(), time.process_time()
        found = span_tables(study_roof(study), hardware, choices)
        wall, work = time.perf_counter() - wall, time.process_time() - work
        count = sum(one.use.shape[0] * one.use.shape[2] for one in found)
        sys.stdout.write(
            f"{name}: {count:,} combinations x 4: {wall:.1f} s, {work:.1f} s of all processors\n"
        )


if __name__ == "__main__":
    main()
