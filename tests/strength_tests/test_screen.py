"""The screen of `tests` is short: what warns in full, the rest in tests.html."""

import numpy as np

from fea.strength_tests.campaign import judge
from fea.strength_tests.record_notes import rises_again
from roofmodel.project.campaigns import load_campaign
from tests.strength_tests.test_campaign import VALUES, campaign
from tests.strength_tests.test_copied_records import fresh, written
from tests.strength_tests.test_records import ran
from viewer.loud import is_loud
from viewer.strength.chart import short_names


def test_a_usual_run_is_short_and_nothing_is_lost(tmp_path):
    path = written(tmp_path, fresh(5))
    done, said, out = ran(path)
    assert done.exit_code == 0, done.output
    assert len(said.split()) < 350
    page = " ".join((out / "tests.html").read_text().split())
    notes = judge(load_campaign(path)).notes
    for note in notes:
        assert note.split("'")[0].split('"')[0].split("&")[0] in page
        assert (f"- {' '.join(note.split())}" in said) is is_loud(note)
    for words in ("EN: characteristic", "ASD: allowable", "LRFD: design", "stand in tests.html"):
        assert words in said
    for words in ("Safety factor Omega", "What more tests would buy", "AISI S100 K2.1.1 with C_phi"):
        assert words in page
    assert "AISI S100 K2.1.1 with C_phi" not in said


def test_odd_tests_stand_on_the_screen_the_others_in_the_page(tmp_path):
    campaign(tmp_path, [*VALUES, 2.1], more={1: 'excluded = "slack in the rig"'})
    _, said, _ = ran(tmp_path / "c.toml")
    assert f"Odd tests, of {len(VALUES) + 1}" in said
    assert "does not count: slack in the rig" in said
    assert f"Test T{len(VALUES) + 1} may not belong" in said


def test_names_that_begin_alike_are_told_apart_beside_their_curves():
    assert short_names(["A1", "A2"]) == ["A1", "A2"]
    assert short_names([f"along-{i}" for i in (1, 2, 10, 11)]) == ["1", "2", "10", "11"]
    assert short_names(["specimen", "another one"]) == ["…imen", "… one"]
    assert short_names(["specimen"]) == ["…imen"]


def test_a_proof_load_that_is_none_is_told(tmp_path):
    """Displacements a thousand times too small: nothing moves by the offset before its peak."""
    proof = '[method]\ntake = "proof"\n'
    for scale, told in ((1.0, False), (1e-3, True)):
        path = written(tmp_path, fresh(4))
        path.write_text(proof + path.read_text())
        if scale != 1.0:
            for file in tmp_path.glob("*.csv"):
                file.write_text(file.read_text().replace("displacement [mm]", "displacement [um]"))
        _, said, _ = ran(path)
        assert ("CHECK THE PROOF LOAD of T0, T1, T2, T3" in said) is told


def test_a_zero_that_drifts_by_time_shows_after_the_failure(tmp_path):
    """0.004 kN a reading, as of 0.4 kN at the peak."""
    honest = fresh(4)
    assert not any(rises_again(force) for _, force in honest)
    drifting = [(u, force + 0.004 * np.arange(len(force))) for u, force in honest]
    _, said, _ = ran(written(tmp_path, drifting))
    assert "CHECK THE DRIFT of T0, T1, T2, T3" in said
    grip = np.concatenate([np.linspace(0.0, 5.0, 60), np.linspace(3.0, 4.9, 60)])  # slips and grips again
    assert not rises_again(grip)
