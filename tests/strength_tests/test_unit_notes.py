"""What no bound finds is said in terms that a person in the laboratory knows."""

import json
import tomllib

import pytest

from fea.strength_tests.campaign import judge
from roofmodel.project.campaigns import load_campaign
from roofmodel.units import SYSTEMS
from tests.strength_tests.test_campaign import HEAD, VALUES, campaign
from tests.strength_tests.test_patterns import PATTERN
from tests.strength_tests.test_patterns import campaign as curves
from tests.strength_tests.test_records import ran
from viewer.quantities import span_of_forces
from viewer.strength.words import largest_words, more_tables, no_gain, strengths_table

SHEET = 'yield_strength = "250 MPa"\nmeasured_thickness = "0.63 mm"\nmeasured_yield_strength = "300 MPa"\n'


def test_forces_as_weights():
    """A kilonewton is 0.2248 kip and the weight of 102 kg."""
    assert (
        span_of_forces(1e3, 5e3, SYSTEMS["SI"]) == "1 to 5 kN (0.22 to 1.1 kip; the weight of 100 to 510 kg)"
    )
    assert span_of_forces(4448.22, 4448.22, SYSTEMS["US"]) == "1 kip (4.4 kN; the weight of 1,000 lb)"


def test_the_largest_force_of_every_record_is_told(tmp_path):
    found = judge(campaign(tmp_path, VALUES, more={2: 'excluded = "slack"'}))  # 5.6 kN, not the largest
    assert largest_words(found).startswith("Largest forces of the records: 4.9 to 5.7 kN (1.1 to 1.3 kip")
    path = tmp_path / "c.toml"
    _, said, _ = ran(path)
    assert said.index("as the load cell showed?") < said.index("What the tests justify")


@pytest.mark.parametrize(
    ("head", "sheet", "says"),
    [
        ("displacement [mm],force [kN]", "0.6 mm", ""),
        ("displacement [mm],force [kip]", "0.6 mm", "force is in inches, pounds or kip, seam and sheet"),
        ("displacement [in],force [kN]", "0.6 mm", "displacement is in inches, pounds or kip"),
        ("displacement [mm],force [lbf]", "0.6 mm", "4.45 times what is true"),
        ("displacement [mm],force [kN]", "0.6 millimeter", ""),  # no "in", no "mil"
        ("displacement [mm],force [kN]", "600 micrometer", ""),
        ("displacement [in],force [kip]", "0.024 in", ""),
        ("displacement [in],force [kN]", "0.024 in", "1 / 4.45 of what is true"),
    ],
)  # fmt: skip
def test_heads_are_held_against_the_units_of_the_sheet(tmp_path, head, sheet, says):
    curves(tmp_path, PATTERN)
    for path in (tmp_path / "pull").iterdir():
        path.write_text(path.read_text().replace("displacement [mm],force [kN]", head))
    seam = "1.26 in" if sheet == "0.024 in" else "32 mm"
    text = (HEAD + PATTERN).replace("0.62 mm", sheet).replace('"0.6 mm"', f'"{sheet}"').replace("32 mm", seam)
    scale = 1.0 if "kip" not in head else 0.2
    for path in (tmp_path / "pull").iterdir():
        lines = path.read_text().splitlines()
        rows = [line.split(",") for line in lines[1:]]
        force = 1e3 if "lbf" in head else scale
        way = 1.0 / 25.4 if "[in]" in head else 1.0
        body = [f"{float(a) * way:.6f},{float(b) * force:.6f}" for a, b in rows]
        path.write_text("\n".join([lines[0], *body]))
    (tmp_path / "c.toml").write_text(text)
    notes = " ".join(judge(load_campaign(tmp_path / "c.toml")).notes)
    assert ("CHECK THE UNIT IN THE HEAD of all tests" in notes) is bool(says)
    assert says in notes


@pytest.mark.parametrize(
    ("powers", "over"), [("", 1.0), ("thickness_power = 0", 1.1025), ("strength_power = 0", 1.2)]
)
def test_powers_that_leave_measured_sheets_out_are_unsafe_by_so_much(tmp_path, powers, over):
    """0.63 / 0.6 squared, and 300 / 250."""
    curves(tmp_path, PATTERN)
    text = HEAD + SHEET + f"[method]\n{powers}\n" + PATTERN.replace('thickness = "0.62 mm"\n', "")
    (tmp_path / "c.toml").write_text(text)
    _, said, out = ran(tmp_path / "c.toml")
    assert ("UNSAFE: method." in said) is (over > 1.0)
    if over > 1.0:
        assert f"up to {100.0 * (over - 1.0):.0f} % higher" in said
    clamp = tomllib.loads((out / "clamp.toml").read_text())["clamp"]["tested"]
    assert any("UNSAFE: method." in note for note in clamp["notes"]) is (over > 1.0)
    series = clamp["series"][0]
    usual = 1.0 / (1.1025 * 1.2)
    assert series["to_nominal"] == pytest.approx([over * usual], rel=1e-3)
    mean, measured = (float(series[key].split()[0]) for key in ("mean", "as_measured"))
    assert mean / measured == pytest.approx(over * usual, rel=1e-3)
    assert series["take"] == "largest force"


def test_clamp_toml_holds_the_strengths_of_the_format(tmp_path):
    of = {}
    for form in ("EN", "ASD", "LRFD"):
        campaign(tmp_path, VALUES, f'format = "{form}"')
        _, _, out = ran(tmp_path / "c.toml")
        text = (out / "clamp.toml").read_text()
        clamp = tomllib.loads(text)["clamp"]
        justified = json.loads((out / "tests.json").read_text())["justified"]
        want = {"EN": "characteristic", "ASD": "asd", "LRFD": "lrfd"}[form]
        assert float(clamp["strength"]["pull"].split()[0]) == pytest.approx(1e-3 * justified[want], rel=1e-3)
        kind = {"EN": "characteristic", "ASD": "allowable", "LRFD": "design"}[form]
        assert clamp["strength_kind"] == kind
        assert ("factor" in clamp) is (form == "EN")
        assert all(f'design.format = "{one}" instead' in text for one in ("EN", "ASD", "LRFD") if one != form)
        of[form] = text
    assert 'strength_kind = "characteristic", factor = 1.25:' in of["ASD"]


def test_three_tests_have_no_number_in_table_d2(tmp_path):
    """It begins at four with unknown scatter (from memory)."""
    few, many = (
        " ".join(" ".join(row) for row in strengths_table(judge(campaign(tmp_path, VALUES[:n]))).rows)
        for n in (3, 4)
    )
    assert "its formula (Table D2 begins at 4 tests)" in few
    assert "D7.3, Table D2" in many


def test_tables_that_change_nothing_are_one_line(tmp_path):
    """The lowest of nine, 3.10 kN, is below their fractile: more tests cannot raise it."""
    found = judge(campaign(tmp_path, (3.87, 4.10, 4.25, 3.70, 3.79, 3.10, 4.37, 4.41, 4.18)))
    assert found.justified.characteristic == pytest.approx(3.1e3)
    assert [table.caption for table in more_tables(found)] == ["What more tests would buy in ASD and LRFD"]
    assert "1 to 15 more tests would not change the characteristic strength" in no_gain(found)[0]
    held = judge(campaign(tmp_path, (5.3, 5.6, 5.1)))
    assert len(more_tables(held)) == 2
    assert not no_gain(held)


def test_forces_under_heads_of_the_other_system_give_no_clamp_file_until_checked(tmp_path):
    """As kN below `force [kip]` in all files, which no bound finds."""
    curves(tmp_path, PATTERN)
    for path in (tmp_path / "pull").iterdir():
        path.write_text(path.read_text().replace("force [kN]", "force [kip]"))
    (tmp_path / "c.toml").write_text(HEAD + PATTERN)
    done, said, out = ran(tmp_path / "c.toml")
    assert done.exit_code == 1
    assert not (out / "clamp.toml").exists()
    assert "DO NOT RELY ON THESE STRENGTHS: force of all tests under heads in inches, pounds or kip" in said
    words = "load cell certificate 12, A. Reader, 2026-10-01"
    (tmp_path / "c.toml").write_text(f'{HEAD}[method]\nheads_checked = "{words}"\n{PATTERN}')
    done, said, out = ran(tmp_path / "c.toml")
    assert done.exit_code == 0
    assert "DO NOT RELY" not in said
    told = tomllib.loads((out / "clamp.toml").read_text())["clamp"]["tested"]["notes"]
    assert any(f"checked: {words}" in note for note in told)
