"""What nobody gave of splices and clamps is followed at both ends, or said, by every command."""

import json
import re
from dataclasses import replace

import meshio
import numpy as np
import pytest
from small_project import GOOD, changed, put

from fea.analysis import analyze
from fea.blanket.study import study_blanket
from fea.clamp_detail import seam_actions
from fea.failure import unknown_ends
from fea.failure.roof_case import Laws, choose_cases
from fea.failure.unknown_ends import choose_ends
from fea.push import project
from fea.push.project import push_project
from fea.push.watch import Failures
from fea.unknowns import ROCKING, SPLICES, ends_of, one_end_words, unknown_fields, worse_words
from roofmodel.project.load import load_project
from viewer.export import write_meshes
from viewer.push.export import push_data
from viewer.push.words import answer
from viewer.quantities import significant
from viewer.rails_deck import write_rails_deck

GIVEN = ', rocking = "1200 N*m/rad"'
UPRIGHT = ', rocking = "100000 kN*m/rad"'
ENDS = [
    (torsion, rocking) for torsion in ("passed", "free") for rocking in ("600 N*m/rad", "100000 kN*m/rad")
]


SPLICED = 'up = "0.6 m"\nevery = 2\nsplice_every = "3.3 m"\nsplice_kind = "hinge"'


def text(torsion=None, rocking=None):
    """Clamps at every second seam with hinged splices between them; None for what nobody gives."""
    one = changed('up = "0.6 m"', SPLICED)
    one = changed("[rail]", "[rail]" if torsion is None else f'[rail]\nsplice_torsion = "{torsion}"', one)
    assert GIVEN in one
    soft = 'pull = "2 kN/mm"'  # x grip^2 / 12 = 600 N m/rad
    one = one.replace('pull = "4 kN/mm"', soft)
    return one.replace(GIVEN, "" if rocking is None else f', rocking = "{rocking}"')


def analysis(folder, *given):
    return analyze(load_project(put(folder, text(*given))))


def same(a, b):
    return a == pytest.approx(b, rel=1e-6, abs=1e-6 * float(np.abs(b).max()))


def test_the_ends_are_those_of_projects_that_give_them(tmp_path):
    open_ = analysis(tmp_path)
    assert unknown_fields(open_.project) == (SPLICES, ROCKING)
    ends = ends_of(open_)
    assert len({end.words for end in ends}) == len(ends) == 4
    for end, given in zip(ends, ENDS, strict=True):
        alone = analysis(tmp_path, *given)
        assert same(end.analysis.clamp_force, alone.clamp_force)
        assert unknown_fields(alone.project) == ()
        assert ends_of(alone)[0].words == ""
        own, its = (
            next(one.utilization for one in found.limits if one.name == "clamp combined")
            for found in (end.analysis, alone)
        )
        assert same(own, its)


def test_push_takes_the_end_that_lets_go_first(tmp_path):
    found = push_project(analysis(tmp_path), Failures())
    assert found.unknown == (SPLICES, ROCKING)
    alone = [push_project(analysis(tmp_path, *given), Failures()).push for given in ENDS]
    assert max(one.most for one in alone) > 1.02 * min(one.most for one in alone)
    assert found.push.most == pytest.approx(min(one.most for one in alone), rel=1e-6)
    least = min(found.push.first, *(one.first for one in found.others))
    assert least == pytest.approx(min(one.first for one in alone), rel=1e-6)
    assert len(found.others) == 3
    assert (
        found.notes[0]
        == worse_words(analysis(tmp_path).project, "are followed; what is shown lets go at the least snow")[0]
    )
    assert SPLICES in found.notes[0]
    assert ROCKING in found.notes[0]


def test_a_push_that_fails_at_one_end_does_not_pass(tmp_path):
    found = push_project(analysis(tmp_path), Failures())
    least = min(found.push.first, *(one.first for one in found.others))
    worst = replace(found, missing=(), exceeded=(), check_reserve=np.nan)
    assert worst.passes is (least >= 1.0)
    lower = replace(worst.others[0], first=0.99)
    assert not replace(worst, others=(lower, *worst.others[1:])).passes
    assert not replace(worst, others=(replace(lower, first=2.0, answered=False), *worst.others[1:])).passes


def test_a_push_counts_what_the_check_finds_at_any_end(tmp_path, monkeypatch):
    """Whichever is shown: here one of clamps that tip, as if the others let go later."""
    one = analysis(tmp_path)
    worst = push_project(one, Failures())
    assert "do not tip" in worst.state
    push_end = project._push_end

    def later(end, *args, **options):
        found = push_end(end, *args, **options)
        if "do not tip" in end.words:
            found = replace(found, push=replace(found.push, most=9.0), missing=("clamp.strength.across",))
        return found

    monkeypatch.setattr(project, "_push_end", later)
    found = push_project(one, Failures())
    assert "do not tip" not in found.state
    assert found.exceeded == worst.exceeded
    assert found.missing == ("clamp.strength.across",)
    sooner = min(other.first for other in found.others)
    assert sooner < 0.95 * found.push.first
    assert answer(one, found).endswith(f"the first event comes at {significant(sooner)} times already.")
    assert "already" not in answer(one, worst)


def test_push_says_it_in_its_data(tmp_path):
    one = analysis(tmp_path, "passed")
    data = push_data(one, push_project(one, Failures()))
    assert data["not_settled"] == [ROCKING]
    assert {one["name"] for one in data["states"]} == {"clamps tip as by default", "clamps do not tip"}
    assert [one["shown"] for one in data["states"]] == [True, False]
    assert data["states"][0]["largest_factor"] == data["largest_factor"]
    given = analysis(tmp_path, *ENDS[0])
    known = push_data(given, push_project(given, Failures()))
    assert known["not_settled"] == known["states"] == []


def test_risk_follows_every_sample_at_every_end(tmp_path):
    laws = Laws()
    open_ = choose_ends(analysis(tmp_path), None, laws)
    for given in ENDS:
        for case in choose_cases(analysis(tmp_path, *given), None, laws):
            assert any(
                one.case == case.case and same(one.use, case.use) and same(one.roof.roof.Z, case.roof.roof.Z)
                for one in open_
            )
    assert float(open_[0].use.max()) == max(float(one.use.max()) for one in open_)
    assert "NOT GIVEN" in open_[0].notes[0]
    alone = analysis(tmp_path, *ENDS[0])
    assert not any("NOT GIVEN" in note for one in choose_ends(alone, None, laws) for note in one.notes)


def test_risk_says_which_ends_it_leaves_out(tmp_path, monkeypatch):
    """Where splices that part differ, those that pass torsion on are taken, of both kinds of clamps."""
    monkeypatch.setattr(unknown_ends, "_parts", lambda one: "no torsion" in one.state)
    open_ = choose_ends(analysis(tmp_path), None, Laws())
    assert {one.state for one in open_} == {
        f"splices pass torsion, clamps {tip}" for tip in ("tip as by default", "do not tip")
    }
    alone, both = open_[0].notes[:2]
    assert alone.startswith(f"NOT GIVEN: {SPLICES}: samples follow rows with splices that pass torsion on al")
    assert both.startswith(f"NOT GIVEN: {ROCKING}: clamps that tip as by default and not at all are followed")


def test_the_seam_tries_forces_of_clamps_that_do_not_tip(tmp_path):
    open_, stiff = analysis(tmp_path, "passed"), analysis(tmp_path, *ENDS[1])
    clamp = int(np.abs(stiff.clamp_force[..., 4]).max(axis=(0, 1)).argmax())
    tried, sources = seam_actions(open_, clamp)
    moments = np.abs([one.grip[4] for one in tried])
    assert moments.max() == pytest.approx(np.abs(stiff.clamp_force[:, :, clamp, 4]).max(), rel=1e-6)
    assert moments.max() > 1.05 * np.abs(open_.clamp_force[:, :, clamp, 4]).max()
    assert sources[int(moments.argmax())].words.endswith("clamps do not tip")


def test_the_layer_counts_clamps_that_do_not_tip(tmp_path):
    """The layer leans on one structure and says so; what it brings is shared out in every state."""
    open_, soft = (
        study_blanket(load_project(put(tmp_path, text("passed", k)))) for k in (None, "600 N*m/rad")
    )
    assert (open_.worst_use >= soft.worst_use * (1.0 - 1e-9)).all()
    assert (open_.worst_use > 1.02 * soft.worst_use).any()
    assert open_.notes[0] == one_end_words(open_.project, "the layer leans on")[0]
    assert not any("NOT GIVEN" in note for note in soft.notes)


def test_deck_and_mesh_of_the_rails_say_which_state_they_hold(tmp_path):
    open_, known = analysis(tmp_path), analysis(tmp_path, *ENDS[0])
    for one, said in ((open_, True), (known, False)):
        assert write_rails_deck(one, tmp_path / "structure.inp")
        write_meshes(one, tmp_path)
        deck, mesh = ((tmp_path / name).read_text() for name in ("structure.inp", "rails.vtu"))
        for found in (deck, mesh):
            assert (f"NOT GIVEN: {ROCKING}" in " ".join(re.sub(r"[*<>!\n-]+", " ", found).split())) is said
        assert (f"NOT GIVEN: {SPLICES}" in mesh) is said
        assert len(meshio.read(tmp_path / "rails.vtu").points)


def test_continuous_rails_and_given_clamps_say_nothing(tmp_path):
    good = load_project(put(tmp_path, GOOD))
    assert unknown_fields(good) == ()
    assert worse_words(good, "x") == one_end_words(good, "x") == ()
    assert json.dumps(worse_words(load_project(put(tmp_path, text())), "x")).count("rail.splice_torsion") == 1
