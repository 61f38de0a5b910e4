"""The screen of `tests` is short: what warns in full, the rest in tests.html."""

from fea.strength_tests.campaign import judge
from roofmodel.project.campaigns import load_campaign
from tests.strength_tests.test_campaign import VALUES, campaign
from tests.strength_tests.test_copied_records import fresh, written
from tests.strength_tests.test_records import ran
from viewer.loud import is_loud


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
