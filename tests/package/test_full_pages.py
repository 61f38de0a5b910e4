"""Pages of the package are full: no half page is left empty before its end."""

import io
from datetime import date
from pathlib import Path

import numpy as np
import pytest
import typst
from PIL import Image

from tests.demos import demo, demo_sway
from viewer.package.pdf import package_source
from viewer.package.typeset import FONTS

DEMOS = (
    "granary-door",
    "sentier-house",
    *(pytest.param(one, marks=pytest.mark.slow) for one in ("cedar-hollow", "tannery-hall", "ridge-school")),
)
MOST = 0.45  # of a page's height without ink [-]


def blank(page):
    """Largest band of a page without ink, over its height."""
    gray = np.asarray(Image.open(io.BytesIO(page)).convert("L"))
    body = gray[round(0.06 * len(gray)) : round(0.93 * len(gray))]  # without head and foot
    ink = np.flatnonzero((body < 200).any(axis=1))
    return np.diff(np.concatenate([[0], ink, [len(body)]])).max() / len(gray)


@pytest.mark.parametrize("model", DEMOS)
def test_no_page_but_the_last_is_half_empty(model, tmp_path):
    drawn = {"roof": (2000, 1400), "deflected": (2000, 1400)}  # in place of pictures, as large as those
    for name, size in drawn.items():
        Image.new("RGB", size, "gray").save(tmp_path / f"{name}.png")
    roof, deflected = (tmp_path / f"{name}.png" for name in drawn)
    files, source = package_source(demo(model), roof, demo_sway(model), date(2026, 1, 2), deflected)
    for name, data in files.items():
        Path(tmp_path / name).write_bytes(data)
    (tmp_path / "t.typ").write_text(source, encoding="utf-8")
    pages = typst.compile(
        str(tmp_path / "t.typ"),
        root=str(tmp_path),
        font_paths=[str(FONTS)],
        ignore_system_fonts=True,
        format="png",
        ppi=36.0,
    )
    empty = [round(float(blank(page)), 2) for page in pages]
    assert [n for n, part in enumerate(empty[:-1], 1) if part > MOST] == []
