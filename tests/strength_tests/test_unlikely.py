"""Lost readings, forces above the seam's own, heights of load, play and plain exclusions are told."""

import numpy as np
import pytest

from fea.strength_tests.campaign import judge
from fea.strength_tests.likely import seam_strength
from fea.strength_tests.record_notes import doubts
from fea.strength_tests.records import read_record
from roofmodel.errors import InputError
from roofmodel.project.campaigns import load_campaign
from tests.strength_tests.test_campaign import HEAD, VALUES, campaign
from tests.strength_tests.test_records import curves, ran, softening, written


def with_gap(jump, at=2.0e-3, way=0.5e-3, points=800, seed=5):
    u, f = softening(4.0e3, points=points, rng=np.random.default_rng(seed))
    f = f + jump * (u >= at + way) * (u < u[np.argmax(f)] + 0.3e-3)
    keep = (u < at) | (u >= at + way)
    return u[keep], f[keep]


@pytest.mark.parametrize("jump", [0.0, 400.0, 800.0])
def test_a_jump_hidden_by_lost_readings_is_doubted_and_a_plain_gap_is_told(tmp_path, jump):
    some = [*curves()[:-1], with_gap(jump)]
    found = judge(load_campaign(written(tmp_path / "a", some)))
    note = next(n for n in found.notes if n.startswith("CHECK THE RECORD of T7: readings are missing"))
    assert ("TOO HIGH" in note) is (jump > 0.0)
    assert any("lost readings" in one for one in doubts(found)) is (jump > 0.0)
    done, _, out = ran(tmp_path / "a" / "c.toml")
    assert done.exit_code == int(jump > 0.0)
    assert (out / "clamp.toml").exists() is (jump == 0.0)


def test_honest_gaps_raise_no_doubt_and_whole_records_have_none():
    rng = np.random.default_rng(8)
    for points, noise in ((120, 0.003), (300, 0.01), (800, 0.01)):
        for _ in range(20):
            u, f = softening(4.0e3, points=points, noise=noise, rng=rng)
            assert read_record(u, f)[1].gap is None
            at = rng.uniform(0.1, 0.9) * u[np.argmax(f)]
            keep = (u < at) | (u > at + rng.uniform(0.2e-3, 1e-3))
            gap = read_record(u[keep], f[keep])[1].gap
            assert gap is None or not gap[4]


def test_forces_above_what_the_seam_holds_give_no_clamp_file(tmp_path):
    """The bound in full: 4 x 32 mm x 0.6 mm x 400 MPa = 30.7 kN; tests of ten times the force are above."""
    honest = judge(campaign(tmp_path, VALUES))
    assert seam_strength(honest) == pytest.approx(4 * 0.032 * 0.6e-3 * 400e6)
    assert not doubts(honest)
    found = judge(campaign(tmp_path, [10.0 * one for one in VALUES]))
    assert "more than the seam itself holds" in " ".join(doubts(found))
    done, said, out = ran(tmp_path / "c.toml")
    assert done.exit_code == 1
    assert "DO NOT RELY ON THESE STRENGTHS: the mean" in said
    assert not (out / "clamp.toml").exists()


@pytest.mark.parametrize(("height", "odd"), [("120 mm", False), ("300 mm", True)])
def test_a_load_far_above_any_rail_is_doubted(tmp_path, height, odd):
    path = campaign(tmp_path, VALUES).path
    given = f'direction = "along"\nload_height = "{height}"'
    path.write_text(path.read_text().replace('direction = "pull"', given))
    assert any("load_height" in one for one in doubts(judge(load_campaign(path)))) is odd


def test_the_play_of_one_specimen_is_told_with_its_size(tmp_path):
    u, f = curves()[-1]
    more = np.linspace(0.0, 3e-3, 30, endpoint=False)
    late = np.concatenate([more, u + 3e-3]), np.concatenate([0.0 * more, f])
    found = judge(load_campaign(written(tmp_path, [*curves()[:-1], late])))
    note = next(n for n in found.notes if n.startswith("CHECK THE PLAY"))
    assert "T7 by 3." in note
    assert not any("PLAY" in n for n in judge(load_campaign(written(tmp_path, curves()))).notes)


def test_an_exclusion_that_nothing_suspects_is_told(tmp_path):
    plain = judge(campaign(tmp_path, VALUES, more={5: 'excluded = "low"'}))
    assert any(n.startswith("NOTHING IN THE NUMBERS speaks against T5") for n in plain.notes)
    odd = judge(campaign(tmp_path, (*VALUES[:4], 1.9, VALUES[5]), more={5: 'excluded = "not closed"'}))
    assert not any("NOTHING IN THE NUMBERS" in n for n in odd.notes)
    assert any("was the weakest" in n for n in odd.notes)


def test_sheets_measured_once_count_for_every_test_that_says_nothing(tmp_path):
    def strengths(specimen, each):
        text = HEAD.replace("substrate", f'yield_strength = "250 MPa"\n{specimen}\nsubstrate', 1)
        for i, value in enumerate(VALUES, 1):
            own = 'thickness = "0.70 mm"' if i == 1 else each
            text += f'[[test]]\nname = "T{i}"\nstrength = "{value} kN"\n{own}\n'
        (tmp_path / "m.toml").write_text(text)
        return judge(load_campaign(tmp_path / "m.toml"))

    once = strengths('measured_thickness = "0.63 mm"\nmeasured_yield_strength = "290 MPa"', "")
    each = strengths('measured_yield_strength = "290 MPa"', 'thickness = "0.63 mm"')
    np.testing.assert_allclose(once.nominal, each.nominal)
    np.testing.assert_allclose(once.nominal[1:], once.measured[1:] * (0.60 / 0.63) ** 2 * 250 / 290)
    assert not any("UNSAFE" in note for note in once.notes)
    with pytest.raises(InputError, match="cannot be that of a sheet"):
        strengths('measured_thickness = "6.3 mm"', "")


def test_no_metal_yields_beyond_its_alloys(tmp_path):
    path = campaign(tmp_path, VALUES).path
    for metal, strength, right in (("steel", 550, True), ("zinc", 400, False), ("aluminum", 1600, False)):
        given = f'metal = "{metal}"\nyield_strength = "{strength} MPa"'
        other = tmp_path / f"{metal}.toml"
        other.write_text(path.read_text().replace('metal = "steel"', given))
        if right:
            load_campaign(other)
            continue
        with pytest.raises(InputError, match=rf"specimen\.yield_strength: .* more than any {metal}"):
            load_campaign(other)
