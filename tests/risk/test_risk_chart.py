"""risk.png: clamps and splices that give way first are drawn to one scale."""

from __future__ import annotations

from types import SimpleNamespace as Made

import numpy as np
import pytest

from viewer.picture.drawing import Drawing
from viewer.risk.chart import _rows


def _found(splice_first):
    layout = Made(
        row_name=("low",),
        row_length=np.array([4.0]),
        clamp_row=np.zeros(3, dtype=int),
        clamp_s=np.array([0.5, 2.0, 3.5]),
        clamp_name=("low-1", "low-2", "low-3"),
        splice_s=np.array([1.0, 3.0]),
    )
    splices = Made(row=np.array([0]), origin=np.array([1])) if len(splice_first) else None
    risk = Made(
        first=np.array([0.02, 0.04, 0.0]), first_row=np.array([1.0]), splice_first=np.array(splice_first)
    )
    case = Made(roof=Made(roof=Made(splices=splices)))
    return Made(analysis=Made(project=Made(layout=layout)), risk=risk, cases=(case,))


def _drawn(splice_first):
    drawing = Drawing((1180.0, 700.0))
    _rows(drawing, _found(splice_first), 100.0, 1)
    circles = [shape.radius for shape in drawing.shapes if shape.radius]
    return circles, [shape for shape in drawing.shapes if shape.fill and not shape.radius], drawing


def test_a_splice_that_parts_most_often_sets_the_scale_and_is_named():
    alone, none, _ = _drawn([])
    circles, (diamond,), drawing = _drawn([0.16])
    assert not none
    assert circles[1] == pytest.approx(alone[1] * np.sqrt(0.04 / 0.16), rel=1e-6)  # areas go with shares
    (ring,) = diamond.rings
    x = ring[:, 0].mean()
    assert np.ptp(ring[:, 0]) == pytest.approx(2 * 17.0)
    line = next(shape.rings[0] for shape in drawing.shapes if shape.width == 3.0)
    assert (x - line[0, 0]) / np.ptp(line[:, 0]) == pytest.approx(3.0 / 4.0)  # the splice that can part
    words = [text.text for text in drawing.texts]
    assert "splice: 16 %" in words
    assert any("splice (diamond)" in one for one in words)
