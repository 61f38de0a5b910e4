"""What curves say against strengths: slips that peaks hide, slides without a knock, one record twice."""

import numpy as np
import pytest

from fea.strength_tests.calibrate import fit_curve
from fea.strength_tests.campaign import judge
from fea.strength_tests.curve_notes import hidden_slips, slips
from fea.strength_tests.curves import read_curve
from fea.strength_tests.record_notes import doubts
from fea.strength_tests.rig import rig_model
from roofmodel.errors import InputError
from roofmodel.project.campaigns import load_campaign
from roofmodel.units import SYSTEMS
from tests.strength_tests.test_campaign import HEAD
from tests.strength_tests.test_rig import STRAIGHT
from viewer.strength import words
from viewer.strength.rig_words import curved_words

K = 2.5e6


def knock(slip, peak, fall=0.12, k=K, points=500):
    """Straight to a slip force, a fall within 0.15 mm, then straight on to a peak."""
    u = np.linspace(0.0, 5e-3, points)
    at = slip / k
    f = np.interp(u, [0.0, at, at + 0.15e-3, 5e-3], [0.0, slip, (1.0 - fall) * slip, peak])
    return u, f


def campaign(folder, curves, method="", more=()):
    for i, (u, f) in enumerate(curves, 1):
        rows = [f"{1e3 * a:.6f},{1e-3 * b:.6f}" for a, b in zip(u, f, strict=True)]
        (folder / f"T{i}.csv").write_text("\n".join(["displacement [mm],force [kN]", *rows]))
    text = f"{HEAD}[method]\n{method}\n"
    text += "".join(f'[[test]]\nname = "T{i}"\ncurve = "T{i}.csv"\n' for i in range(1, len(curves) + 1))
    text += "".join(f'[[test]]\nname = "{name}"\nstrength = "{value} kN"\n' for name, value in more)
    (folder / "c.toml").write_text(text)
    return load_campaign(folder / "c.toml")


SLIPS = (6.4e3, 6.6e3, 5.9e3, 6.1e3, 6.3e3, 4.0e3, 6.8e3)
PEAKS = (7.4e3, 7.43e3, 7.38e3, 7.3e3, 7.28e3, 7.48e3, 7.42e3)


def test_peaks_do_not_hide_a_slip_below_the_design_strength(tmp_path):
    curves = [knock(s, p) for s, p in zip(SLIPS, PEAKS, strict=True)]
    found = judge(campaign(tmp_path, curves))
    np.testing.assert_allclose(slips(found), SLIPS, rtol=5e-3)
    assert found.justified.design > SLIPS[5]
    assert hidden_slips(found) == [5]
    assert "T6 slipped at 3.9" in words.answer(found)
    assert any("first slip of T6 may not belong" in note for note in found.notes)
    honest = judge(campaign(tmp_path, curves, 'take = "slip"'))
    assert hidden_slips(honest) == []
    assert honest.justified.characteristic <= min(slips(honest))


def test_without_a_low_slip_nothing_is_said_of_one(tmp_path):
    curves = [knock(max(s, 5.9e3) + i, p) for i, (s, p) in enumerate(zip(SLIPS, PEAKS, strict=True))]
    found = judge(campaign(tmp_path, curves))
    assert hidden_slips(found) == []
    assert "slipped at" not in words.answer(found)


def test_the_proof_load_in_the_dip_after_a_slip_is_no_slide(tmp_path):
    """Straight to the slip: the offset line is met only in the fall, at k u = fallen force + k offset."""
    curves = [knock(s, p) for s, p in zip(SLIPS, PEAKS, strict=True)]
    read = read_curve(*curves[0])
    assert read.proof < 0.97 * read.slip
    assert read.proof_at > read.slip_at
    assert read.proof_at == pytest.approx(read.proof / K + 0.5e-3, rel=1e-3)
    assert not any("without a knock" in n for n in judge(campaign(tmp_path, curves, 'take = "slip"')).notes)


def test_a_slide_before_the_knock_is_said(tmp_path):
    curves = []
    for i in range(4):
        u = np.linspace(0.0, 8e-3, 600)
        f = np.interp(u, [0.0, 1e-3, 5e-3, 5.2e-3, 8e-3], [0.0, 3e3 + i, 4.2e3, 3.0e3, 3.1e3])
        curves.append((u, f))
    found = judge(campaign(tmp_path, curves, 'take = "slip"'))
    assert any(n.startswith("All tests: moved for good") and "without a knock" in n for n in found.notes)


@pytest.mark.parametrize(("fall", "peak"), [(0.12, 7.4e3), (0.3, 9e3)])
def test_kept_is_the_lowest_point_however_well_it_grips_again(fall, peak):
    model = rig_model(STRAIGHT, "along")
    u, f = knock(6e3, peak, fall)
    fit = fit_curve(model, u, f, read_curve(u, f))
    assert fit.kept == pytest.approx(1.0 - fall, rel=0.01)
    # Unloading at the end of the test is no loss.
    back, down = u[-1] - np.linspace(0.0, 2e-3, 40)[1:], f[-1] * np.linspace(1.0, 0.0, 40)[1:]
    u, f = np.append(u, back), np.append(f, down)
    assert fit_curve(model, u, f, read_curve(u, f)).kept == pytest.approx(fit.kept)


def test_one_record_counts_once(tmp_path):
    curves = [knock(s, p) for s, p in zip(SLIPS[:4], PEAKS, strict=False)]
    with pytest.raises(InputError, match=r'"T5"\.curve: T5\.csv is the record of test "T2"'):
        campaign(tmp_path, [*curves, curves[1]])
    campaign(tmp_path, [*curves, (curves[1][0], 1.001 * curves[1][1])])


def test_strengths_without_a_curve_count_as_given_and_say_so(tmp_path):
    more = [(f"P{i}", 5.0 + 0.1 * i) for i in range(4)]
    found = judge(campaign(tmp_path, [], 'take = "slip"', more))
    assert any(n.startswith("P0, P1, P2, P3: without a curve") for n in found.notes)
    assert "as given where there is no curve" in words.tests_table(found).note
    plain = judge(campaign(tmp_path, [], "", more))
    assert not any("without a curve" in n for n in plain.notes)


@pytest.mark.parametrize("count", [8, 12])
def test_a_single_curve_that_softens_is_named_though_the_mean_is_straight(tmp_path, count):
    """One hyperbola among straight lines of 5 kN at 1 mm, 2.06 times as stiff early as by its whole fit."""
    rng = np.random.default_rng(0)
    x, curves = np.linspace(0.0, 1.0, 300), []
    for i in range(count):
        u, rise = (2.58e-3 * x, 4.0 * x / (1.0 + 3.0 * x)) if i == 2 else (1e-3 * x, x)
        f = 5e3 * (1.0 + 0.04 * rng.standard_normal()) * rise
        curves.append((np.append(u, 1.01 * u[-1]), np.append(f, 0.1 * f[-1])))
    found = judge(campaign(tmp_path, curves, 'take = "slip"\n[rig]'))
    one = found.calibration
    assert one is not None
    assert one.fits
    assert not one.curved
    assert [i for i, fit in enumerate(one.fit) if fit.curved] == [2]
    assert one.between == (one.fit[2].stiffness, one.fit[2].early_stiffness)
    assert any(note.startswith("CHECK THE CURVES of T3 (") for note in found.notes)
    assert any("straight on average, but not T3:" in note for note in found.notes)
    assert "single curves are not straight" in curved_words(one, SYSTEMS["SI"])


def test_records_of_the_other_sign_are_no_copies_of_each_other(tmp_path):
    curves = [(u, -f) for u, f in (knock(s, p) for s, p in zip(SLIPS[:4], PEAKS, strict=False))]
    with pytest.raises(
        InputError, match=r'"T1"\.curve: T1\.csv has forces down to .* the sign of the column'
    ):
        judge(campaign(tmp_path, curves))


def noisy(folder, names, made):
    """Curves of 4 % scatter and 0.5 % noise by their names, or `made` of the one before."""
    rng, text, last = np.random.default_rng(3), f"{HEAD}[method]\n", None
    for name in names:
        if name in made:
            u, f = made[name](*last)
        else:
            u = np.linspace(0.0, 4e-3, 400)
            f = (
                5e3
                * (1.0 + 0.04 * rng.standard_normal())
                * np.tanh((900.0 + 60.0 * rng.standard_normal()) * u)
            )
            f[-40:] *= 0.4
            f = np.maximum(f + 25.0 * rng.standard_normal(len(u)), 0.0)
            last = u, f
        rows = "\n".join(f"{1e3 * a:.5f},{1e-3 * b:.5f}" for a, b in zip(u, f, strict=True))
        (folder / f"{name}.csv").write_text(f"displacement [mm],force [kN]\n{rows}")
        text += f'[[test]]\nname = "{name}"\ncurve = "{name}.csv"\n'
    (folder / "c.toml").write_text(text)
    return judge(load_campaign(folder / "c.toml"))


def smooth(u, f):
    return u, np.convolve(np.pad(f, 4, mode="edge"), np.ones(9) / 9.0, mode="valid")


@pytest.mark.parametrize("copy", [smooth, lambda u, f: (u[::2], f[::2])])
def test_a_copy_of_a_record_is_told_and_kept_back_where_its_name_says_it(tmp_path, copy):
    found = noisy(tmp_path, ("A1", "A2", "A2_smooth", "A3", "A10"), {"A2_smooth": copy})
    note = next(note for note in found.notes if note.startswith("CHECK THE RECORDS"))
    assert note.startswith("CHECK THE RECORDS of A2_smooth and A2: ")
    assert any("A2_smooth and A2" in doubt for doubt in doubts(found))
    assert "DO NOT RELY" in words.answer(found)


def test_a_copy_by_another_name_is_told_and_tests_of_their_own_are_not(tmp_path):
    with pytest.raises(InputError, match="has the noise of test"):
        noisy(tmp_path, ("A1", "A2", "B7", "A3", "A10"), {"B7": lambda u, f: (u, 1.002 * f)})
    found = noisy(tmp_path, ("A1", "A2", "B7", "A3", "A10"), {"B7": lambda u, f: (u[::2], f[::2])})
    assert any(note.startswith("CHECK THE RECORDS of B7 and A2: ") for note in found.notes)
    assert not doubts(found)
    found = noisy(tmp_path, ("A1", "A2", "A3", "A10", "A1_b"), {})
    assert not any(note.startswith("CHECK THE RECORDS") for note in found.notes)
    assert not doubts(found)
