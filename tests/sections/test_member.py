"""Local, distortional and lateral buckling, holes, welds, crushing."""

import numpy as np
import pytest
from scipy.linalg import eig

from fea.analysis import analyze
from fea.checks.member import crushing, uneven_at_clamps
from fea.checks.member_strength import member_strength, station_use
from fea.checks.rail_unchecked import unchecked_words
from fea.sections.crippling import bearing_and_bending, bearing_resistance, uneven_shears
from fea.sections.effective import effective
from fea.sections.lateral import column_factor, critical_moment, lateral_factor, rail_critical
from fea.sections.plates import plate_factor, round_factor, squeezed_round
from roofmodel.errors import InputError
from roofmodel.hardware import DesignFormat, Material
from roofmodel.profiles.properties import profile_of
from roofmodel.profiles.shapes import shape_outline
from roofmodel.sections import rectangle, rectangular_tube, round_tube
from tests.checks.projects import GABLE_EN, limit, project
from tests.frame.rails import make_rail
from tests.sections.test_profile_files import TUBE, with_profile

EN, ASD = DesignFormat.EN, DesignFormat.ASD
STEEL = Material("steel", 210e9, 81e9, 12e-6, 7850.0, 355e6)
ALUMINUM = Material("aluminum", 70e9, 26.3e9, 23e-6, 2700.0, 200e6)
BOX = 'shape = "rectangular tube", width = "40 mm", depth = "40 mm", wall = "{wall} mm"'
CEE = 'shape = "lipped channel", width = "30 mm", depth = "60 mm", lip = "12 mm", wall = "2 mm"'


def ratio_at(slenderness, k):
    """Width over thickness with this slenderness: EN 1993-1-5 4.4, b/t = 28.4 eps sqrt(k) lambda."""
    return 28.4 * np.sqrt(235 / 355) * np.sqrt(k) * slenderness


@pytest.mark.parametrize(("outstand", "k", "rho"), [(False, 4.0, 0.78), (True, 0.43, 0.812)])
def test_steel_plates(outstand, k, rho):
    """Winter at slenderness 1: (1 - 0.22) / 1 and (1 - 0.188) / 1, by hand; AISI 0.78 for both."""
    b_t, flag = np.array([ratio_at(1.0, k)]), np.array([outstand])
    found = plate_factor(b_t, np.ones(1), flag, STEEL, True)
    np.testing.assert_allclose(found, rho, rtol=3e-3)
    np.testing.assert_allclose(plate_factor(b_t, np.ones(1), flag, STEEL, False), 0.78, rtol=3e-3)


def test_aluminum_plates():
    """EN 1999-1-1 eq. 6.11 by hand: beta / eps = 25 gives 29/25 - 198/625; continuous at the limits."""
    eps = np.sqrt(250 / 200)
    held, one = np.array([False]), np.array([True])
    found = plate_factor(np.array([25 * eps]), np.ones(1), held, ALUMINUM, True)
    np.testing.assert_allclose(found, 29 / 25 - 198 / 625, rtol=1e-9)
    for flag, limit_ in ((held, 18.0), (one, 5.0)):
        for side in (0.9999, 1.0001):
            found = plate_factor(np.array([limit_ * eps * side]), np.ones(1), flag, ALUMINUM, True)
            np.testing.assert_allclose(found, 1.0, atol=2e-3)


@pytest.mark.parametrize(
    ("outstand", "limit_", "by_hand"), [(False, 15.0, 25 / 25 - 150 / 625), (True, 4.0, 8 / 25 - 16 / 625)]
)
def test_welded_aluminum_plates(outstand, limit_, by_hand):
    """EN 1999-1-1 tables 6.2 and 6.3, class B with welds, by hand at beta / eps = 25."""
    eps, flag = np.sqrt(250 / 200), np.array([outstand])

    def share(ratio, **welded):
        return float(plate_factor(np.array([ratio * eps]), np.ones(1), flag, ALUMINUM, True, **welded)[0])

    assert share(25.0, welded=True) == pytest.approx(by_hand, rel=1e-9)
    assert share(25.0, welded=True) < 0.91 * share(25.0)
    assert share(limit_, welded=True) == 1.0
    assert share(1.01 * limit_, welded=True) < 1.0 == share(1.01 * limit_)


def test_welded_aluminum_columns():
    """EN 1999-1-1 table 6.5, class B, by hand at slenderness 1: kappa = 1 + 0.04 / 2 - 0.22."""
    one = np.array([0.1, 1.0])
    kappa = column_factor(one, ALUMINUM, EN, welded=True) / column_factor(one, ALUMINUM, EN)
    np.testing.assert_allclose(kappa, [1.0, 0.80], rtol=1e-12)


def test_a_rail_with_a_weld_strength_has_plates_of_welded_profiles(tmp_path):
    """A thin aluminum box that welds weaken no more than nothing loses by the limits of its plates."""
    text = with_profile(BOX.format(wall=1)).replace('"steel"', '"aluminum"')
    use = []
    for words in ("", '\nweld_strength = "235 MPa"'):
        rail = project(tmp_path, text.replace('material = "aluminum"', f'material = "aluminum"{words}')).rail
        use.append(member_strength(rail, EN, np.array([1.0])).share)
    assert (use[1] < 0.95 * use[0]).all()


@pytest.mark.parametrize("metal", [STEEL, ALUMINUM])
@pytest.mark.parametrize("en", [True, False])
@pytest.mark.parametrize("outstand", [True, False])
def test_thinner_plates_never_gain(metal, en, outstand):
    ratio = np.linspace(1.0, 300.0, 600)
    for psi in (1.0, 0.3, -0.5, -1.5):
        flag = np.full(len(ratio), outstand)
        rho = plate_factor(ratio, np.full(len(ratio), psi), flag, metal, en)
        assert rho[0] == pytest.approx(1.0, abs=0.12)
        assert (np.diff(rho) <= 1e-9).all()
        assert (rho > 0).all()
        assert rho[-1] < 0.6


def test_round_tubes():
    assert round_factor(50.0, STEEL, EN) == 1.0
    assert np.isnan(round_factor(70.0, STEEL, EN))  # 90 x 235 / 355 = 59.6
    assert round_factor(150.0, STEEL, ASD) == 1.0
    assert round_factor(250.0, STEEL, ASD) == pytest.approx(0.33 * 210e9 / 250 / 355e6)
    assert round_factor(20.0, ALUMINUM, EN) == 1.0
    assert round_factor(60.0, ALUMINUM, EN) < 1.0


def ritz(L, EI, GJ, EIw, height, uniform):
    """Least critical moment of a forked beam by sine series; a second road to M_cr."""
    n, x = 12, np.linspace(0.0, L, 2001)
    a = np.arange(1, n + 1) * np.pi / L
    S = np.sin(np.outer(a, x))
    M = np.ones_like(x) if uniform else 4 * x * (L - x) / L**2
    load = 0.0 if uniform else 8 / L**2
    K = np.diag(np.concatenate([EI * a**4, EIw * a**4 + GJ * a**2]) * L / 2)
    G = np.zeros((2 * n, 2 * n))
    G[:n, n:] = np.trapezoid(M * S[:, None] * S[None], x, axis=2) * a[:, None] ** 2
    G[n:, :n] = G[:n, n:].T
    G[n:, n:] = load * height * np.trapezoid(S[:, None] * S[None], x, axis=2)
    values = eig(K, G, right=False).real
    return values[values > 0].min()


def test_critical_moment():
    """Timoshenko's uniform moment exactly; uniform load with C1 = 1.13, C2 = 0.46; ours never above."""
    EI, GJ, EIw = 7.4e3, 29.0, 6.5
    for L in (0.6, 1.2, 2.5):
        closed = np.pi / L * np.sqrt(EI * GJ * (1 + np.pi**2 * EIw / (GJ * L**2)))
        np.testing.assert_allclose(critical_moment(np.array(L), EI, GJ, EIw, c2=0.0), closed, rtol=1e-12)
        np.testing.assert_allclose(ritz(L, EI, GJ, EIw, 0.0, True), closed, rtol=1e-6)
        for height in (-0.03, 0.0, 0.03):
            true = ritz(L, EI, GJ, EIw, height, False)
            known = critical_moment(np.array(L), EI, GJ, EIw, height, c1=1.13)
            np.testing.assert_allclose(known, true, rtol=0.03)
            assert critical_moment(np.array(L), EI, GJ, EIw, height) < true


@pytest.mark.parametrize("metal", [STEEL, ALUMINUM])
@pytest.mark.parametrize("form", [EN, ASD])
def test_reduction_curves(metal, form):
    """From 1 down, never above the elastic hyperbola."""
    x = np.linspace(0.01, 4.0, 400)
    for curve in (lateral_factor, column_factor):
        chi = curve(x, metal, form)
        assert (np.diff(chi) <= 1e-9).all()
        assert (chi <= 1.0 / x**2 + 1e-9).all()
        assert chi[0] > 0.9


def test_lipped_channel_parts():
    """Stocky walls keep all, thin ones less, and a lip too short makes the flange an outstand."""
    size = {"width": 0.05, "depth": 0.10, "lip": 0.015}
    stocky = effective(profile_of(shape_outline("lipped channel", size | {"wall": 0.004})), STEEL, EN)
    thin = effective(profile_of(shape_outline("lipped channel", size | {"wall": 0.001})), STEEL, EN)
    stub = effective(
        profile_of(shape_outline("lipped channel", size | {"lip": 0.006, "wall": 0.001})), STEEL, EN
    )
    assert stocky.share.min() > 0.9
    assert thin.share[0] < 0.6
    assert stub.share[0] < thin.share[0]
    np.testing.assert_allclose(thin.share[1], thin.share[2], rtol=1e-6)  # alike upside down


def test_crushing_by_hand():
    """AISI S100 G5, two webs, by hand: the less of single webs and of decks; ends hold less."""
    walls = profile_of(shape_outline("rectangular tube", {"width": 0.06, "depth": 0.06, "wall": 0.003})).walls
    h, n = 54 / 3, 30 / 3
    one = 13 * 9 * 355 * (1 - 0.23 * np.sqrt(2)) * (1 + 0.14 * np.sqrt(n)) * (1 - 0.01 * np.sqrt(h))
    found = bearing_resistance(walls, 1, 0.03, STEEL, ASD, end=False, factor=1.67)
    deck = 8 * 9 * 355 * (1 - 0.10 * np.sqrt(2)) * (1 + 0.17 * np.sqrt(n)) * (1 - 0.004 * np.sqrt(h))
    np.testing.assert_allclose(found, 2 * min(one / 1.67, deck / 1.75), rtol=1e-6)
    one = 4 * 9 * 355 * (1 - 0.14 * np.sqrt(2)) * (1 + 0.35 * np.sqrt(n)) * (1 - 0.02 * np.sqrt(h))
    deck = 3 * 9 * 355 * (1 - 0.04 * np.sqrt(2)) * (1 + 0.29 * np.sqrt(n)) * (1 - 0.028 * np.sqrt(h))
    found = bearing_resistance(walls, 1, 0.03, STEEL, ASD, end=True, factor=1.67)
    np.testing.assert_allclose(found, 2 * min(one / 1.85, deck / 2.45), rtol=1e-6)
    for metal in (STEEL, ALUMINUM):
        for form in (EN, ASD, DesignFormat.LRFD):
            ends = [bearing_resistance(walls, 0, 0.03, metal, form, end=e, factor=1.0) for e in (True, False)]
            assert 0 < ends[0] < ends[1]


def walls(shape, **size):
    return profile_of(shape_outline(shape, {k: v / 1e3 for k, v in size.items()})).walls


def crush(of, axis, form=EN, *, end, metal=STEEL, factor=1.0, uneven=False):
    return bearing_resistance(of, axis, 0.03, metal, form, end=end, factor=factor, uneven=uneven)


def test_only_webs_are_crushed():
    """Lips of a channel carry nothing across; legs of angles and stems of tees are no webs."""
    cee = walls("lipped channel", width=30, depth=60, lip=12, wall=2)
    k, h = 355 / 228, 56 / 2
    end = (1.33 - 0.33 * k) * 0.85 * (9.04 - h / 60) * 1.15 * 4 * 355
    inner = (1.22 - 0.22 * k) * 0.94 * (14.7 - h / 49.5) * 1.105 * 4 * 355
    np.testing.assert_allclose(crush(cee, 1, end=True), end, rtol=1e-6)
    np.testing.assert_allclose(crush(cee, 1, end=False), inner, rtol=1e-6)
    np.testing.assert_allclose(crush(cee, 1, end=False, factor=1.1), inner / 1.1, rtol=1e-6)
    for shape in ("angle", "tee"):
        assert np.isnan(crush(walls(shape, width=50, depth=50, wall=3), 1, end=False))
    assert np.isnan(crush(walls("channel", width=30, depth=60, wall=2), 0, end=False))


def test_flanges_without_lips_hold_the_web_less():
    """EN 1993-1-3 eq. 6.15b and AISI S100 table G5-2, unstiffened flanges, by hand (from memory)."""
    plain = walls("channel", width=30, depth=60, wall=2)
    k, h, n = 355 / 228, 56 / 2, 15
    end = (1.33 - 0.33 * k) * 0.85 * (5.92 - h / 132) * 1.15 * 4 * 355
    np.testing.assert_allclose(crush(plain, 1, end=True), end, rtol=1e-6)
    for at_end, C, C_R, C_N, C_h in ((True, 4, 0.40, 0.60, 0.03), (False, 13, 0.32, 0.10, 0.01)):
        one = C * 4 * 355 * (1 - C_R * 2**0.5) * (1 + C_N * n**0.5) * (1 - C_h * h**0.5)
        np.testing.assert_allclose(crush(plain, 1, ASD, end=at_end), one / 1.80, rtol=1e-6)
        np.testing.assert_allclose(crush(plain, 1, DesignFormat.LRFD, end=at_end), one * 0.85, rtol=1e-6)
        assert (
            one < crush(walls("lipped channel", width=30, depth=60, lip=12, wall=2), 1, ASD, end=at_end) * 1.9
        )


def test_hats_take_the_clause_of_several_webs():
    """EN 1993-1-3 6.1.7.3 by hand: alpha 0.057 and 10 mm at ends, 0.115 and the whole bearing within."""
    hat = walls("hat", width=60, depth=45, lip=20, wall=2)
    root = 4 * np.sqrt(355 * 210e3) * (1 - 0.1 * 2**0.5) * 3.4
    np.testing.assert_allclose(crush(hat, 1, end=True), 2 * 0.057 * root * (0.5 + 0.1**0.5), rtol=1e-6)
    np.testing.assert_allclose(crush(hat, 1, end=False), 2 * 0.115 * root * (0.5 + 0.3**0.5), rtol=1e-6)


def test_uneven_shears_shorten_the_bearing_of_several_webs():
    """EN 1993-1-3 6.1.7.3 by hand: beta_V = 1/7, 1/4 and 1/3, from 0.2 on less, from 0.3 on 10 mm bear."""
    beside = np.array([[0.6, 0.45], [-0.6, 0.36], [0.3, 0.6], [0.0, 0.0]])
    np.testing.assert_allclose(uneven_shears(*beside.T), [0.0, 0.5, 1.0, 1.0], atol=1e-9)
    hat = walls("hat", width=60, depth=45, lip=20, wall=2)
    root = 4 * np.sqrt(355 * 210e3) * (1 - 0.1 * 2**0.5) * 3.4
    apart = crush(hat, 1, end=False, uneven=True)
    np.testing.assert_allclose(apart, 2 * 0.115 * root * (0.5 + 0.1**0.5), rtol=1e-6)
    assert crush(hat, 1, end=True) < apart < crush(hat, 1, end=False)
    cee = walls("lipped channel", width=30, depth=60, lip=12, wall=2)
    assert crush(cee, 1, end=False, uneven=True) == crush(cee, 1, end=False)


def test_clamps_with_uneven_shears_bear_less(tmp_path):
    """A box of two webs: its clamps whose shears differ use more of it under the same force."""
    rail = project(tmp_path, more(with_profile(BOX.format(wall=1)), 'bearing_length = "40 mm"')).rail
    force = np.array([[2.0, -1.0, 2.0, -2.0, 1.0, 2.0]]).T * np.array([[0.0, 1.0, 1.0, 0.0, 0.0, 0.0]])
    uneven = uneven_at_clamps(force[[0, 2, 4, 1, 3, 5]])  # clamps with 2 and 1, 2 and 2, 1 and 2
    np.testing.assert_allclose(uneven, [[1.0, 1.0], [0.0, 0.0], [1.0, 1.0]])
    push, none = np.full((3, 2), 1000.0), np.zeros(3)
    use = crushing(push, none, uneven, np.zeros(3, dtype=bool), rail, EN)
    wide, t = 0.040, rail.profile.walls.thickness.mean()
    ratio = (0.5 + np.sqrt(0.02 * wide / t)) / (0.5 + np.sqrt(0.02 * 0.010 / t))
    np.testing.assert_allclose(use / use[1], [ratio, 1.0, ratio], rtol=1e-6)


def test_force_and_moment_over_a_clamp_count_together(tmp_path):
    """EN 1993-1-3 6.1.11: with no room for the force, the moment there takes 0.8 of its own use."""
    box = with_profile(BOX.format(wall=1))
    use = []
    for strength in ("9000 kN", "9 kN", "3 kN"):
        result = analyze(project(tmp_path, more(box, f'bearing_strength = "{strength}"')))
        use.append(limit(result, "rail crushing").utilization)
    bend, both, alone = use
    local = limit(result, "rail local buckling").utilization.max()
    assert bend.max() == pytest.approx(0.8 * local, rel=2e-3)  # which is largest over a clamp
    assert (both >= bend - 1e-9).all()
    assert (alone >= both).all()
    assert (alone <= 3.0 * both + 1e-9).all()
    crush = np.array([0.2, 0.9, 1.0])
    bend = np.array([0.5, 0.7, 0.1])
    np.testing.assert_allclose(bearing_and_bending(crush, bend, STEEL, EN), [0.56, 1.28, 1.0])
    np.testing.assert_allclose(bearing_and_bending(crush, bend, ALUMINUM, EN), [0.56, 1.28, 1.01**0.5])
    # Aluminum Design Manual J.9.3 (from memory): the powers of 1.5 add up to 1.
    powers = bearing_and_bending(crush, bend, ALUMINUM, ASD) ** 1.5
    np.testing.assert_allclose(powers, crush**1.5 + bend**1.5)


def test_load_height_of_a_tee_is_from_its_shear_center(tmp_path):
    """The stem's tip stands farther from the shear center, in the flange, than from the centroid."""
    result = project(tmp_path, with_profile('shape = "tee", width = "40 mm", depth = "60 mm", wall = "3 mm"'))
    rail, profile = result.rail, result.rail.profile
    s, weak, metal = rail.section, profile.principal[1], rail.material
    moment, _ = rail_critical(rail, np.array([1.5]))
    worst = -0.5 * abs(profile.one_sided[0])
    values = (metal.E * weak, metal.G * s.J, metal.E * s.I_w)
    assert moment[0] == pytest.approx(critical_moment(1.5, *values, 0.0585, worst), rel=5e-3)


def test_squeezed_round_tubes_lose_earlier_than_bent_ones():
    """AISC 360-16 E7.2 by hand at 0.2 E / F_y: 0.038 / 0.2 + 2 / 3."""
    ratio = 0.2 * STEEL.E / STEEL.yield_strength
    assert squeezed_round(ratio, STEEL, ASD) == pytest.approx(0.19 + 2 / 3)
    assert squeezed_round(0.5 * ratio, STEEL, ASD) == squeezed_round(ratio, STEEL, EN) == 1.0


def more(text, words):
    return text.replace('material = "steel"', f'material = "steel"\n{words}')


def test_stocky_tube_keeps_its_stress(tmp_path):
    """A stocky box rail: local buckling is bending and compression over yield; nothing buckles sideways."""
    result = analyze(project(tmp_path, with_profile(BOX.format(wall=3))))
    local, lateral = limit(result, "rail local buckling"), limit(result, "rail lateral buckling")
    stress = limit(result, "rail stress")
    assert 0.8 < local.utilization.max() / stress.utilization.max() <= 1.0
    assert (lateral.utilization == 0.0).all()
    assert result.passed == (not result.exceeded and not result.unverified)


def test_thin_walls_govern_and_lower_the_reserve(tmp_path):
    """A box of thin walls fails by local buckling before yield; at its reserve it is just held."""
    result = analyze(project(tmp_path, with_profile(BOX.format(wall=0.5))))
    local, stress = limit(result, "rail local buckling"), limit(result, "rail stress")
    assert local.utilization.max() > 1.05 * stress.utilization.max()
    case = int(np.argmax(local.utilization.max(axis=1)))
    worst = max(
        np.nan_to_num(one.utilization[case]).max()
        for one in result.limits
        if not one.service and one.name != "rail height"
    )
    # Only snow grows here but for the rail's own little weight.
    assert result.reserve[case] == pytest.approx(1 / worst, rel=0.02)


def test_users_moments_win(tmp_path):
    words = 'moment_slope = "3 kN*m"\nmoment_normal = "3 kN*m"\nmoment_kind = "design"'
    found = analyze(project(tmp_path, more(with_profile(BOX.format(wall=0.5)), words)))
    local = limit(found, "rail local buckling")
    assert "given by the user" in local.basis
    assert local.utilization.max() < 1.0


def test_holes_welds_and_crushing(tmp_path):
    """Every limit is there once it is asked for, and a larger hole uses more."""
    use = []
    for diameter in (6, 12):
        hole = f'hole = [{{{{ diameter = "{diameter} mm", axis = "normal", at = "20 mm" }}}}]'
        text = with_profile(f"{BOX.format(wall=3)}, {hole}")
        words = 'ultimate_strength = "360 MPa"\nweld_strength = "117.5 MPa"\nbearing_length = "40 mm"'
        result = analyze(project(tmp_path, more(text, words)))
        use.append(limit(result, "rail at holes").utilization.max())
        weld, stress = limit(result, "rail at welds"), limit(result, "rail stress")
        np.testing.assert_allclose(weld.utilization, 2 * stress.utilization, rtol=1e-9)
        assert 0 < limit(result, "rail crushing").utilization.max() < 1
    assert use[1] > use[0] > 0
    with pytest.raises(InputError, match="ultimate_strength is missing"):
        project(tmp_path, with_profile(f"{BOX.format(wall=3)}, {hole}"))


def test_open_rail_warps_and_buckles(tmp_path):
    """A lipped channel: bimoment counts, lateral buckling takes more than local."""
    result = analyze(project(tmp_path, with_profile(CEE)))
    assert np.isfinite(result.project.rail.section.omega_max)
    local, lateral = limit(result, "rail local buckling"), limit(result, "rail lateral buckling")
    assert lateral.utilization.max() > 1.1 * local.utilization.max()
    assert any("crushing" in caution for caution in result.cautions)


def test_unknown_walls_never_pass(tmp_path):
    """A wavy outline of which no walls are known is not verified."""
    t = np.linspace(0, np.pi, 40)
    arc = np.concatenate([np.c_[30 * np.cos(t), 30 * np.sin(t)], np.c_[28 * np.cos(t), 28 * np.sin(t)][::-1]])
    points = ", ".join(f"{y:.4f} {z:.4f}" for y, z in arc)
    result = analyze(project(tmp_path, with_profile(f'points = "{points} mm"')))
    assert limit(result, "rail local buckling").unverified.any()
    assert not result.passed
    words = 'moment_slope = "3 kN*m"\nmoment_normal = "3 kN*m"\nmoment_kind = "design"'
    tested = analyze(project(tmp_path, more(with_profile(f'points = "{points} mm"'), words)))
    assert not limit(tested, "rail local buckling").unverified.any()


STOCKY = 'shape = "rectangular tube"\nwidth = "60 mm"\ndepth = "60 mm"\nwall = "3 mm"'
THIN_TUBE = 'shape = "rectangular tube"\nwidth = "60 mm"\ndepth = "60 mm"\nwall = "1 mm"'


@pytest.mark.parametrize(
    ("rail", "says"),
    [
        (STOCKY, ""),
        (THIN_TUBE, "crushing of its walls"),
        (f'{THIN_TUBE}\nbearing_length = "40 mm"', ""),
        ('shape = "round tube"\ndiameter = "120 mm"\nwall = "1 mm"', "rail.bearing_strength"),
        ('shape = "flat bar"\nwidth = "50 mm"\ndepth = "8 mm"', ""),
    ],
)
def test_plain_rails_say_what_is_not_checked(tmp_path, rail, says):
    """Thin tubes given by their sizes may be crushed on the clamps; stocky ones and bars need no word."""
    found = unchecked_words(project(tmp_path, GABLE_EN.replace(TUBE, rail)))
    assert bool(found) == bool(says)
    assert all(says in line for line in found)


def test_plain_tube_is_the_same_tube_as_a_profile(tmp_path):
    """Thin walls: shares of yield as those of the outline, whose walls are found by looking."""
    plain = analyze(project(tmp_path, GABLE_EN.replace(TUBE, f'{THIN_TUBE}\nbearing_length = "40 mm"')))
    size = 'shape = "rectangular tube", width = "60 mm", depth = "60 mm", wall = "1 mm"'
    drawn = analyze(project(tmp_path, more(with_profile(size), 'bearing_length = "40 mm"')))
    for name in ("rail local buckling", "rail lateral buckling", "rail crushing"):
        np.testing.assert_allclose(
            limit(plain, name).utilization, limit(drawn, name).utilization, rtol=0.02, atol=1e-6
        )
    share = member_strength(plain.project.rail, EN, np.ones(1)).share
    assert (share < 0.9).all()


def test_stocky_tubes_have_no_limit_of_local_buckling(tmp_path):
    """What is left is first yield, which the rail's stress says with shear on top."""
    result = analyze(project(tmp_path, GABLE_EN.replace(TUBE, STOCKY)))
    names = [one.name for one in result.limits]
    assert "rail local buckling" not in names
    stress = limit(result, "rail stress").utilization
    assert (limit(result, "rail lateral buckling").utilization <= stress * 1.02 + 1e-9).all()
    assert "rail lateral buckling" in names


def test_wide_flat_bar_buckles_sideways_by_its_strong_axis_only():
    """M_cr of Timoshenko with the load at the far face; weak bending is left alone."""
    rail = make_rail(rectangle(0.06, 0.006))
    L = np.array([1.2])
    member = member_strength(rail, DesignFormat.EN, L)
    s, E, G = rail.section, rail.material.E, rail.material.G
    n = np.pi**2 * E * s.I_y / L**2
    lever = 0.46 * 0.03
    critical = n * (np.sqrt(G * s.J / n + lever**2) - lever)
    slender = np.sqrt(rail.material.yield_strength * s.W_z / critical)
    phi = 0.5 * (1 + 0.2 * (slender - 0.4) + slender**2)
    chi = 1.0 / (phi + np.sqrt(phi**2 - slender**2))
    force = np.zeros((2, 6))
    force[0, 5], force[1, 4] = 100.0, 5.0
    use = station_use(member, "rail lateral buckling", force, np.zeros(2, dtype=int))
    assert chi[0] < 0.8
    assert use[0] == pytest.approx(100.0 / s.W_z / member.stress / chi[0], rel=1e-9)
    assert use[1] == pytest.approx(5.0 / s.W_y / member.stress, rel=1e-9)
    assert "rail local buckling" not in member.kinds


@pytest.mark.parametrize("section", [round_tube(0.05, 0.003), rectangular_tube(0.05, 0.05, 0.003)])
def test_closed_stout_tubes_lose_nothing_sideways_but_under_compression(section):
    """Plain round and square tubes: bending alone is a matter of stress; compression counts as a column's."""
    rail = make_rail(section)
    member = member_strength(rail, DesignFormat.EN, np.array([2.0]))
    force = np.zeros((2, 6))
    force[:, 5] = 300.0
    force[1, 0] = -2000.0
    use = station_use(member, "rail lateral buckling", force, np.zeros(2, dtype=int))
    bend = 300.0 / section.W_z / member.stress
    assert use[0] == 0.0
    always = station_use(member, "rail lateral buckling", force, np.zeros(2, dtype=int), always=True)
    np.testing.assert_allclose(always, [bend, use[1]], rtol=1e-12)
    critical = np.pi**2 * rail.material.E * section.I_y / 4.0
    grows = 1.0 / (1.0 - 2000.0 * rail.material.yield_strength / member.stress / critical)
    assert use[1] > bend * grows + 2000.0 / section.area / member.stress
    assert member.critical[0] == pytest.approx(critical, rel=1e-9)


def test_round_bending_about_both_axes_adds_up_as_a_vector():
    member = member_strength(make_rail(round_tube(0.05, 0.0005)), DesignFormat.EN, np.array([1.0]))
    force = np.zeros((1, 6))
    force[0, 4:] = 30.0, 40.0
    share = round_factor(100.0, make_rail().material, DesignFormat.EN)
    use = station_use(member, "rail local buckling", force, np.zeros(1, dtype=int))
    assert share < 0.9
    assert use[0] == pytest.approx(50.0 / member.rail.section.W_y / member.stress / share, rel=1e-9)


def test_round_tubes_beyond_the_standard_never_pass(tmp_path):
    """EN 1993-1-1 ends at 90 epsilon^2; thinner tubes are not verified."""
    rail = 'shape = "round tube"\ndiameter = "120 mm"\nwall = "1 mm"'
    result = analyze(project(tmp_path, GABLE_EN.replace(TUBE, rail)))
    assert limit(result, "rail local buckling").unverified.any()
    assert not result.passed


def test_plain_shapes_take_only_what_belongs_to_them(tmp_path):
    for rail, words in (
        (f'{STOCKY}\nweld_strength = "90 MPa"', "rail.weld_strength"),
        ('shape = "flat bar"\nwidth = "50 mm"\ndepth = "8 mm"\nbearing_length = "40 mm"', "bearing_length"),
    ):
        with pytest.raises(InputError, match=words):
            project(tmp_path, GABLE_EN.replace(TUBE, rail))
