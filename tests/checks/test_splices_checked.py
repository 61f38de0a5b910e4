"""Splices that may pass torsion on or not: both are solved, and the worse counts."""

import numpy as np
import pytest
from projects import GABLE_EN, project

from fea.analysis import analyze
from roofmodel.hardware import SpliceTorsion

# A splice off the middle of a span, beside clamps that stand two seams apart.
SPLICED = 'splice_every = "3.3 m"\nevery = 2'


def check(folder, torsion=None, row=SPLICED, **more):
    text = GABLE_EN
    if torsion is not None:
        text = text.replace("deflection_ratio = 100", f'deflection_ratio = 100\nsplice_torsion = "{torsion}"')
    return analyze(project(folder, text, row=row, **more))


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
    whole = check(tmp_path)
    assert [state.project.rail.splice_torsion for state in whole.states] == [
        SpliceTorsion.PASSED,
        SpliceTorsion.FREE,
    ]
    assert whole.clamp_force.shape[1] == len(whole.readings)


@pytest.mark.parametrize("torsion", ["glued", 3])
def test_other_words_are_refused(tmp_path, torsion):
    with pytest.raises(Exception, match=r"rail\.splice_torsion"):
        check(tmp_path, torsion)
