"""The picture of the deflected row: it draws what was calculated, exaggerated as it says."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from picture_projects import GABLE, read

from fea.analysis import Analysis
from fea.tipping import Tipping
from roofmodel.units import SYSTEMS
from viewer import style
from viewer.picture.deflected import LEANS, PASSING, WINDOW, Bent, bend, bent_drawing, bent_view
from viewer.picture.deflected_sheet import compose_deflected, deflection_words, scale_end, start_deflected

SIZE = (1000, 700)
BOX = (50.0, 270.0, 950.0, 500.0)


@pytest.fixture(scope="module")
def gable(tmp_path_factory: pytest.TempPathFactory) -> Analysis:
    text = GABLE.replace('yield_strength = "240 MPa"', 'yield_strength = "240 MPa"\ndeflection_ratio = 100')
    return read(text, tmp_path_factory.mktemp("gable"))


@pytest.fixture(scope="module")
def bent(gable: Analysis) -> Bent:
    found = bend(gable)
    assert found is not None
    return found


def test_what_is_called_out_is_the_number_of_the_check(gable: Analysis, bent: Bent) -> None:
    limit = bent.limit
    assert limit.service
    assert bent.off == pytest.approx(float(limit.demand[bent.case, bent.piece]), rel=1e-9)
    own = np.array([name.startswith(gable.project.layout.row_name[bent.row]) for name in limit.target_name])
    assert limit.utilization[bent.case, bent.piece] == pytest.approx(limit.utilization[:, own].max())


def test_the_rail_goes_down_the_slope_and_the_picture_by_its_factor_more(bent: Bent) -> None:
    down = -bent.move[:, 1]
    assert (
        down > -0.01 * down.max()
    ).all()  # snow pushes down the slope; a long end lifts the span beside it
    largest = float(np.linalg.norm(bent.moved - bent.still, axis=1).max())
    reach = float(np.ptp(bent.ends))
    gap = float(np.diff(bent.foot[:, 0]).min())
    assert np.abs(bent.moved[:, 0] - bent.s).max() <= PASSING * gap  # clamps do not pass each other
    assert 0.4 * LEANS * reach <= largest <= LEANS * reach * (1.0 + 1e-9)  # 1, 2, 5 are 2.5 apart at most


def test_clamps_stand_on_seams_and_the_rail_over_them(gable: Analysis, bent: Bent) -> None:
    project = gable.project
    assert len(bent.clamp) <= WINDOW
    for foot in bent.foot:
        way = bent.seams[:, 1] - bent.seams[:, 0]
        aside = np.cross(way, foot - bent.seams[:, 0]) / np.linalg.norm(way, axis=1)[:, None]
        assert np.linalg.norm(aside, axis=1).min() < 1e-9
    assert bent.still[:, 2] == pytest.approx(project.clamp.grip_height + project.clamp.height)
    at = project.layout.clamp_s[bent.clamp]
    assert np.abs(at[:, None] - bent.s).min(axis=1).max() < 1e-9  # a station at every clamp


def test_colors_are_of_the_movement_and_darker_with_it(gable: Analysis, bent: Bent) -> None:
    view = bent_view(bent, BOX, SIZE)
    top = scale_end(bent, SYSTEMS["SI"])
    assert bent.size.max() <= top * (1.0 + 1e-9)
    drawing = bent_drawing(gable, bent, view, top)
    flat = view.project(drawing.points)
    assert flat.min() > 0.0
    assert (flat < np.array(SIZE)).all()
    tone = style.luminance(style.movement_rgb(np.linspace(0.0, 1.0, 41)))
    assert (np.diff(tone) < 0.0).all()  # read in grayscale


def test_words_keep_apart_and_on_the_sheet(gable: Analysis, bent: Bent) -> None:
    overlay = compose_deflected(gable, bent, bent_view(bent, BOX, SIZE))
    boxes = [text.box for text in overlay.texts]
    for left, top, right, bottom in boxes:
        assert left >= 0.0
        assert right <= SIZE[0]
        assert top >= 0.0
        assert bottom <= SIZE[1]
    for (a, b), (c, d) in itertools.combinations(zip(boxes, overlay.texts, strict=True), 2):
        apart = a[2] <= c[0] or c[2] <= a[0] or a[3] <= c[1] + 2.0 or c[3] <= a[1] + 2.0
        assert apart, (b.text, d.text)
    told = {text.text for text in overlay.texts}
    assert f"Movement drawn × {bent.factor:g}" in told
    assert "Movement of the rail, mm" in told


def test_without_a_limit_it_says_so(gable: Analysis) -> None:
    rail = replace(gable.project.rail, deflection_ratio=float("nan"))
    limits = tuple(
        replace(one, resistance=one.resistance * np.nan, utilization=one.utilization * np.nan)
        if one.name == "rail deflection"
        else one
        for one in gable.limits
    )
    free = replace(gable, project=replace(gable.project, rail=rail), limits=limits)
    found = bend(free)
    assert found is not None
    words = deflection_words(free, found, SYSTEMS["SI"])
    assert "no limit of deflection is given (deflection_ratio)" in words


def test_a_row_that_deflects_little_does_not_look_kept_where_the_check_fails(
    gable: Analysis, bent: Bent
) -> None:
    analysis = replace(gable, tipping=Tipping(0.9, "R1-01", 1.2, "R1-02", False, ""))
    words = [one.text for one in compose_deflected(analysis, bent, bent_view(bent, BOX, SIZE)).texts]
    assert any(text.startswith("Check: ") and "NOT SETTLED" in text for text in words)


def test_nothing_is_drawn_where_nothing_governs(gable: Analysis) -> None:
    still = replace(gable, governing=None, attachment=None)
    assert bend(still) is None
    assert start_deflected(still, renderer=None) is None  # type: ignore[arg-type]
    limits = tuple(
        replace(one, demand=0.0 * one.demand, utilization=0.0 * one.utilization) for one in gable.limits
    )
    assert bend(replace(gable, limits=limits)) is None
