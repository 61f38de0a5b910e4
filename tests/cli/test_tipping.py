"""A check without a measured stiffness against tipping tells what clamps that do not tip would use."""

import re
from dataclasses import replace

import numpy as np
import pytest
from small_project import GOOD, changed, put

from fea.analysis import analyze
from roofmodel.hardware import upright
from roofmodel.project.load import load_project

STARTS = "clamp.stiffness.rocking"
PULL = 'pull = "4 kN/mm" }'


def analysis(folder, rocking=None, text=GOOD):
    assert PULL in text
    if rocking is not None:
        text = text.replace(PULL, f'pull = "4 kN/mm", rocking = "{rocking}" }}')
    return analyze(load_project(put(folder, text)))


def told(found):
    return [caution for caution in found.cautions if caution.startswith(STARTS)]


def most(found):
    limit = next(one for one in found.limits if one.name == "clamp combined")
    return float(np.nanmax(limit.utilization))


def test_what_is_told_is_what_a_check_of_stiff_clamps_finds(tmp_path):
    soft, stiff = analysis(tmp_path), analysis(tmp_path, "100000 kN*m/rad")
    (words,) = told(soft)
    shares = [float(one) for one in re.findall(r"([\d.]+) %", words)]
    assert shares == pytest.approx([100.0 * most(soft), 100.0 * most(stiff)], abs=0.051)
    assert most(stiff) > most(soft) + 0.02
    assert ("MORE THAN IT HOLDS" in words) is (most(stiff) > 1.0)
    assert not told(stiff)


def test_clamps_that_do_not_tip_keep_force_times_height(tmp_path):
    """No torsion runs along the rail; the soft ones share the same sum of moments otherwise."""
    text = GOOD
    found = analysis(tmp_path, None, text)
    project = replace(found.project, clamp=upright(found.project.clamp))
    firm = analyze(project)
    axis = np.abs(firm.clamp_force[0, 0, :, 4])
    height = project.clamp.height
    assert axis == pytest.approx(np.abs(firm.clamp_force[0, 0, :, 0]) * height, rel=0.02, abs=1.0)
    soft = np.abs(found.clamp_force[0, 0, :, 4])
    assert soft.sum() == pytest.approx(axis.sum(), rel=0.01)
    assert np.ptp(soft) < np.ptp(axis)


def test_a_measured_stiffness_is_taken_as_it_is(tmp_path):
    default = analysis(tmp_path)
    k = float(default.project.clamp.stiffness[4, 4])
    same = analysis(tmp_path, f"{k!r} N*m/rad")
    assert most(same) == pytest.approx(most(default), rel=1e-9)
    assert told(default)
    assert not told(same)


def spliced(torsion):
    """Clamps at every third seam, and a splice close to one of them."""
    text = changed('up = "0.6 m"', 'up = "0.6 m"\nevery = 3\nsplice_every = "3.3 m"')
    return changed("[rail]", f'[rail]\nsplice_torsion = "{torsion}"', text)


def test_splices_that_may_turn_are_looked_at_both_ways(tmp_path):
    """A clamp that does not tip keeps the torsion of its piece: all of it where the splice passes none."""
    firm = [most(analysis(tmp_path, "100000 kN*m/rad", spliced(kind))) for kind in ("passed", "free")]
    assert firm[1] > 1.05 * firm[0]
    (words,) = told(analysis(tmp_path, None, spliced("unknown")))
    shares = [float(one) for one in re.findall(r"([\d.]+) %", words)]
    assert shares[-1] == pytest.approx(100.0 * firm[1], abs=0.051)
