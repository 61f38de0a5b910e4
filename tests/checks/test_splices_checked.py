"""Splices that may pass torsion on or not: both are solved, and the worse counts."""

import numpy as np
import pytest
from projects import GABLE_EN, project

from fea.analysis import analyze
from roofmodel.hardware import SpliceTorsion
from roofmodel.memory import Memory

# A splice off the middle of a span, beside clamps that stand two seams apart.
SPLICED = 'splice_every = "3.3 m"\nevery = 2'


SOFT = """clip_spacing = "0.6 m"
[analysis]
panel_flexibility = true
[seam]
lock = "double lock"
yield_strength = "280 MPa"
clip_stiffness = {{ across = "1 kN/mm", pull = "2 kN/mm" }}
bearing = "deck"
through_fixings = ["1 m"]
[rail]"""


def check(folder, torsion=None, row=SPLICED, *, soft=None, **more):
    """The check; `soft` panels are the memory in which their stiffness is kept."""
    text = GABLE_EN
    if soft is not None:  # a small roof, as panels take their time
        text = text.replace("[rail]", SOFT).replace("0 0, 12 0, 12 16, 0 16 m", "0 0, 5 0, 5 10, 0 10 m")
    if torsion is not None:
        text = text.replace("deflection_ratio = 100", f'deflection_ratio = 100\nsplice_torsion = "{torsion}"')
    return analyze(project(folder, text, row=row, **more), memory=soft)


def use(analysis):
    return {one.name: one.utilization for one in analysis.limits if one.target in ("clamp", "span")}


def test_unknown_takes_the_worse_of_both(tmp_path):
    passed, free, both = (check(tmp_path, kind) for kind in ("passed", "free", None))
    np.testing.assert_allclose(
        both.clamp_force, np.concatenate([passed.clamp_force, free.clamp_force], axis=1)
    )
    one, two, worse = use(passed), use(free), use(both)
    for name, found in worse.items():
        np.testing.assert_allclose(found, np.fmax(one[name], two[name]), err_msg=name)
    moved = np.abs(one["clamp combined"] - two["clamp combined"]).max()
    assert moved > 0.02 * one["clamp combined"].max()  # the case is one where it matters
    np.testing.assert_allclose(both.reserve, np.minimum(passed.reserve, free.reserve), rtol=1e-9)
    assert all(proof.met for proof in both.proofs)


def test_the_same_snow_is_held_either_way(tmp_path):
    """What sleeves pass on moves force from clamp to clamp; the sum along parallel seams stays."""
    passed, free = (check(tmp_path, kind) for kind in ("passed", "free"))
    one, two = (a.clamp_force[..., 0].sum(axis=2) for a in (passed, free))
    np.testing.assert_allclose(one, two, rtol=1e-9)


def test_the_reader_is_told_what_hangs_on_it(tmp_path):
    both = check(tmp_path)
    assert any("rail.splice_torsion" in line for line in both.cautions)
    for known in (
        check(tmp_path, "free"),
        check(tmp_path, row='splice_every = "3.3 m"\nsplice_kind = "continuous"'),
    ):
        assert len(known.states) == 1
        assert not any("splice_torsion" in line for line in known.cautions)


def test_soft_panels_and_splices_together(tmp_path):
    """Every state of the panels with either splice; the words compare like with like."""
    soft = Memory()
    passed, free, both = (check(tmp_path, kind, soft=soft) for kind in ("passed", "free", None))
    panels = len(both.support.stiffness)
    assert panels > 0
    kinds = (SpliceTorsion.PASSED, SpliceTorsion.FREE)
    assert [(s.project.rail.splice_torsion, s.panel) for s in both.states] == [
        (kind, panel) for kind in kinds for panel in range(panels)
    ]
    one, two, worse = use(passed), use(free), use(both)
    for name, found in worse.items():
        np.testing.assert_allclose(found, np.fmax(one[name], two[name]), rtol=1e-9, err_msg=name)
    (words,) = (line for line in both.cautions if "rail.splice_torsion" in line)
    most = [100.0 * np.nanmax(found["clamp combined"]) for found in (one, two)]
    assert f"at {most[0]:.0f} % (" in words
    assert f"{most[1]:.0f} % (" in words.split("passed on, ")[1]


@pytest.mark.parametrize("torsion", ["glued", 3])
def test_other_words_are_refused(tmp_path, torsion):
    with pytest.raises(Exception, match=r"rail\.splice_torsion"):
        check(tmp_path, torsion)
