"""The palette and number rules: what a reader in grayscale or with a color deficiency still sees."""

import math
import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from viewer import style
from viewer.picture.marks import mark_shape, question_mark

# Machado, Oliveira, Fernandes 2009, severity 1.0, linear RGB; from memory, each row adds up to 1.
DEFICIENCY = {
    "none": np.eye(3),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
}
# sRGB to XYZ, D65, and CIE 1976 L*a*b*; textbook, from memory.
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])


def lab(color: np.ndarray, deficiency: str = "none") -> np.ndarray:
    linear = np.where(color <= 0.04045, color / 12.92, ((color + 0.055) / 1.055) ** 2.4)
    seen = np.clip(linear @ DEFICIENCY[deficiency].T, 0.0, 1.0)
    xyz = seen @ TO_XYZ.T / TO_XYZ.sum(axis=1)
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    x, y, z = np.moveaxis(f, -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def test_lab_of_white_and_middle_gray() -> None:
    assert lab(np.ones(3)) == pytest.approx([100.0, 0.0, 0.0], abs=0.02)
    assert lab(np.full(3, 119 / 255))[0] == pytest.approx(50.0, abs=0.2)  # sRGB 119 is L* 50, textbook


@pytest.mark.parametrize("deficiency", DEFICIENCY)
def test_scales_get_steadily_darker(deficiency: str) -> None:
    use = np.linspace(0.0, style.UTILIZATION_TOP, 401)
    assert np.all(np.diff(lab(style.utilization_rgb(use), deficiency)[:, 0]) < 0.0)
    share = np.linspace(0.0, 1.0, 201)
    assert np.all(np.diff(lab(style.snow_rgb(share), deficiency)[:, 0]) < 0.0)


@pytest.mark.parametrize("deficiency", DEFICIENCY)
def test_the_limit_is_one_dark_step(deficiency: str) -> None:
    kept, exceeded = lab(style.utilization_rgb(np.array([1.0, np.nextafter(1.0, 2.0)])), deficiency)
    everywhere = lab(style.utilization_rgb(np.linspace(0.0, 1.0, 11)), deficiency)
    assert kept[0] - exceeded[0] > 30.0
    assert np.abs(np.diff(everywhere[:, 0])).max() < 0.2 * (kept[0] - exceeded[0])


@pytest.mark.parametrize("deficiency", DEFICIENCY)
def test_marks_stand_out_from_the_snow(deficiency: str) -> None:
    snow = lab(style.snow_rgb(np.linspace(0.0, 1.0, 21)), deficiency)
    failed = lab(style.utilization_rgb(np.linspace(1.001, 3.0, 21)), deficiency)
    outline = lab(style.rgb(style.INK), deficiency)
    apart = np.linalg.norm(snow[:, None] - failed, axis=2)
    assert apart.min() > 25.0
    # Kept clamps may match pale snow; their outline does not.
    assert np.linalg.norm(snow - outline, axis=1).min() > 40.0


def test_text_colors_reach_the_usual_contrast() -> None:
    """4.5:1 for text, WCAG 2 level AA (from memory)."""
    papers = [style.PAPER, style.TINT]
    for color in (style.INK, style.MUTED, style.ACCENT, style.EXCEEDED_ANCHORS[0]):
        for paper in papers:
            dark, light = (float(style.luminance(style.rgb(c))) for c in (color, paper))
            assert (light + 0.05) / (dark + 0.05) > 4.5, (color, paper)
    ink = float(style.luminance(style.rgb(style.INK)))
    for shade in style.SNOW_ANCHORS:
        assert (float(style.luminance(style.rgb(shade))) + 0.05) / (ink + 0.05) > 4.5
    assert style.text_on(style.PAPER) == style.INK
    assert style.text_on(style.EXCEEDED_ANCHORS[-1]) == style.PAPER


def test_not_verified_is_as_dark_as_a_failure() -> None:
    unknown = lab(style.utilization_rgb(np.nan))[0]
    assert unknown < lab(style.utilization_rgb(1.001))[0]
    assert style.utilization_mark(math.nan) is style.Mark.UNVERIFIED
    assert style.utilization_mark(1.0) is style.Mark.KEPT
    assert style.utilization_mark(np.nextafter(1.0, 2.0)) is style.Mark.EXCEEDED


def test_marks_differ_in_shape_but_not_in_reach() -> None:
    reach = {mark: np.abs(mark_shape(mark)).max() for mark in style.Mark}
    assert max(reach.values()) / min(reach.values()) < 1.3
    assert len({len(mark_shape(mark)) for mark in (style.Mark.KEPT, style.Mark.EXCEEDED)}) == 2
    sign = np.concatenate(question_mark())
    assert np.abs(sign).max() < 0.9  # inside the square


@given(st.floats(0.0, 50.0))
def test_utilization_text_stays_on_its_side_of_the_limit(use: float) -> None:
    text = style.utilization_text(use)
    if re.fullmatch(r"[0-9.]+", text):
        assert float(text) == pytest.approx(use, rel=0.0, abs=0.005 + 1e-9)
        assert (float(text) > 1.0) == (use > 1.0)
        assert (float(text) < 1.0) == (use < 1.0)
    else:
        assert text == ("just above 1" if use > 1.0 else "just below 1")
        assert abs(use - 1.0) < 1e-6


def test_utilization_text_without_a_number() -> None:
    assert style.utilization_text(math.nan) == "not verified"
    assert style.utilization_text(1.0) == "1.00"


@given(st.floats(1e-9, 1e12))
def test_ticks_stand_at_ones_twos_or_fives(least: float) -> None:
    step = style.tick_step(least)
    assert least * (1 - 1e-8) <= step <= 2.5 * least * (1 + 1e-8)
    assert f"{step:.3e}"[:5] in {"1.000", "2.000", "5.000"}


@given(st.floats(1e-9, 1e12))
def test_scale_top_is_round_and_near(largest: float) -> None:
    top = style.scale_top(largest)
    assert largest * (1 - 1e-8) <= top <= 1.34 * largest
    assert float(f"{top:.2g}") == pytest.approx(top, rel=1e-12)
    assert style.scale_top(10.0 * largest) == pytest.approx(10.0 * top, rel=1e-9) or True is (
        abs(math.log10(largest) % 1.0) < 1e-6 or abs(math.log10(largest) % 1.0 - 1.0) < 1e-6
    )


def test_css_names_every_color_once() -> None:
    names = re.findall(r"--([a-z-]+):", style.css_variables())
    assert len(names) == len(set(names))
    assert {"ink", "exceeded", "unverified", "type-body", "font"} <= set(names)
