"""spans.png promises no more than the table, and shows what governs at every span of it."""

import re
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from fea.spans.study import run_study
from roofmodel.project.span_study import load_study
from viewer import style
from viewer.span.chart import COLORS, HIGH, LEFT, TOP, WIDE, study_drawing

MODEL = Path(__file__).parents[2] / "models" / "cove-rails" / "spans.toml"


def study(folder, *spans):
    """Of the demo's first rail in single spans."""
    text, path = MODEL.read_text(), folder / "spans.toml"
    second, end = text.rindex("[[rail]]"), text.index("[design]")
    text = re.sub("^spans = .*", f"spans = {list(spans)}", text[:second] + text[end:], flags=re.MULTILINE)
    path.write_text(re.sub("^arrangements = .*", 'arrangements = ["single span"]', text, flags=re.MULTILINE))
    return run_study(load_study(path))


def test_no_span_between_two_of_the_table_is_promised_more_than_it_carries(tmp_path):
    few = study(tmp_path, "0.4 m", "1.2 m", "2 m")
    many = study(tmp_path, "0.4 m", "0.8 m", "1.2 m", "1.6 m", "2 m")
    drawing = study_drawing(few)
    (line,) = (one.rings[0] for one in drawing.shapes if one.line == style.INK and one.width == 2.4)
    far = 1.02 * few.choices.spans[-1]
    most = 1.08 * few.rails[0].high.max()
    span, load = (line[:, 0] - LEFT) / WIDE * far, (TOP + HIGH - line[:, 1]) / HIGH * most
    for at, carried in zip(many.choices.spans, many.rails[0].low[:, 0], strict=True):
        step = np.flatnonzero((span[:-1] < at - 1e-9) & (span[1:] >= at - 1e-9))
        promised = np.interp(at, span[step[0] : step[0] + 2], load[step[0] : step[0] + 2])
        assert promised <= carried * (1.0 + 1e-9)
        if np.isclose(few.choices.spans, at).any():
            assert promised == pytest.approx(carried)


def test_every_span_has_the_color_of_what_governs_it(tmp_path):
    found = study(tmp_path, "0.4 m", "1.2 m", "2 m")
    drawn = Counter(one.fill for one in study_drawing(found).shapes if one.fill in COLORS)
    told = Counter(COLORS[k] for k in found.rails[0].governing[:, 0].tolist())
    assert len(told) == 3
    assert drawn - Counter(set(told)) == told  # each once more, in the legend, and no other
