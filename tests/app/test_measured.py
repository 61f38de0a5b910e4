"""Clamps measured on site, named in the app; what is only tried out; exports of which one refuses."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import pytest
from open_app import browser, copied, served

from fea.checks.audit import REFINED
from roofmodel.project.load import load_project
from viewer.app import exports
from viewer.app.messages import SetRow
from viewer.app.session import change, open_state, preview, solved


@pytest.fixture
def measured(tmp_path):
    """A project and a file beside it in which one row's second clamp was left out."""
    path = copied(tmp_path)
    layout = load_project(path).layout
    lines = [f"{layout.row_name[r]},{s}" for r, s in zip(layout.clamp_row, layout.clamp_s, strict=True)]
    (path.parent / "clamps.csv").write_text("row,along [m]\n" + "\n".join(lines[:1] + lines[2:]) + "\n")
    return path, len(lines)


def test_measured_clamps_are_taken_undone_and_saved(measured):
    path, planned = measured
    with served(path) as client, browser(client) as one:
        assert one.state["csv_files"] == ["clamps.csv"]
        kept = one.state["governing"]["use"]
        taken = one.ask(type="measured", file="clamps.csv")
        assert len(taken["clamps"]["names"]) == planned - 1
        assert taken["measured"] == "clamps.csv"
        assert f"{planned - 1} on" in taken["measured_found"]
        assert taken["governing"]["use"] > kept  # the neighbors take over what the missing clamp held
        back = one.ask(type="undo")
        assert len(back["clamps"]["names"]) == planned
        one.ask(type="redo")
        one.ask(type="save")
        assert tomllib.loads(path.read_text())["as_built"] == {"file": "clamps.csv"}
        assert load_project(path).layout.clamp_name == tuple(taken["clamps"]["names"])
        gone = one.ask(type="measured", file=None)
        assert not gone["measured"]
        assert not gone["measured_found"]
        assert not any("measured" in line for line in gone["verdict"]["cautions"])
        assert len(gone["clamps"]["names"]) == planned


@pytest.mark.parametrize("name", ["../clamps.csv", "/etc/passwd", "link.csv", "sub/../../clamps.csv"])
def test_measured_clamps_come_from_the_project_folder_only(measured, tmp_path, name):
    path, planned = measured
    (tmp_path / "clamps.csv").write_text((path.parent / "clamps.csv").read_text())
    (path.parent / "link.csv").symlink_to(tmp_path / "clamps.csv")
    with served(path) as client, browser(client) as one:
        said = one.ask(type="measured", file=name)
        assert said["type"] == "error"
        assert said["message"].startswith("as_built.file")
        assert len(one.state["clamps"]["names"]) == planned


def test_a_measured_file_that_is_wrong_says_where(measured):
    path, _ = measured
    (path.parent / "bad.csv").write_text("row,along [m]\nnobody,1.0\n")
    with served(path) as client, browser(client) as one:
        assert "bad.csv, line 2" in one.ask(type="measured", file="bad.csv")["message"]
        assert "none.csv" in one.ask(type="measured", file="none.csv")["message"]
        assert "no clamps are measured" in one.ask(type="measured", file=None)["message"]


def test_strips_of_another_width_are_tried_when_a_change_is_kept(tmp_path):
    state = open_state(copied(tmp_path))
    state = replace(state, now=solved(state.now))
    name = state.now.project.layout.row_name[0]
    edit = SetRow(id=1, type="row", revision=state.revision, row=name, fields={"up": "1.3 m"})

    def checks(version):
        return {proof.name: proof.met for proof in version.analysis.proofs}

    tried, kept = checks(preview(state, edit)), checks(change(state, edit).now)
    assert set(kept) - set(tried) == {REFINED}
    # Where they failed what is there, the trial is not called sound.
    proofs = tuple(replace(p, error=1.0) if p.name == REFINED else p for p in state.now.analysis.proofs)
    coarse = replace(state.now, analysis=replace(state.now.analysis, proofs=proofs))
    assert checks(preview(replace(state, now=coarse), edit))[REFINED] is False


def test_a_command_that_refuses_leaves_what_others_wrote(tmp_path, monkeypatch):
    async def run(arguments, folder, part, tell):
        if part.command == "risk":
            return 2, "project.toml: there is no table [uncertainty]"
        (folder / "results" / part.command).mkdir(parents=True)
        (folder / "results" / part.command / "roof.png").write_bytes(b"")
        return 0, ""

    monkeypatch.setattr(exports, "_run", run)
    path = copied(tmp_path)
    with served(path) as client, browser(client) as one:
        done = one.ask(type="export", folder="results", parts=["risk", "roof"])
        assert done["type"] == "exported", done
        risk, roof = done["links"]
        assert roof["names"] == ["roof.png"]
        assert risk["names"] == []
        assert risk["note"] == "risk: project.toml: there is no table [uncertainty]"
        assert one.ask(type="export", folder="results", parts=["risk"])["message"] == risk["note"]
