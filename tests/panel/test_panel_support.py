"""Rows on panels that give way, in the whole frame and from the project file."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import sparse

from fea.analysis import analyze
from fea.cautions import along_change
from fea.panel.plane import plane_field, series
from fea.panel.support import BORNE, panel_support, strips_of
from fea.rails.frame import build_frame, solve_frame
from fea.rails.loads import RailLoads
from roofmodel.errors import InputError
from roofmodel.hardware import Clamp, Interaction, Material, Rail
from roofmodel.layout import Layout
from roofmodel.project.load import load_project
from roofmodel.sections import round_tube

STEEL = Material("steel", 210e9, 80.77e9, 12e-6, 7850.0, 235e6)
RAIL = Rail(round_tube(0.0424, 0.003, 0.3), STEEL, np.nan, 0.0, 1.0, "")
NONE = np.full(6, np.nan)
K_CLAMP = np.diag([2e6, 1e6, 3e6, 0.0, 1500.0, 0.0])
CLAMP = Clamp(K_CLAMP, NONE, NONE, 1.0, "", 0.06, 0.03, 0.07, 0.0, Interaction.LINEAR, "")
COUNT, SPACING = 5, 0.4

PROJECT = """
[project]
name = "Field barn"
[site]
standard = "measured"
level = "strength"
layers = [{ depth = "0.5 m", density = ["300 kg/m^3"] }]
[[roof.part]]
shape = "gable"
footprint = "0 0, 3 0, 3 6, 0 6 m"
pitches = ["gable", "25 deg", "gable", "25 deg"]
eave_height = "3 m"
[surface]
slippery = true
[panel]
metal = "steel"
seam_spacing = "0.5 m"
seam_height = "50 mm"
thickness = "0.6 mm"
clip_spacing = "0.6 m"
anchorage = "40 kN"
anchorage_factor = 2.0
[seam]
lock = "double lock"
yield_strength = "280 MPa"
clip_first = "0.3 m"
clip_stiffness = { across = "1 kN/mm", pull = "2 kN/mm" }
bearing = "deck"
@SEAM@
[rail]
shape = "round tube"
diameter = "42.4 mm"
wall = "3 mm"
material = "steel"
yield_strength = "235 MPa"
[clamp]
height = "60 mm"
grip_length = "70 mm"
test_height = "60 mm"
stiffness = { along = "2 kN/mm", across = "1 kN/mm", pull = "3 kN/mm" }
strength = { along = "8 kN", across = "4 kN", pull = "5 kN", push = "8 kN" }
strength_kind = "nominal"
factor = 2.0
[[row]]
name = "E"
plane = "E1"
up = "@UP@"
[design]
format = "ASD"
rail_height_ratio = 0.05
[analysis]
panel_flexibility = @FLEX@
"""


def row_layout() -> Layout:
    s = 0.2 + SPACING * np.arange(COUNT)
    return Layout(
        row_name=("R",),
        row_plane=np.zeros(1, dtype=np.int64),
        row_start=np.array([[0.0, 0.6]]),
        row_end=np.array([[2.0, 0.6]]),
        row_full=np.ones((1, 2), dtype=bool),
        clamp_name=tuple(f"R-{i}" for i in range(COUNT)),
        clamp_row=np.zeros(COUNT, dtype=np.int64),
        clamp_s=s,
        clamp_uv=np.stack([s, np.full(COUNT, 0.6)], axis=1),
        clamp_seam=np.arange(COUNT),
        seam_angle=np.zeros(1),
        splice_row=np.zeros(0, dtype=np.int64),
        splice_s=np.zeros(0),
        splice_kind=(),
    )


def loads(travel: np.ndarray | None = None) -> RailLoads:
    line = np.zeros((1, 1, 4))
    line[0, 0, :2] = [30.0, -2000.0]
    return RailLoads(
        row=np.zeros(1, dtype=np.int64),
        s0=np.array([0.3]),
        s1=np.array([1.7]),
        line=line,
        point_row=np.zeros(0, dtype=np.int64),
        point_s=np.zeros(0),
        point=np.zeros((1, 0, 6)),
        thermal=np.zeros(1),
        travel=travel,
    )


def panel_matrix(seed: int = 0) -> np.ndarray:
    """A panel field that joins all clamps, positive definite."""
    A = np.random.default_rng(seed).normal(size=(6 * COUNT, 6 * COUNT))
    size = np.tile(np.sqrt([4e6, 3e5, 2e6, 100.0, 1e5, 400.0]), COUNT)
    return size[:, None] * (np.eye(6 * COUNT) + 0.02 * A @ A.T / COUNT) * size


def test_series_is_the_frame_with_its_grips_kept():
    """Panels that move under the clamps, step by step until nothing changes, end at the same forces."""
    panel, own = panel_matrix(), np.kron(np.eye(COUNT), K_CLAMP)
    support = sparse.csr_array(series(own, panel))
    found = solve_frame(build_frame(row_layout(), RAIL, CLAMP, support=support), loads())
    stiff = build_frame(row_layout(), RAIL, CLAMP)
    rigid = solve_frame(stiff, loads())
    force = rigid.clamp_force
    for _ in range(400):
        moved = np.linalg.solve(panel, force.reshape(-1)).reshape(1, COUNT, 6)
        update = solve_frame(stiff, loads(travel=moved)).clamp_force
        force = 0.8 * force + 0.2 * update
    np.testing.assert_allclose(found.clamp_force, force, rtol=1e-6, atol=1e-6 * np.abs(force).max())
    assert np.abs(found.clamp_force - rigid.clamp_force).max() > 1e-3 * np.abs(force).max()
    np.testing.assert_allclose(found.applied, found.reaction, rtol=1e-9, atol=1e-6)


def test_a_stiff_panel_changes_nothing():
    own = np.kron(np.eye(COUNT), K_CLAMP)
    support = sparse.csr_array(series(own, 1e7 * panel_matrix()))
    soft = solve_frame(build_frame(row_layout(), RAIL, CLAMP, support=support), loads())
    rigid = solve_frame(build_frame(row_layout(), RAIL, CLAMP), loads())
    scale = np.abs(rigid.clamp_force).max()
    np.testing.assert_allclose(soft.clamp_force, rigid.clamp_force, atol=1e-5 * scale)
    np.testing.assert_allclose(along_change(soft.clamp_force[None], rigid.clamp_force[None]), 0.0, atol=1e-4)


def test_seams_that_travel_alike_bring_no_force_and_one_alone_is_held_by_the_rail():
    frame = build_frame(row_layout(), RAIL, CLAMP)
    nothing = solve_frame(frame, loads()).clamp_force
    alike = np.zeros((1, COUNT, 6))
    alike[..., 0] = 1e-3
    moved = solve_frame(frame, loads(travel=alike)).clamp_force
    np.testing.assert_allclose(moved, nothing, atol=1e-6 * np.abs(nothing).max())
    alone = np.zeros((1, COUNT, 6))
    alone[0, 2, 0] = 1e-3
    extra = solve_frame(frame, loads(travel=alone)).clamp_force - nothing
    assert extra[0, 2, 0] < 0.0 < extra[0, 1, 0]
    assert extra[0, :, 0].sum() == pytest.approx(0.0, abs=1e-6 * abs(extra[0, 2, 0]))


def project(folder: Path, *, flexible: bool, seam: str = "", up: str = "0.6 m") -> Path:
    text = PROJECT.replace("@SEAM@", seam).replace("@FLEX@", str(flexible).lower()).replace("@UP@", up)
    path = folder / "project.toml"
    path.write_text(text)
    return path


def test_check_on_panels_that_give_way(tmp_path):
    rigid = analyze(load_project(project(tmp_path, flexible=False)))
    soft = analyze(load_project(project(tmp_path, flexible=True)))
    assert rigid.rigid_force is None
    np.testing.assert_allclose(soft.rigid_force, rigid.clamp_force, rtol=1e-9, atol=1e-6)
    change = along_change(soft.clamp_force, soft.rigid_force)
    assert 1e-4 < np.abs(change).max() < 0.3
    total = [f[..., 0].sum(axis=-1) for f in (soft.clamp_force, rigid.clamp_force)]
    np.testing.assert_allclose(total[0], np.tile(total[1], 2), rtol=1e-6)  # both states carry all of it
    assert all(proof.met for proof in soft.proofs)


def skewed(folder: Path) -> Path:
    path = project(folder, flexible=True, up="1.2 m")
    turn = '[[plane]]\nname = "E1"\nseam_angle = "20 deg"\n[surface]'
    text = path.read_text().replace('up = "1.2 m"', 'up = "1.2 m"\nend = "3 m"')
    path.write_text(text.replace("[surface]", turn))
    return path


@pytest.fixture(scope="module")
def studied(tmp_path_factory):
    """A check with seams askew to the row, what it told on its way, and the panel field of each state."""
    told, fields = [], {}

    def kept(*args, **options):
        fields[bool(options["held"])] = plane_field(*args, **options)
        return fields[bool(options["held"])]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("fea.panel.support.plane_field", kept)
        return analyze(load_project(skewed(tmp_path_factory.mktemp("skewed"))), told.append), told, fields


def limit_of(analysis, name):
    return next(limit for limit in analysis.limits if limit.name == name)


def test_every_limit_takes_the_worse_of_bearing_both_ways_and_none(studied, monkeypatch):
    """Either state by itself, solved alone, is nowhere worse than the check, and each is somewhere as bad."""
    found, _, fields = studied
    monkeypatch.setattr("fea.panel.support.plane_field", lambda *_, held, **__: fields[bool(held)])
    alone = []
    for state in BORNE:
        monkeypatch.setattr("fea.panel.support.BORNE", (state,))
        alone.append(analyze(found.project))
    for name in (
        "clamp combined",
        "clamp across the seam",
        "rail stress",
        "rail deflection",
        "panel anchorage",
    ):
        use, each = limit_of(found, name), [limit_of(one, name) for one in alone]
        worse = np.maximum(each[0].demand, each[1].demand)
        assert (use.demand >= worse * (1.0 - 1e-9)).all()
        if name != "panel anchorage":  # the drag of a strip may take each clamp from another state
            np.testing.assert_allclose(use.demand, worse, rtol=1e-9)
    both, hung = (limit_of(one, "clamp combined").utilization.max() for one in alone)
    assert limit_of(found, "clamp combined").utilization.max() == pytest.approx(max(both, hung))
    assert hung > 1.02 * both
    np.testing.assert_allclose(found.reserve, np.minimum(alone[0].reserve, alone[1].reserve))
    assert found.reserve[0] < 0.99 * alone[0].reserve[0]


def test_flexible_check_tells_how_use_changes_from_rigid_seams(studied, tmp_path):
    """The numbers in the words are those of a check on rigid seams and of this one."""
    path, soft = skewed(tmp_path), studied[0]
    path.write_text(path.read_text().replace("panel_flexibility = true", "panel_flexibility = false"))
    rigid = analyze(load_project(path))
    words = next(line for line in soft.cautions if "Against rigid seams" in line)
    for analysis in (rigid, soft):
        for name in ("clamp combined", "rail stress"):
            limit = limit_of(analysis, name)
            use = limit.utilization.max(axis=0)
            assert f"{100.0 * use.max():.1f} % ({limit.target_name[use.argmax()]}" in words
    assert not any("Against rigid seams" in line for line in rigid.cautions)


def test_check_says_what_it_did_not_study_under_the_clamps(tmp_path):
    found = analyze(load_project(project(tmp_path, flexible=False)))
    use = limit_of(found, "clamp combined").utilization.max(axis=0)
    name = found.project.layout.clamp_name[int(use.argmax())]
    assert (
        sum(f"eavewright seam with this project, first with --clamp {name}" in c for c in found.cautions) == 1
    )
    bare = analyze(replace(found.project, seam=None))
    assert not any("eavewright seam" in line for line in bare.cautions)


def test_restrained_warmth_is_added_to_the_anchorage(tmp_path):
    """Clamps at 0.9 m stand on the second clip: F = alpha dT L / (1/k + L/EA + 1/k) on every strip."""
    seam = 'temperature_change = "-30 K"'
    cold = analyze(load_project(project(tmp_path, flexible=False, seam=seam, up="0.9 m")))
    calm = analyze(load_project(project(tmp_path, flexible=False, up="0.9 m")))
    anchorage = [next(limit for limit in a.limits if limit.name == "panel anchorage") for a in (cold, calm)]
    extra = anchorage[0].demand - anchorage[1].demand
    strips = strips_of(cold.project)
    length = strips.length[0] - 0.9
    area = 0.0006 * (0.5 + 2.0 * 0.0375 + 5.0 * 0.0125)
    force = 12e-6 * 30.0 * length / (2.0 / 1e7 + length / (210e9 * area))
    np.testing.assert_allclose(extra, force, rtol=1e-3)
    assert any("Second fixed point" in line for line in cold.cautions)


def test_a_gap_of_the_clips_is_told(studied, monkeypatch):
    found, _, fields = studied
    monkeypatch.setattr("fea.panel.support.plane_field", lambda *_, held, **__: fields[bool(held)])
    loaded = found.project
    assert not any("gap of the clips" in note for note in panel_support(loaded).notes)
    loose = replace(loaded, seam=replace(loaded.seam, clip_gap=0.002))
    assert any("gap of the clips, 2.0 mm, is not counted" in note for note in panel_support(loose).notes)


def test_seams_that_nothing_holds_are_refused(studied, monkeypatch):
    """A field that gives no resistance to one movement of one grip; the same with a little does stand."""
    loaded, fields = studied[0].project, studied[2]

    def loose(*_, held, **__):
        found = fields[bool(held)]
        K = found.stiffness.copy()
        if held:  # the state without bearing
            at = K[:, 2].copy()
            K -= np.outer(at, at) / at[2]
        return replace(found, stiffness=K + rest * np.eye(len(K)))

    monkeypatch.setattr("fea.panel.support.plane_field", loose)
    rest = 10.0
    assert len(panel_support(loaded).stiffness) == 2
    rest = 0.0
    with pytest.raises(InputError, match=r"plane E1: nothing holds the seams .* the sheet bears on nothing"):
        panel_support(loaded)


def test_long_work_tells_how_far_it_has_come(studied):
    found, told, _ = studied
    strips = int(told[0].rsplit(" ", 1)[1])
    assert told[:2] == [f"plane E1, {BORNE[0][0]}: panel strip {i} of {strips}" for i in (1, 2)]
    assert len(told) == len(found.support.states) * (strips + 1)  # each strip, and that they are joined


def test_nothing_of_panels_without_the_table(tmp_path):
    loaded = load_project(project(tmp_path, flexible=False))
    bare = panel_support(replace(loaded, seam=None))
    assert bare.stiffness == ()
    assert bare.restraint is None
    assert not bare.travel.any()
