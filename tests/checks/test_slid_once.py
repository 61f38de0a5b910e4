"""The snow is sent down the roof once while only hardware changes, and again when rows or choices do."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fea.analysis import check_limits
from roofmodel.memory import Memory
from roofmodel.sliding import landed
from tests.demos import demo


def test_other_hardware_slides_no_snow_and_rows_do(monkeypatch) -> None:
    project, count, memory = demo("cedar-hollow").project, [0], Memory()
    real = landed.slide

    def counted(*args, **options):
        count[0] += 1
        return real(*args, **options)

    monkeypatch.setattr(landed, "slide", counted)
    softer = replace(project, clamp=replace(project.clamp, stiffness=0.9 * project.clamp.stiffness))
    spread = replace(project, slide=replace(project.slide, spread_angle=0.5 * project.slide.spread_angle))
    for one, expected in ((project, 1), (softer, 1), (spread, 2), (project, 3)):
        kept, fresh = check_limits(one, memory), check_limits(one)
        count[0] -= 1  # of the fresh one
        assert count[0] == expected
        for a, b in zip(kept, fresh, strict=True):
            np.testing.assert_array_equal(a.demand, b.demand)
