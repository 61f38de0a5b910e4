"""Checks by hand: combinations, clamp directions, interaction, anchorage, height, reserve."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from projects import limit, project

from fea.analysis import analyze
from fea.checks.combinations import service_factors, strength_factors
from fea.checks.limits import clamp_components, component_utilization, interact
from fea.checks.rail_section import rail_stress
from roofmodel.hardware import Clamp, DesignFormat, Interaction
from roofmodel.sections import rectangular_tube, round_tube
from roofmodel.shape.up_axis import DOUBT
from roofmodel.snow.cases import LoadLevel

ALPHA = np.radians(25.0)


def make_clamp(**changes):
    values = {
        "stiffness": np.eye(6),
        "strength": np.array([4.0, 2.0, 1.0, 3.0, np.nan, np.nan]),
        "nominal": np.array([4.0, 2.0, 1.0, 3.0, np.nan, np.nan]),
        "factor": 1.0,
        "strength_kind": "design",
        "height": 0.04,
        "grip_height": 0.025,
        "grip_length": 0.06,
        "test_height": 0.0,
        "interaction": Interaction.LINEAR,
        "test_basis": "",
    }
    return Clamp(**(values | changes))


@pytest.mark.parametrize(
    ("form", "level", "dead", "snow"),
    [
        # ASCE/SEI 7-22 2.3.1 and 2.4.1 (ground snow at strength level), from memory, agreeing with the
        # collected combinations; 7-16 is 1.6 S and 1.0 S.
        (DesignFormat.LRFD, LoadLevel.STRENGTH, 1.2, 1.0),
        (DesignFormat.ASD, LoadLevel.STRENGTH, 1.0, 0.7),
        (DesignFormat.LRFD, LoadLevel.CHARACTERISTIC, 1.2, 1.6),
        (DesignFormat.ASD, LoadLevel.CHARACTERISTIC, 1.0, 1.0),
        # EN 1990 Eq. 6.10 with gamma_G 1.35 and gamma_Q 1.5; accidental 6.4.3.3. From memory.
        (DesignFormat.EN, LoadLevel.CHARACTERISTIC, 1.35, 1.5),
        (DesignFormat.EN, LoadLevel.STRENGTH, 1.35, 1.0),  # snow given at design level is no accident
        (DesignFormat.LRFD, LoadLevel.MEASURED, 1.0, 1.0),
    ],
)
def test_factors_follow_the_level_of_the_standard(form, level, dead, snow):
    factors = strength_factors(form, level)
    assert (factors.dead, factors.snow) == (dead, snow)


def test_only_exceptional_snow_is_accidental():
    """EN 1990 6.4.3.3: G + A_d for s_Ad and Annex B; snow that a user calls "strength" takes 1.35 G."""
    sums = [
        strength_factors(DesignFormat.EN, LoadLevel.STRENGTH, standard=standard)
        for standard in ("EN 1991-1-3", "measured")
    ]
    assert [(one.dead, one.snow) for one in sums] == [(1.0, 1.0), (1.35, 1.0)]
    assert "accidental" in sums[0].clause
    assert "judgment" in sums[1].clause


def test_collected_combination_of_7_16():
    """D = 0.2, S = 5.4 with the 7-16 factors: ASD D + S = 5.6 (hand-worked, from memory of chapter 2)."""
    asd = strength_factors(DesignFormat.ASD, LoadLevel.CHARACTERISTIC)
    assert asd.dead * 0.2 + asd.snow * 5.4 == pytest.approx(5.6, rel=1e-12)


@pytest.mark.parametrize(
    ("form", "standard", "dead", "snow", "total"),
    [
        (DesignFormat.LRFD, "ASCE/SEI 7-16", 1.2, 1.6, 8.88),  # O-58 without its wind: 9.13 - 0.5 x 0.5
        (DesignFormat.ASD, "ASCE/SEI 7-16", 1.0, 1.0, 5.6),  # O-58, ASD3
        (DesignFormat.LRFD, "NBCC 2020", 1.25, 1.5, 8.35),  # 4.1.3.2: 1.25 D + 1.5 S, from memory
    ],
)
def test_standards_with_combinations_of_their_own(form, standard, dead, snow, total):
    """D = 0.2, S = 5.4 (O-58, own calculation from memory of the clauses); the clause is named."""
    factors = strength_factors(form, LoadLevel.CHARACTERISTIC, standard=standard)
    assert (factors.dead, factors.snow) == (dead, snow)
    assert factors.dead * 0.2 + factors.snow * 5.4 == pytest.approx(total)
    assert standard in factors.clause
    told = strength_factors(form, LoadLevel.CHARACTERISTIC, 2.0, standard=standard)
    assert told.snow == 2.0
    assert "given by the user" in told.clause


def test_nbcc_factors_temperature_and_serviceability():
    """1.25 T at least (4.1.3.2.(4), from memory); I_s = 0.9 for deflection in place of 1.15."""
    for given_, used in ((1.0, 1.25), (1.6, 1.6)):
        factors = strength_factors(
            DesignFormat.LRFD, LoadLevel.CHARACTERISTIC, None, given_, standard="NBCC 2020"
        )
        assert factors.thermal == used
    service = service_factors(DesignFormat.LRFD, LoadLevel.CHARACTERISTIC, 0.9 / 1.15)
    assert service.snow == pytest.approx(0.9 / 1.15)
    assert "0.783 S" in service.clause


def test_eccentricity_lifts_the_grip():
    """F at height h over the grip: M = F h turns about the toe; a triangle over L lifts 3 M / L."""
    force = np.array([1000.0, 0.0, 0.0, 0.0, 1000.0 * 0.05, 0.0])
    parts = clamp_components(force, make_clamp())
    np.testing.assert_allclose(parts[:4], [1000.0, 0.0, 3.0 * 50.0 / 0.06, 1.5 * 50.0 / 0.06])
    # Equilibrium of that triangle: lift r per meter at the heel, r L^2 / 3 about the toe.
    r = parts[2] / 0.06
    assert r * 0.06**2 / 3.0 == pytest.approx(50.0)
    held = clamp_components(force, make_clamp(test_height=0.05))
    np.testing.assert_allclose(held[:4], [1000.0, 0.0, 0.0, 0.0])
    strong = np.array([4.0, 2.0, 100.0, 100.0, np.nan, np.nan])
    partly = clamp_components(force, make_clamp(test_height=0.02, strength=strong))
    np.testing.assert_allclose(partly[:3], [1000.0, 0.0, 3.0 * 30.0 / 0.06])


def test_moment_can_be_read_like_the_test():
    """Tested to R at height h_t, the grip held R h_t: M counts as a force M / h_t there if that uses less."""
    force = np.array([1000.0, 0.0, 0.0, 0.0, 1000.0 * 0.05, 0.0])
    clamp = make_clamp(test_height=0.04)
    np.testing.assert_allclose(clamp_components(force, clamp)[:4], [50.0 / 0.04, 0.0, 0.0, 0.0])
    against = force * [-1.0, 1.0, 1.0, 1.0, 1.0, 1.0]  # turning against the force was not tested: both add up
    np.testing.assert_allclose(clamp_components(against, clamp)[:4], [1000.0 + 50.0 / 0.04, 0.0, 0.0, 0.0])
    # Just the tested pair of force and moment uses the whole strength and no more.
    pair = np.array([clamp.strength[0], 0.0, 0.0, 0.0, clamp.strength[0] * clamp.test_height, 0.0])
    use = component_utilization(clamp_components(pair, clamp), clamp, pair[0])
    assert interact(use, Interaction.LINEAR) == pytest.approx(1.0)


@given(st.lists(st.floats(-3.0, 3.0), min_size=6, max_size=6))
def test_interaction_rules_are_ordered(values):
    """Separate <= circular <= linear, and none depends on the signs of along and across."""
    clamp = make_clamp(strength=np.array([4.0, 2.0, 1.0, 3.0, 5.0, 6.0]))
    use = component_utilization(clamp_components(np.array(values), clamp), clamp, 3.0)
    separate, circular, linear = (
        interact(use, rule) for rule in (Interaction.SEPARATE, Interaction.CIRCULAR, Interaction.LINEAR)
    )
    assert separate <= circular + 1e-12 <= linear + 2e-12
    mirrored = np.array(values) * [1, -1, 1, -1, 1, -1]
    again = component_utilization(clamp_components(mirrored, clamp), clamp, 3.0)
    np.testing.assert_allclose(again, use)


def test_missing_strength_is_never_infinite():
    clamp = make_clamp(strength=np.array([4.0, np.nan, 1.0, 3.0, np.nan, np.nan]))
    loaded = component_utilization(np.array([1.0, 0.5, 0.0, 0.0, 0.0, 0.0]), clamp, 1.0)
    assert np.isnan(interact(loaded, Interaction.LINEAR))
    assert np.isnan(interact(loaded, Interaction.SEPARATE))
    free = component_utilization(np.array([1.0, 0.0, 0.0, 0.0, 0.0, 0.0]), clamp, 1.0)
    assert interact(free, Interaction.LINEAR) == pytest.approx(0.25)


def test_rail_stress_by_hand():
    """Round: M/W as a vector; box: both add; shear from torsion enters by von Mises."""
    tube, box = round_tube(0.048, 0.003), rectangular_tube(0.04, 0.04, 0.003)

    def rail(section):
        return type("R", (), {"section": section})()

    bending = np.array([0.0, 0.0, 0.0, 0.0, 300.0, 400.0])
    assert rail_stress(bending, rail(tube)) == pytest.approx(500.0 / tube.W_y)
    assert rail_stress(bending, rail(box)) == pytest.approx(300.0 / box.W_y + 400.0 / box.W_z)
    twist = np.array([0.0, 0.0, 0.0, 200.0, 0.0, 0.0])
    assert rail_stress(twist, rail(tube)) == pytest.approx(np.sqrt(3.0) * 200.0 / tube.W_t)


def test_whole_chain_by_hand(tmp_path):
    """EN 1991-1-3 5.3.3 and 6.4, EN 1990 6.10, many equal spans: inner clamps take 1.5 q times the spacing.

    mu_1 = 0.8 (guarded), s = 0.8 x 1.5 kN/m^2, b = 8 m - 0.5 m cos(alpha).
    """
    result = analyze(project(tmp_path))
    q = 0.8 * 1500.0 * (8.0 - 0.5 * np.cos(ALPHA)) * np.sin(ALPHA)
    case = next(i for i, c in enumerate(result.snow.cases) if c.name == "balanced")
    inner = limit(result, "clamp along the seam").demand[case, 10:20]
    weight = 1.35 * 9.80665 * 7850.0 * result.project.rail.section.area * np.sin(ALPHA)
    np.testing.assert_allclose(inner, (1.5 * q + weight) * 0.4, rtol=2e-3)
    np.testing.assert_allclose(result.tributary[case, 10:20], q * 0.4, rtol=1e-9)
    # Overturning: 40 mm to the rail's axis, up to 24 mm more to its top.
    over = 1.5 * q * 0.4 * (0.040 + 0.024) + weight * 0.4 * 0.040
    lift = limit(result, "clamp pull-off").demand[case, 10:20]
    gravity = 1.35 * 9.80665 * 7850.0 * result.project.rail.section.area * np.cos(ALPHA) * 0.4
    np.testing.assert_allclose(lift, 3.0 * over / 0.060, rtol=5e-3)
    assert gravity < 0.02 * lift.min()
    assert all(proof.met for proof in result.proofs)


def test_reserve_is_the_factor_that_reaches_the_limit(tmp_path):
    """Snow times the reserve, dead load and temperature held, uses 100 %."""
    first = analyze(project(tmp_path, warm=25))
    names = ("clamp combined", "rail stress", "panel anchorage")
    case = int(np.argmin(first.reserve))
    factor = float(first.reserve[case])
    again = analyze(project(tmp_path, warm=25, sk=1.5 * factor))
    use = max(float(np.nanmax(limit(again, name).utilization[case])) for name in names)
    assert use == pytest.approx(1.0, rel=1e-6)
    assert again.reserve[case] == pytest.approx(1.0, rel=1e-6)


def test_more_snow_never_helps(tmp_path):
    uses = [analyze(project(tmp_path, sk=sk)).governing.utilization for sk in (0.5, 1.0, 2.0, 4.0)]
    assert np.all(np.diff(uses) > 0.0)


def test_missing_resistances_are_not_verified(tmp_path):
    from projects import GABLE_EN

    text = GABLE_EN.replace('anchorage = "20 kN"\nanchorage_kind = "design"\n', "").replace(
        "rail_height_ratio = 0.1", ""
    )
    result = analyze(project(tmp_path, text, strength='along = "200 kN", across = "200 kN", push = "200 kN"'))
    names = {one.name for one in result.unverified}
    assert names == {"clamp pull-off", "clamp combined", "panel anchorage", "rail height"}
    assert not result.passed
    assert not result.exceeded


def test_anchorage_sums_the_rows_of_a_strip(tmp_path):
    row = '[[row]]\nname = "R2"\nplane = "S1"\nup = "4 m"'
    result = analyze(project(tmp_path, row=row))
    along = result.clamp_force[..., 0].max(axis=1)
    drag = limit(result, "panel anchorage").demand
    per_row = along.reshape(len(along), 2, -1)
    panel = result.project.panel
    sheet = 7850.0 * 9.80665 * 0.0006 * (0.4 + 2.0 * 0.05)  # steel, 0.6 mm, both sides of the seam [N/m]
    weight = 1.35 * sheet * 8.0 / np.cos(ALPHA) * np.sin(ALPHA)
    assert panel.weight * panel.seam_spacing == pytest.approx(sheet)
    np.testing.assert_allclose(drag, per_row.sum(axis=1) + weight, rtol=1e-9)


def test_friction_goes_to_the_anchorage(tmp_path):
    """Braked or caught, the drag of a strip ends at the fixed point: the sum hardly depends on friction."""
    smooth, rough = (analyze(project(tmp_path, mu=mu)) for mu in (0.0, 0.2))
    a, b = (limit(r, "panel anchorage").demand[0, 10:20] for r in (smooth, rough))
    # Below the row the snow of 0.5 m brakes too: at most mu p b cos(alpha) more.
    below = 1.5 * 0.2 * 1200.0 * 0.5 * np.cos(ALPHA) ** 2 * 0.4
    np.testing.assert_allclose(b - a, below, rtol=1e-2)


def test_depth_against_the_rail_is_square_to_the_slope(tmp_path):
    """Depth = s / (rho g) cos(alpha): 0.8 x 1.5 kPa at the case's density."""
    result = analyze(project(tmp_path))
    density = result.snow.cases[0].density
    expected = 1200.0 / (density * 9.80665) * np.cos(ALPHA)
    assert result.depths[0, 0] == pytest.approx(expected, rel=1e-6)
    height = limit(result, "rail height")
    assert height.resistance[0] == pytest.approx(0.025 + 0.040 + 0.024)
    assert height.demand[0, 0] == pytest.approx(0.1 * expected, rel=1e-6)


def test_temperature_alone_loads_across_the_seams(tmp_path):
    """A warm rail pushes its end clamps outward: sum of across forces is zero, ends carry the most."""
    cold, warm = analyze(project(tmp_path)), analyze(project(tmp_path, warm=40))
    across = warm.clamp_force[0, 0, :, 1] - cold.clamp_force[0, 0, :, 1]
    assert abs(across.sum()) < 1e-6 * np.abs(across).max()
    assert np.argmax(np.abs(across)) in (0, len(across) - 1)
    np.testing.assert_allclose(across, -across[::-1], rtol=1e-6, atol=1e-6)


def test_partial_row_loads_its_end_clamps(tmp_path):
    """The bound from beyond the ends goes to the end clamps and raises them above the tributary value."""
    result = analyze(project(tmp_path, row='start = "4 m"\nend = "8 m"'))
    along = limit(result, "clamp along the seam").demand[0]
    assert result.force.end_bound[0, 0].min() > 0.0
    assert along[0] > 1.5 * (result.tributary[0, 0] + 0.8 * result.force.end_bound[0, 0, 0])
    assert along[0] > 2.0 * along[len(along) // 2]


def test_every_solver_gives_the_same_clamp_forces(tmp_path):
    """Banded, CHOLMOD and SuperLU: the choice in the project file changes nothing but the road."""
    from projects import GABLE_EN

    forces = [
        analyze(project(tmp_path, GABLE_EN + f'[analysis]\nsolver = "{name}"\n')).clamp_force
        for name in ("auto", "cholmod", "superlu")
    ]
    for other in forces[1:]:
        np.testing.assert_allclose(other, forces[0], rtol=1e-8, atol=1e-8 * np.abs(forces[0]).max())


def test_service_takes_strength_level_snow_back():
    """0.7 S where ground snow is at strength level (judgment, the ASD level), else S as it lies."""
    assert service_factors(DesignFormat.ASD, LoadLevel.STRENGTH).snow == 0.7
    assert service_factors(DesignFormat.LRFD, LoadLevel.STRENGTH).snow == 0.7
    for form, level in (
        (DesignFormat.EN, LoadLevel.CHARACTERISTIC),
        (DesignFormat.EN, LoadLevel.STRENGTH),
        (DesignFormat.ASD, LoadLevel.CHARACTERISTIC),
        (DesignFormat.ASD, LoadLevel.MEASURED),
    ):
        assert service_factors(form, level).snow == 1.0


def lrfd(text):
    """The EN test project with strength-level ASCE/SEI 7-22 snow and factored strengths."""
    site = """standard = "ASCE/SEI 7-22"
risk_category = "II"
winter_wind = 0.4
"""
    return text.replace('standard = "EN 1991-1-3"\n', site).replace('format = "EN"', 'format = "LRFD"')


def test_rail_strength_follows_the_format(tmp_path):
    """Yield 235 MPa: EN gamma_M0 = 1.00, LRFD phi = 0.90 (from memory of EN 1993-1-1 6.1, AISC 360-16 F1)."""
    from projects import GABLE_EN

    en = limit(analyze(project(tmp_path)), "rail stress")
    factored = limit(analyze(project(tmp_path, lrfd(GABLE_EN))), "rail stress")
    np.testing.assert_allclose(en.resistance, 235e6)
    np.testing.assert_allclose(factored.resistance, 0.9 * 235e6)


def test_reserve_knows_the_rail(tmp_path):
    """With strong clamps and a thin rail the rail gives the reserve, by yield or by buckling."""
    from projects import GABLE_EN

    thin = GABLE_EN.replace("48 mm", "20 mm").replace('wall = "3 mm"', 'wall = "1.5 mm"')
    strong = 'along = "200 kN", across = "200 kN", pull = "200 kN", push = "200 kN"'
    result = analyze(project(tmp_path, thin, strength=strong, row="every = 4"))
    use = limit(result, "rail stress").utilization.max(axis=1)
    case = int(np.argmax(use))
    assert use[case] > limit(result, "clamp combined").utilization[case].max()
    again = analyze(
        project(tmp_path, thin, strength=strong, row="every = 4", sk=1.5 * float(result.reserve[case]))
    )
    names = ("rail stress", "rail lateral buckling")
    most = max(limit(again, name).utilization[case].max() for name in names)
    assert most == pytest.approx(1.0, rel=1e-6)


def test_deflection_of_spans_and_overhangs(tmp_path):
    """Inner spans of many sag q L^4 / (384 EI) off their chord; overhangs count twice their length.

    Fixed-end beam formula, any handbook; the rail is long against its end effects and shear adds little.
    """
    result = analyze(project(tmp_path, row='every = 3\ncantilever = "500 mm"'))
    deflection = limit(result, "rail deflection")
    length = 3 * 0.4
    rail = result.project.rail
    q = 1200.0 * (8.0 - 0.5 * np.cos(ALPHA)) * np.sin(ALPHA)
    sag = q * length**4 / (384.0 * rail.material.E * rail.section.I_z)
    inner = deflection.demand[0, 4:6]
    np.testing.assert_allclose(inner, sag, rtol=0.1)
    np.testing.assert_allclose(deflection.resistance[4:6], length / 100.0)
    layout = result.project.layout
    overhang = np.array([layout.clamp_s[0], layout.row_length[0] - layout.clamp_s[-1]])
    assert overhang.max() == pytest.approx(0.5)
    np.testing.assert_allclose(deflection.resistance[[0, -1]], 2.0 * overhang / 100.0)


def test_cautions_name_what_numbers_do_not_say(tmp_path):
    from projects import GABLE_EN

    text = GABLE_EN.replace(
        "rail_height_ratio", 'snow_factor = 1.2\nsnow_factor_reason = "ruling 7"\nrail_height_ratio'
    )
    found = project(tmp_path, text, mu=0.02)
    doubt = f"{DOUBT} It lies on its side."
    said = " ".join(analyze(replace(found, roof=replace(found.roof, notes=(doubt,)))).cautions)
    assert doubt in said
    assert "1.2" in said
    assert "ruling 7" in said
    assert "Friction of 0.02" in said
    assert "test_basis" in said


@pytest.mark.parametrize(("other", "said"), [("", True), ('plane = "N1"\nup = "2.5 m"', False)])
def test_a_row_short_of_a_valley_is_pointed_out_unless_a_row_closes_it(tmp_path, other, said):
    """The far side's row at the same level takes both streams of the valley."""
    from projects import GABLE_EN

    roof = GABLE_EN[GABLE_EN.index('shape = "gable"') : GABLE_EN.index("eave_height")]
    text = GABLE_EN.replace(
        roof, 'shape = "L"\nfootprint = "0 0, 16 0, 16 8, 8 8, 8 18, 0 18 m"\npitch = "30 deg"\n'
    )
    text = text.replace('plane = "S1"\nup = "0.5 m"', 'plane = "E1"\nup = "2.5 m"\nedge_distance = "1.4 m"')
    more = f'[[row]]\nname = "R2"\n{other}' if other else ""
    words = " ".join(analyze(project(tmp_path, text, row=more)).cautions)
    assert ("Row R1 ends 1.40 m short of" in words) is said


def test_a_row_without_snow_is_pointed_out(tmp_path):
    from projects import GABLE_EN

    layers = 'layers = [{{ depth = "0.5 m", density = ["300 kg/m^3"], plane = "N1" }}]'
    text = GABLE_EN.replace(
        'standard = "EN 1991-1-3"\nground_snow = "{sk} kN/m^2"',
        f'standard = "measured"\nlevel = "characteristic"\n{layers}',
    )
    assert "No case brings snow to R1" in " ".join(analyze(project(tmp_path, text)).cautions)
