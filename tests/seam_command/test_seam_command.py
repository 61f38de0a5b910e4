"""The command `seam`: exit codes, files, and that all of them say the same."""

from __future__ import annotations

import io
import json
import math
import re
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from PIL import Image
from seam_project import GOOD, changed, without_seam

import viewer
from fea.analysis import Analysis
from fea.clamp_detail import ClampDetail
from fea.panel.study import seam_loads
from roofmodel.project.load import load_project
from tests.cli.small_project import run
from viewer.picture import render
from viewer.picture.render import Renderer
from viewer.quantities import percent, quantity, system
from viewer.seam.diagrams import seam_svg
from viewer.seam.export import seam_results
from viewer.seam.findings import bearing_push, path_lines, seam_lines, seam_verdict, verdict_code
from viewer.seam.page import seam_html
from viewer.seam.picture import draw_seam
from viewer.seam.run import study_project

SCHEMA = json.loads((Path(viewer.__file__).parent / "seam.schema.json").read_text())
UNITS = system("SI")


@pytest.fixture(scope="module")
def studied(tmp_path_factory: pytest.TempPathFactory) -> tuple[Analysis, ClampDetail]:
    path = tmp_path_factory.mktemp("seam") / "project.toml"
    path.write_text(GOOD)
    return study_project(load_project(path), "R1-03")


def test_command_writes_everything(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "project.toml").write_text(changed('clip_strength = "2 kN"\n', ""))
    out = tmp_path / "out"
    code = run(
        ["seam", str(tmp_path / "project.toml"), "--clamp", "R1-03", "--out", str(out), "--no-picture"],
        monkeypatch,
    )
    said = capsys.readouterr().out
    assert code == 1  # one limit has no strength
    assert "NOT VERIFIED" in said
    assert "seam.clip_strength is not given" in said.replace("\n", " ")
    assert sorted(p.name for p in out.iterdir()) == ["seam.html", "seam.inp", "seam.json", "seam.vtu"]
    found = json.loads((out / "seam.json").read_text())
    jsonschema.validate(found, SCHEMA)
    assert found["verdict"] == "not verified"
    clip = next(limit for limit in found["limits"] if limit["name"] == "clip uplift")
    assert clip["resistance"] is None
    assert clip["utilization"] is None
    assert clip["demand"] > 0.0
    page = (out / "seam.html").read_text()
    assert '<b class="open">NOT VERIFIED</b>' in page


@pytest.mark.parametrize(
    ("text", "clamp", "says"),
    [
        (GOOD, "R9-99", '--clamp "R9-99": there is no such clamp'),
        (GOOD, "", '--clamp "": there is no such clamp'),
        (without_seam(), "R1-03", "seam is missing; add [seam]"),
        (without_seam(), None, "seam is missing; add [seam]"),
        (changed('"deck"', '"moss"'), None, "seam.bearing"),
    ],
)
def test_bad_input_is_one_line_and_nothing_is_written(
    text: str,
    clamp: str | None,
    says: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    (tmp_path / "project.toml").write_text(text)
    out = tmp_path / "out"
    named = [] if clamp is None else ["--clamp", clamp]
    code = run(
        ["seam", str(tmp_path / "project.toml"), *named, "--out", str(out), "--no-picture"], monkeypatch
    )
    said = capsys.readouterr().err.splitlines()
    assert code == 2
    assert len(said) == 1
    assert says in said[0]
    assert not out.exists()


def test_output_may_not_be_a_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "project.toml").write_text(GOOD)
    (tmp_path / "taken").write_text("mine")
    code = run(
        ["seam", str(tmp_path / "project.toml"), "--out", str(tmp_path / "taken"), "--no-picture"],
        monkeypatch,
    )
    assert code == 2
    assert "is a file" in capsys.readouterr().err
    assert (tmp_path / "taken").read_text() == "mine"


def test_exit_code_follows_the_verdict(studied: tuple[Analysis, ClampDetail]) -> None:
    analysis, detail = studied
    lines = seam_lines(detail)
    worst = max(line.utilization for line in lines)
    assert verdict_code(detail) == ("pass" if worst <= 1.0 else "exceeded")
    assert seam_verdict(analysis, detail, UNITS).passed == (verdict_code(detail) == "pass")


def test_reactions_balance_the_clamp(studied: tuple[Analysis, ClampDetail]) -> None:
    _, detail = studied
    grip = detail.study.action.grip[:3]
    total = sum(line.force for line in path_lines(detail)) + grip
    assert np.linalg.norm(total) < 2e-3 * np.linalg.norm(grip)


def test_bearing_by_line_sums_to_the_load_path(studied: tuple[Analysis, ClampDetail]) -> None:
    study = studied[1].study
    after, before = (bearing_push(studied[1], u)[1].sum() for u in (study.displacement, study.start))
    assert after == pytest.approx(study.path.bearing_total, rel=1e-6)
    assert after - before == pytest.approx(study.path.bearing, rel=1e-6, abs=1e-6)


@pytest.mark.parametrize(("way", "axis"), [("along", 0), ("pull", 2)])
def test_diagram_sums_to_nothing(studied: tuple[Analysis, ClampDetail], way: str, axis: int) -> None:
    """Bars of clamp, clips, bearing and fixed point are in balance, and the clamp's is the applied force."""
    drawing, grip = seam_svg(*studied), studied[1].study.action.grip
    bars = [float(value) for value in re.findall(rf'data-{way}="([^"]+)"', drawing)]
    assert len(bars) > 2
    assert sum(bars) == pytest.approx(0.0, abs=2e-3 * float(np.linalg.norm(grip[:3])))
    clamp = re.findall(rf'data-part="clamp" data-{way}="([^"]+)"', drawing)
    assert [float(c) for c in clamp] == [grip[axis]]


def test_page_says_what_the_study_says(studied: tuple[Analysis, ClampDetail]) -> None:
    analysis, detail = studied
    page = seam_html(analysis, detail, picture_reason="not asked for")
    for line in seam_lines(detail):
        row = re.search(rf'<th scope="row">{re.escape(line.name)}</th>.*?</tr>', page, re.DOTALL)
        assert row is not None
        if line.demand > 0.0:
            assert f">{quantity(line.demand, line.kind, UNITS)}<" in row[0]
            assert f">{percent(line.utilization)}<" in row[0]
    for K in (detail.study.stiffness, detail.study.stiffness_closed):
        assert f">{K[0, 0]:.4g}<" in page
    assert analysis.project.digest in page
    assert "(judgment)" in page
    assert "No picture: not asked for." in page
    assert "http://" not in page.replace("http://www.w3.org/2000/svg", "")
    assert "https://" not in page


def test_data_are_complete_and_valid(studied: tuple[Analysis, ClampDetail]) -> None:
    found, study = seam_results(*studied), studied[1].study
    jsonschema.validate(found, SCHEMA)
    assert np.array(found["stiffness"]["as_loaded"]) == pytest.approx(study.stiffness)
    clips = [clip["more"] for clip in found["load_path"]["clips"]]
    assert np.sum(clips, axis=0) == pytest.approx(study.path.clip.sum(axis=(0, 1)))
    assert len(found["fold"]["opening"]) == len(found["fold"]["up_the_seam"])


def test_loads_of_the_deck_are_those_of_the_study(studied: tuple[Analysis, ClampDetail]) -> None:
    """Their sums: the grip's force, and snow and own weight of the window by hand."""
    analysis, detail = studied
    study, loads = detail.study, seam_loads(detail.study.field, detail.study.action)
    n = len(study.field.model.xyz)
    force = loads[: 6 * n].reshape(n, 6, 2)[:, :3].sum(axis=0)
    assert force[:, 1] - force[:, 0] == pytest.approx(study.action.grip[:3], abs=1e-6)
    x, panel = study.field.mesh.x, analysis.project.panel
    area = (x[-1] - x[0]) * panel.seam_spacing * study.field.strips
    snow = -study.action.pressure * area
    assert force[2, 0] < snow  # more than the snow: the sheet's own weight
    assert force[2, 0] == pytest.approx(snow, rel=0.15)


def test_picture(studied: tuple[Analysis, ClampDetail], tmp_path: Path) -> None:
    with Renderer((1000, 700)) as renderer:
        drawn = draw_seam(*studied, renderer, tmp_path / "seam.png")
    if drawn.reason == render.NO_OPENGL:
        pytest.skip(drawn.reason)
    assert drawn.path is not None, drawn.reason
    with Image.open(drawn.path) as image:
        pixels = np.asarray(image)
    assert pixels.shape == (700, 1000, 3)
    middle = pixels[200:520].reshape(-1, 3).astype(int)
    warm = (middle[:, 0] - middle[:, 2]) > 25  # sheet in the colors of utilization
    assert warm.mean() > 0.05


def test_picture_of_a_panel_without_bearing(studied: tuple[Analysis, ClampDetail]) -> None:
    """Every text has words and lies in the picture, also where nothing presses on the pan."""
    from dataclasses import replace

    from viewer.seam.picture import compose_seam
    from viewer.seam.scene import build_seam_scene, seam_view

    analysis, detail = studied
    path = replace(detail.study.path, bearing=0.0, bearing_total=0.0)
    bare = tuple(replace(study, path=path) for study in detail.states.study)
    detail = replace(detail, states=replace(detail.states, study=bare))
    scene = build_seam_scene(analysis, detail)
    view = seam_view(scene, (325.0, 520.0, 1770.0, 960.0), (2000, 1400))
    for text in compose_seam(analysis, detail, scene, view).texts:
        left, top, right, bottom = text.box
        assert text.text
        assert 0.0 <= left < right <= 2000.0
        assert 0.0 <= top < bottom <= 1400.0


def test_a_weaker_sheet_exceeds(studied: tuple[Analysis, ClampDetail]) -> None:
    """Utilization of the sheet goes with one over its strength, and the verdict follows."""
    from dataclasses import replace

    from fea.panel.limits import seam_limits

    analysis, detail = studied
    seam = analysis.project.seam
    assert seam is not None
    stress = max(float(study.peaks.stress.max()) for study in detail.states.study)
    words = [source.words for source in detail.source]
    weak = replace(seam, sheet_strength=0.5 * stress)
    limits = seam_limits(detail.states, words, analysis.project.panel, weak, "R1-03")
    worse = replace(detail, limits=limits)
    assert verdict_code(worse) == "exceeded"
    sheet = [line.utilization for line in seam_lines(worse) if line.name.startswith("sheet stress")]
    assert max(sheet) == pytest.approx(2.0)
    weaker = replace(seam, sheet_strength=math.nan)
    unknown = seam_limits(detail.states, words, analysis.project.panel, weaker, "R1-03")
    assert verdict_code(replace(detail, limits=unknown)) == "not verified"
    said = seam_verdict(analysis, replace(detail, limits=unknown), UNITS).sentence
    assert said.index("NOT VERIFIED: seam.yield_factor is not given") < said.index("uses")


def test_picture_names_what_is_not_verified_before_anything_governs(
    studied: tuple[Analysis, ClampDetail],
) -> None:
    from dataclasses import replace

    from fea.panel.limits import seam_limits
    from viewer.seam.picture import compose_seam
    from viewer.seam.scene import build_seam_scene, seam_view

    analysis, detail = studied
    seam = analysis.project.seam
    assert seam is not None
    words = [source.words for source in detail.source]
    panel = analysis.project.panel
    unknown = seam_limits(detail.states, words, panel, replace(seam, sheet_strength=math.nan), "R1-03")
    detail = replace(detail, limits=unknown)
    scene = build_seam_scene(analysis, detail)
    view = seam_view(scene, (325.0, 520.0, 1770.0, 960.0), (2000, 1400))
    texts = [text.text for text in compose_seam(analysis, detail, scene, view).texts]
    assert not any(text.startswith("governs") for text in texts)
    assert any("seam.yield_factor" in text for text in texts)
    assert any("of nominal yield" in text for text in texts)


def test_terminal_tells_the_states_and_does_not_list_the_deck(
    studied: tuple[Analysis, ClampDetail],
) -> None:
    from rich.console import Console

    from viewer.seam.terminal import print_seam

    console = Console(width=200, record=True, file=io.StringIO())
    print_seam(*studied, tuple(f"thing {i}" for i in range(8)), console)
    said = console.export_text()
    assert said.count("seam.inp") == 1
    for line in seam_lines(studied[1]):
        if line.demand > 0.0:
            assert f"Worst in {line.worst}: " in said
