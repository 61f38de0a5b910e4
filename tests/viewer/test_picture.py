"""The utilization picture, the plan and the row diagrams: geometry, truth of colors, honest words."""

import itertools
import re
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from picture_projects import GABLE, read, without_strength
from PIL import Image

from fea.analysis import Analysis
from viewer import style
from viewer.picture import render
from viewer.picture.camera import View, choose_axes, fit_view, hidden, view_axes
from viewer.picture.deflected_sheet import finish_deflected, start_deflected
from viewer.picture.draw import draw_utilization, finish_picture, start_picture
from viewer.picture.findings import clamp_utilization
from viewer.picture.overlay import compose, drawing_box, verdict
from viewer.picture.plan import plan_svg
from viewer.picture.row_names import spread
from viewer.picture.scene import Scene, build_scene, choose_view, make_drawing
from viewer.picture.sheet import Overlay

SIZE = (1000, 700)


@pytest.fixture(scope="module")
def gable(tmp_path_factory: pytest.TempPathFactory) -> Analysis:
    return read(GABLE, tmp_path_factory.mktemp("gable"))


@pytest.fixture(scope="module")
def unverified(tmp_path_factory: pytest.TempPathFactory) -> Analysis:
    return read(without_strength(), tmp_path_factory.mktemp("unverified"))


@pytest.fixture(scope="module")
def laid_out(gable: Analysis) -> tuple[Scene, View, Overlay]:
    return lay_out(gable, SIZE)


def lay_out(analysis: Analysis, size: tuple[int, int]) -> tuple[Scene, View, Overlay]:
    scene = build_scene(analysis)
    view = choose_view(analysis, scene, drawing_box(scene, analysis.project.layout.row_name, size), size)
    return scene, view, compose(analysis, scene, view)


@pytest.fixture(scope="module")
def picture(gable: Analysis, tmp_path_factory: pytest.TempPathFactory) -> np.ndarray:
    result = draw_utilization(gable, tmp_path_factory.mktemp("picture") / "use.png", size=SIZE)
    if result.reason == render.NO_OPENGL:
        pytest.skip(result.reason)
    assert result.path is not None, result.reason
    with Image.open(result.path) as image:
        return np.asarray(image)


def test_view_axes_are_right_handed_and_look_down() -> None:
    for azimuth, elevation in itertools.product(np.radians([0, 77, 180, 301]), np.radians([20, 50])):
        right, up, toward = view_axes(azimuth, elevation)
        assert np.stack([right, up, toward]) @ np.stack([right, up, toward]).T == pytest.approx(np.eye(3))
        assert np.cross(right, up) == pytest.approx(toward)
        assert up[2] > 0.0
        assert toward[2] > 0.0
        assert right[2] == pytest.approx(0.0)
    # A viewer in the south has the east to the right.
    assert view_axes(np.pi, 0.5)[0] == pytest.approx([1.0, 0.0, 0.0])


def test_fit_view_fills_the_box_and_keeps_one_scale() -> None:
    points = np.random.default_rng(3).normal(size=(50, 3)) * [9.0, 4.0, 2.0] + [300.0, -80.0, 5.0]
    box = (100.0, 60.0, 900.0, 500.0)
    view = fit_view(view_axes(2.0, 0.6), points, box, SIZE)
    flat = view.project(points)
    assert np.all(flat.min(axis=0) >= np.array(box[:2]) - 1e-6)
    assert np.all(flat.max(axis=0) <= np.array(box[2:]) + 1e-6)
    slack = np.array(box[2:]) - box[:2] - np.ptp(flat, axis=0)
    assert slack.min() == pytest.approx(0.0, abs=1e-9)
    assert view.project(view.focus) == pytest.approx(np.array(SIZE) / 2.0)
    step = np.array([0.3, -0.2, 0.1])
    assert np.ptp(view.project(points + step) - flat, axis=0) == pytest.approx([0.0, 0.0], abs=1e-9)


def test_hidden_behind_a_plate_and_with_the_world_turned() -> None:
    plate = np.array([[[-1.0, -1, 2], [1, -1, 2], [1, 1, 2]], [[-1, -1, 2], [1, 1, 2], [-1, 1, 2]]])
    points = np.array([[0.2, 0.1, 0.0], [1.4, 0.0, 0.0], [0.2, 0.1, 3.0]])
    toward = np.array([0.0, 0.0, 1.0])
    assert hidden(points, toward, plate).tolist() == [True, False, False]
    turn, _ = np.linalg.qr(np.random.default_rng(5).normal(size=(3, 3)))
    turned = hidden(points @ turn.T, turn @ toward, plate @ turn.T)
    assert turned.tolist() == [True, False, False]


def test_view_moves_away_from_what_hides_the_row() -> None:
    """A tall screen stands before one half of the sky; the other half is chosen."""
    target, weight = np.array([[0.0, 0.0, 0.0]]), np.ones(1)
    up = np.array([[0.0, 0.0, 1.0]])
    for side in (-1.0, 1.0):
        x = np.array([0.2, 40.0, 40.0]) * side
        screen = np.array([[[x[0], -3.0, -9.0], [x[1], -3.0, -9.0], [x[2], -3.0, 40.0]]])
        screen = np.concatenate([screen, [[[x[0], -3.0, -9.0], [x[2], -3.0, 40.0], [x[0], -3.0, 40.0]]]])
        _, _, toward = choose_axes(np.pi, target, weight, screen, up, np.ones(1), up)
        assert toward[0] * side < 0.0


def test_the_picture_shows_the_roof_in_the_colors_of_the_legend(
    picture: np.ndarray, laid_out: tuple[Scene, View, Overlay], gable: Analysis
) -> None:
    scene, view, _ = laid_out
    assert picture.shape == (SIZE[1], SIZE[0], 3)
    middle = scene.cells.mean(axis=1)
    seen = ~hidden(middle + np.array([0.0, 0.0, 0.02]), view.toward, scene.body)
    at = np.rint(view.project(middle[seen])).astype(int)
    wanted = 255.0 * style.snow_rgb(scene.pressure[seen] / scene.pressure_top)
    off = np.abs(picture[at[:, 1], at[:, 0]] - wanted).max(axis=1)
    assert seen.sum() > 500
    # Seams, marks and labels stand over some cells; most show their color as it is.
    assert np.mean(off < 4.0) > 0.5


def test_the_governing_clamp_shows_its_color(
    picture: np.ndarray, laid_out: tuple[Scene, View, Overlay], gable: Analysis
) -> None:
    scene, view, _ = laid_out
    x, y = np.rint(view.project(scene.clamps[scene.called])).astype(int)
    wanted = 255.0 * style.utilization_rgb(scene.use[scene.called])
    assert gable.attachment is not None
    assert scene.use[scene.called] == pytest.approx(gable.attachment.utilization)
    assert np.abs(picture[y, x] - wanted).max() < 4.0


def test_the_roof_stands_on_paper_and_fills_the_frame(picture: np.ndarray) -> None:
    corners = picture[[0, 0, -1, -1], [0, -1, 0, -1]]
    assert np.all(corners == 255)
    inked = np.any(picture < 250, axis=2)
    assert inked[150:550].any(axis=0).mean() > 0.6
    assert 0.15 < inked.mean() < 0.7


def test_overlay_says_what_governs(laid_out: tuple[Scene, View, Overlay], gable: Analysis) -> None:
    scene, _, overlay = laid_out
    words = [text.text for text in overlay.texts]
    governing = gable.attachment
    assert governing is not None
    limit = gable.limits[governing.limit]
    assert limit.target_name[governing.target] in words
    assert style.utilization_text(governing.utilization) in words
    everything = " ".join(words)
    for needed in (
        gable.project.table.project.name,
        limit.name,
        gable.snow.cases[governing.case].name,
        gable.factors[governing.case].clause,
        style.CAUTION,
        "limit 1.0",
        "kN/m²",
        "N",
    ):
        assert needed in everything
    for row in gable.project.layout.row_name:
        assert any(word.startswith(f"{row}  ") for word in words) or row in overlay.unnamed
    assert scene.case == governing.case


@pytest.mark.parametrize("size", [(2000, 1400), (1000, 700), (1200, 1200)])
def test_texts_stay_inside_and_apart(gable: Analysis, unverified: Analysis, size: tuple[int, int]) -> None:
    for analysis in (gable, unverified):
        overlay = lay_out(analysis, size)[2]
        boxes = np.array([text.box for text in overlay.texts])
        assert boxes[:, :2].min() >= 0.0
        assert np.all(boxes[:, 2:] <= size)
        for a, b in itertools.combinations(range(len(boxes)), 2):
            low, high = np.maximum(boxes[a, :2], boxes[b, :2]), np.minimum(boxes[a, 2:], boxes[b, 2:])
            # Lines of a paragraph may share the room above and below their letters.
            overlap = np.prod(np.clip(high - low - 0.2 * overlay.texts[a].size, 0.0, None))
            assert overlap == 0.0, (overlay.texts[a].text, overlay.texts[b].text)


def test_row_names_keep_off_the_clamps(laid_out: tuple[Scene, View, Overlay], gable: Analysis) -> None:
    scene, view, overlay = laid_out
    marks = view.project(scene.clamps)
    for text in overlay.texts:
        if text.halo:
            left, top, right, bottom = text.box
            inside = (marks > [left, top]) & (marks < [right, bottom])
            assert not inside.all(axis=1).any(), text.text


def test_a_missing_strength_is_as_loud_as_a_failure(unverified: Analysis, gable: Analysis) -> None:
    use = clamp_utilization(unverified)
    assert np.isnan(use).any()
    scene = build_scene(unverified)
    words = " ".join(text for text, _ in verdict(unverified, scene))
    assert f"{int(np.isnan(use).sum())} of {len(use)} clamps are not verified" in words
    assert "across the seam" in words
    assert "within their limits" not in words
    overlay = lay_out(unverified, SIZE)[2]
    assert any(text.text == "not" for text in overlay.texts)
    squares = plan_svg(unverified).count(">?</text>")
    assert squares == int(np.isnan(use).sum()) + 1  # and one in the legend
    assert plan_svg(gable).count(">?</text>") == 1


def test_a_known_failure_is_shown_though_another_strength_is_missing(unverified: Analysis) -> None:
    """A clamp past its strength along the seam has failed, whatever the strength across may be."""
    limits = tuple(
        replace(limit, utilization=limit.utilization * 0.0 + 1.2)
        if limit.name == "clamp along the seam"
        else limit
        for limit in unverified.limits
    )
    known = [limit.utilization for limit in limits if limit.target == "clamp"]
    worst = np.nan_to_num(np.concatenate(known), nan=0.0).max(axis=0)
    assert worst.min() >= 1.2
    np.testing.assert_array_equal(clamp_utilization(replace(unverified, limits=limits)), worst)


def test_scale_bar_is_true_along_the_row(laid_out: tuple[Scene, View, Overlay], gable: Analysis) -> None:
    scene, view, overlay = laid_out
    label = next(text for text in overlay.texts if re.fullmatch(r"[0-9.]+ m", text.text))
    length = float(label.text.split()[0])
    layout = gable.project.layout
    row = int(layout.clamp_row[scene.called])
    ends = view.project(scene.rows[row])
    per_meter = np.linalg.norm(ends[1] - ends[0]) / layout.row_length[row]
    lines = [s for s in overlay.shapes if s.fill is None and len(s.points) == 2]
    lengths = np.array([np.linalg.norm(s.points[1] - s.points[0]) for s in lines])
    middles = np.array([s.points.mean(axis=0) for s in lines])
    near = (np.abs(middles[:, 0] - label.at[0]) < 1.0) & (middles[:, 1] < label.at[1])
    assert np.any(np.abs(lengths[near] / length - per_meter) < 1e-6 * per_meter)


def test_many_rows_are_named_in_order_or_reported(tmp_path: Path) -> None:
    head, rest = GABLE.split("[[row]]", 1)
    rows = "".join(
        f'[[row]]\nname = "{plane}-{i:02d}"\nplane = "{plane}"\nup = "{0.4 + 0.4 * i} m"\nevery = 3\n'
        for plane in ("S1", "N1")
        for i in range(10)
    )
    analysis = read(head + rows + rest[rest.index("[design]") :], tmp_path)
    scene, view, overlay = lay_out(analysis, SIZE)
    place = {t.text.split()[0]: t.at for t in overlay.texts if re.match(r"[SN]1-\d\d  ", t.text)}
    keyed = [t.text.split()[1] for t in overlay.texts if re.match(r"\d+  [SN]1-\d\d  ", t.text)]
    assert sorted([*place, *keyed, *(n for n in overlay.unnamed if "-" in n)]) == sorted(
        analysis.project.layout.row_name
    )
    numbers = [t.text for t in overlay.texts if re.fullmatch(r"\d+", t.text)]
    assert all(str(n) in numbers for n in range(1, len(keyed) + 1))
    assert len(place) >= 16
    flat = view.project(scene.rows).mean(axis=1)[:, 1]
    names = analysis.project.layout.row_name
    for plane, right in itertools.product(("S1", "N1"), (False, True)):
        named = [i for i, n in enumerate(names) if n.startswith(plane) and n in place]
        named = [i for i in named if (place[names[i]][0] > 0.5 * SIZE[0]) == right]
        levels = [place[names[i]][1] for i in sorted(named, key=lambda i: flat[i])]
        assert np.all(np.diff(levels) > 0.0)


@given(st.lists(st.floats(-50.0, 150.0), min_size=1, max_size=12), st.floats(0.5, 8.0))
def test_spread_keeps_order_distance_and_bounds(wanted: list[float], pitch: float) -> None:
    places = spread(np.sort(wanted), pitch, 0.0, 100.0)
    assert np.all(np.diff(places) >= pitch - 1e-9)
    assert places[0] >= -1e-9
    assert places[-1] <= 100.0 + 1e-9
    if len(wanted) == 1:
        assert places[0] == pytest.approx(np.clip(wanted[0], 0.0, 100.0))


def test_spread_leaves_alone_what_has_room() -> None:
    assert spread(np.array([10.0, 30.0, 60.0]), 5.0, 0.0, 100.0) == pytest.approx([10.0, 30.0, 60.0])
    # Two at one place move apart by the same amount: least squares.
    assert spread(np.array([50.0, 50.0]), 6.0, 0.0, 100.0) == pytest.approx([47.0, 53.0])


def test_a_renderer_that_crashes_gives_a_reason(
    gable: Analysis, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = tmp_path / "python"
    broken.write_text("#!/bin/sh\nkill -SEGV $$\n", encoding="utf-8")
    broken.chmod(0o755)
    monkeypatch.setattr(sys, "executable", str(broken))
    target = tmp_path / "use.png"
    target.write_bytes(b"before")
    result = draw_utilization(gable, target, size=SIZE)
    assert result.path is None
    assert result.reason == render.NO_OPENGL
    assert "\n" not in result.reason
    assert "libegl1" in result.reason
    assert target.read_bytes() == b"before"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["python", "use.png"]


def test_a_renderer_that_fails_in_python_says_why(
    gable: Analysis, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = tmp_path / "python"
    broken.write_text("#!/bin/sh\necho 'ImportError: no such part' >&2\nexit 1\n", encoding="utf-8")
    broken.chmod(0o755)
    monkeypatch.setattr(sys, "executable", str(broken))
    result = draw_utilization(gable, tmp_path / "use.png", size=SIZE)
    assert (result.path, result.reason) == (None, "ImportError: no such part")


def test_drawing_needs_no_display_and_keeps_quiet(
    gable: Analysis, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("DISPLAY", "nowhere:99")
    with render.Renderer((400, 280)) as renderer:  # one child draws both
        started, bending = start_picture(gable, renderer), start_deflected(gable, renderer)
        result = finish_picture(started, tmp_path / "use.png")
        bent = finish_deflected(bending, tmp_path / "bent.png")
    said = capfd.readouterr()
    assert said.out + said.err == ""
    if result.reason == render.NO_OPENGL:
        pytest.skip(result.reason)
    for path in (result.path, bent.path):
        assert path is not None
        with Image.open(path) as image:
            assert image.size == (400, 280)
            pixels = np.asarray(image).reshape(-1, 3)
        tint = np.abs(pixels - 255.0 * style.rgb(style.TINT)).max(axis=1) <= 1.0
        assert (tint.mean() > 0.05) == (path == bent.path)  # the roof below a row that bends


def test_drawing_counts(laid_out: tuple[Scene, View, Overlay], gable: Analysis) -> None:
    scene, view, _ = laid_out
    drawing = make_drawing(gable, scene, view)
    assert len(drawing.points) == len(drawing.point_rgb)
    assert len(drawing.lines) == len(drawing.line_width) == len(drawing.line_rgb)
    assert len(drawing.tubes) == 3
    index, corners = 0, 0
    while index < len(drawing.faces):
        corners += drawing.faces[index]
        index += drawing.faces[index] + 1
    assert corners == len(drawing.points)
    # The small quads of the picture cover the roof exactly, and carry all of its snow.
    quads = scene.cells[:, :, :2]
    d1, d2 = quads[:, 2] - quads[:, 0], quads[:, 3] - quads[:, 1]
    area = 0.5 * np.abs(d1[:, 0] * d2[:, 1] - d1[:, 1] * d2[:, 0])
    assert area.sum() == pytest.approx(14.0 * 9.0, rel=1e-9)
    total = gable.force.cell_pressure[scene.case] @ gable.graph.cells.plan_area
    assert area @ scene.pressure == pytest.approx(total, rel=5e-3)


def test_a_failed_self_check_comes_first_and_whole(gable: Analysis) -> None:
    proofs = (replace(gable.proofs[0], error=1.0), *gable.proofs[1:])
    failed = replace(gable, proofs=proofs)
    scene = build_scene(failed)
    lines = [text for text, _ in verdict(failed, scene)]
    assert lines[0] == "SELF-CHECK FAILED: do not use"
    assert "within their limits" not in " ".join(lines)
    assert "within their limits" in " ".join(text for text, _ in verdict(gable, build_scene(gable)))
    assert any(text.text == lines[0] for text in lay_out(failed, SIZE)[2].texts)
