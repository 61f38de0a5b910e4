"""The hand check: in SI its expressions are exact, and on paper every result follows from what is printed."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np
import pytest
from report_projects import Page, projects, run, shed

from fea.analysis import Analysis
from fea.checks.governing import Governing
from fea.checks.strips import panel_strips, strip_weight
from tests.demos import demo
from viewer.report import working_ends
from viewer.report.end_bounds import spreads
from viewer.report.page import report_html
from viewer.report.working import hand_check, tributary_ends
from viewer.report.working_ends import bound_parts, end_steps, reached
from viewer.report.working_parts import Expression, Number
from viewer.report.working_steps import clamp_at

FUNCTIONS = {"sin": math.sin, "cos": math.cos, "sqrt": math.sqrt, "max": max, "radians": math.radians}


def evaluate(text: str) -> float:
    """Value of an expression as it is printed, without its units."""
    text = re.sub(r"(?<=\d),(?=\d{3})", "", text.replace("\u00a0", " "))
    text = text.replace("×", "*").replace("−", "-").replace("²", "**2").replace("√", "sqrt")
    text = re.sub(r"(sin|cos) ([\d.]+)°", r"\1(radians(\2))", text)
    return float(eval(text, {"__builtins__": {}}, FUNCTIONS))


def in_si(expression: Expression) -> float:
    parts = [repr(p.value) if isinstance(p, Number) else p for p in expression]
    text = re.sub(
        r"(sin|cos) ([\d.]+)", r"\1(\2)", "".join(f"({p})" if p.startswith("-") else p for p in parts)
    )
    return evaluate(text)


NUMBER = re.compile(r"\d+(?:,\d{3})*(?:\.\d+)?(?:e[+-]?\d+)?")


def rounding(number: str) -> float:
    """Half a unit of the last printed digit; numbers of fewer than four digits are given, and exact."""
    digits, _, power = number.replace(",", "").partition("e")
    if len(digits.replace(".", "").lstrip("0")) < 4:
        return 0.0
    places = len(digits.partition(".")[2])
    return 0.5 * 10.0 ** (int(power or 0) - places)


def printed_tolerance(expression: str) -> float:
    """How far the printed roundings can move the value."""
    exact = evaluate(expression)
    total = 0.0
    for found in NUMBER.finditer(expression):
        value = float(found.group().replace(",", "")) + rounding(found.group())
        moved = evaluate(expression[: found.start()] + f"{value:.12g}" + expression[found.end() :])
        total += abs(moved - exact)
    return total


@pytest.mark.parametrize("name", projects())
def test_hand_check_is_exact_in_si_and_ends_at_the_governing_utilization(name: str, tmp_path: Path) -> None:
    analysis = run(projects()[name], tmp_path)
    working = hand_check(analysis)
    assert working is not None
    assert analysis.attachment is not None
    for step in working.steps:
        assert in_si(step.expression) == pytest.approx(step.result.value, rel=1e-9, abs=1e-9), step.title
    by_symbol = {step.symbol: step.result.value for step in working.steps}
    governed = {
        "clamp combined": "u",
        "clamp along the seam": "u_along",
        "clamp pull-off": "u_pull",
        "panel anchorage": "u_anchorage",
    }[working.limit]
    assert by_symbol[governed] == pytest.approx(analysis.attachment.utilization, rel=1e-9)
    clamp = analysis.project.layout.clamp_name.index(working.clamp)
    factored = analysis.clamp_force[analysis.attachment.case, :, clamp, 0]
    assert np.abs(factored - by_symbol["F"]).min() <= 1e-9 * abs(by_symbol["F"])
    assert by_symbol["T"] == pytest.approx(analysis.tributary[analysis.attachment.case, clamp])


@pytest.mark.parametrize("name", projects())
def test_every_printed_result_follows_from_the_printed_numbers(name: str, tmp_path: Path) -> None:
    page = Page(report_html(run(projects()[name], tmp_path)))
    assert len(page.steps) >= 7
    for step in page.steps:
        value = evaluate(step["expression"])
        result = evaluate(step["result"])
        allowed = printed_tolerance(step["expression"]) + rounding(step["result"].strip())
        assert abs(value - result) <= min(allowed + 1e-12, max(1e-3 * abs(result), 1e-5)), step
        assert allowed <= max(0.01 * abs(result), 1.0), step  # a bar that lets anything pass proves nothing


def test_printed_numbers_go_from_step_to_step(tmp_path: Path) -> None:
    steps = Page(report_html(run(shed(), tmp_path))).steps
    result = [step["result"].strip() for step in steps]
    chain = [(0, 1), (1, 2), (2, 3), (3, 4), (4, 5), (5, 6), (6, 7)]
    for earlier, later in chain:
        assert result[earlier] in steps[later]["expression"], (steps[earlier], steps[later])


def test_shed_with_uniform_snow_is_the_textbook_product(tmp_path: Path) -> None:
    """EN 1991-1-3 5.3.2 and 6.4: 0.8 s_k b sin(theta), with snow fences mu_1 is not reduced."""
    analysis = run(shed(), tmp_path)
    working = hand_check(analysis)
    assert working is not None
    slope = math.radians(20.0)
    run_above = 6.0 - 0.5 * math.cos(slope)
    expected = 0.8 * 1600.0 * run_above * math.sin(slope)
    assert working.steps[0].result.value == pytest.approx(expected, rel=1e-6)
    clamp = analysis.project.layout.clamp_name.index(working.clamp)
    low, high = tributary_ends(analysis, clamp)
    assert working.steps[1].result.value == pytest.approx(expected * (high - low), rel=1e-6)


def test_stretches_of_rail_fill_every_row(tmp_path: Path) -> None:
    analysis = run(projects()["doorway"], tmp_path)
    layout = analysis.project.layout
    length = np.zeros(len(layout.row_name))
    for clamp in range(len(layout.clamp_name)):
        low, high = tributary_ends(analysis, clamp)
        length[layout.clamp_row[clamp]] += high - low
    np.testing.assert_allclose(length, layout.row_length, rtol=1e-12)


def limit_rest(analysis: Analysis) -> float:
    """Factored own weight of the governing strip; the project counts on no friction."""
    assert analysis.attachment is not None
    strip = analysis.attachment.target
    return float(strip_weight(analysis.project)[strip] * analysis.factors[analysis.attachment.case].dead)


def test_weak_anchorage_ends_with_the_sum_of_its_strip(tmp_path: Path) -> None:
    analysis = run(projects()["weak anchorage"], tmp_path)
    working = hand_check(analysis)
    assert working is not None
    assert working.limit == "panel anchorage"
    assert analysis.attachment is not None
    drag = {step.symbol: step.result.value for step in working.steps}["D"]
    strip, _ = panel_strips(analysis.project.layout)
    on = np.flatnonzero(strip == analysis.attachment.target)
    pulls = analysis.clamp_force[analysis.attachment.case][:, on, 0].max(axis=0)
    sheet = limit_rest(analysis)
    assert drag == pytest.approx(pulls.sum() + sheet, rel=1e-9)
    assert 0.0 < sheet < 0.1 * drag


def test_end_of_a_doorway_row_shows_the_snow_from_beyond(tmp_path: Path) -> None:
    analysis = run(projects()["doorway"], tmp_path)
    working = hand_check(analysis)
    assert working is not None
    assert working.clamp in (analysis.project.layout.clamp_name[0], analysis.project.layout.clamp_name[-1])
    force = next(step for step in working.steps if step.symbol == "F")
    assert "γ_S E" in force.formula
    assert "upper bound" in force.note


def test_hand_check_follows_the_temperature_that_is_worst(tmp_path: Path) -> None:
    """Given the other way, temperature ends at the same numbers, and the words say that it was reversed."""
    text = projects()["warm rail on skewed seams"]
    pages = [hand_check(run(t, tmp_path)) for t in (text, text.replace('"40 K"', '"-40 K"'))]
    notes = [next(s.note for s in page.steps if s.symbol == "F") for page in pages if page is not None]
    assert sorted("reversed" in note for note in notes) == [False, True]
    ends = [page.steps[-1].result.value for page in pages if page is not None]
    assert ends[0] == pytest.approx(ends[1], rel=1e-9)


BESIDE = """
[[obstruction]]
name = "shaft"
plane = "S1"
across = "5 m"
up = "3 m"
width = "1 m"
depth = "0.6 m"
height = "1 m"
"""


@pytest.mark.parametrize("box", [False, True])
def test_each_bound_from_beside_is_told_with_its_own_share(*, box: bool, tmp_path: Path) -> None:
    """They add up to E; a bound at an end is the product of the plane's snow less what other rows hold."""
    text = projects()["doorway"]
    analysis = run(text.replace("[surface]", BESIDE + "[surface]", 1) if box else text, tmp_path)
    governing = analysis.attachment
    assert governing is not None
    clamp = len(analysis.project.layout.clamp_row) - 1
    at = clamp_at(analysis, clamp, governing.case, "clamp along the seam")
    *bounds, last = end_steps(analysis, at, float(at.parts[1, 0]))
    parts = reached(analysis, at, bound_parts(analysis, at.case, 0))
    assert sum(part.reached for part in parts) == pytest.approx(at.parts[1, 0], rel=1e-9)
    assert ("boxes" in {part.kind for part in parts}) == box
    assert last.result.value == pytest.approx(at.parts[1, 0], rel=1e-12)
    for step in (*bounds, last):
        assert in_si(step.expression) == pytest.approx(step.result.value, rel=3e-3)
    values = [one for one in last.expression if not isinstance(one, str) and one.kind == "force"]
    assert [step.result.value for step in bounds] == pytest.approx([v.value for v in values][: len(bounds)])
    assert not [step.title for step in bounds if step.formula.endswith("+ D")]  # it makes any sum right
    ends = [step for step in bounds if " end of row " in step.title]
    assert ("overhang" in last.note) == bool(ends)


def test_a_bound_from_an_obstruction_alone_says_nothing_of_overhangs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    analysis = run(projects()["doorway"].replace("[surface]", BESIDE + "[surface]", 1), tmp_path)
    governing = analysis.attachment
    assert governing is not None
    at = clamp_at(analysis, 0, governing.case, "clamp along the seam")
    parts = [part for part in bound_parts(analysis, at.case, 0) if part.kind == "boxes"]
    monkeypatch.setattr(working_ends, "bound_parts", lambda *_: parts)
    (found,) = reached(analysis, at, parts)
    bound, last = end_steps(analysis, at, found.reached)
    assert bound.formula == "Σ W r"  # no rest that makes any sum right
    assert last.note == ""


def test_a_row_beside_that_takes_the_snow_of_an_end_is_named(tmp_path: Path) -> None:
    """A second row 3 m up, over all of the roof, holds what else leans on the ends below it."""
    text = projects()["doorway"]
    row = text[text.index("[[row]]") : text.index("start =")]
    more = row.replace('name = "A"', 'name = "Over"').replace('up = "0.5 m"', 'up = "3 m"')
    alone, both = spreads(run(text, tmp_path)), spreads(run(text.replace(row, more + row), tmp_path))
    for one, two in zip(alone, both, strict=True):
        assert not one.held
        assert [name for name, _ in two.held] == ["Over"]
        assert two.held[0][1] + two.passing == pytest.approx(two.hand, rel=0.02)
        assert two.bound == pytest.approx(two.passing, rel=1e-6)
        assert two.bound < 0.7 * one.bound


def _valley_clamps(analysis: Analysis) -> list[tuple[int, int]]:
    """Clamps and cases whose own strip is not all that reaches them because of a valley."""
    layout, graph = analysis.project.layout, analysis.graph
    rows = set(graph.catch_row[graph.catch_node >= graph.cells.count].tolist())
    near = [c for c in range(len(layout.clamp_name)) if int(layout.clamp_row[c]) in rows]
    return [(c, q) for c in near for q in range(len(analysis.snow.cases))]


@pytest.mark.parametrize(("valley", "short"), [("scalar", ""), ("vector", ""), ("scalar", "1 ft")])
def test_what_a_valley_brings_to_each_clamp_can_be_followed_by_hand(
    valley: str, short: str, tmp_path: Path
) -> None:
    """Plan area drained x mean pressure x sin of the slope, over the spread, on the clamp's stretch."""
    text = Path("models/cedar-hollow/project.toml").read_text(encoding="utf-8")
    if short:
        text = text.replace('plane = "E1"\n', f'plane = "E1"\nstart = "{short}"\n')
    more = f'[analysis]\nvalley_thrust = "{valley}"\n' if "[analysis]" not in text else ""
    analysis = run(text + more, tmp_path)
    limit = next(i for i, one in enumerate(analysis.limits) if one.name == "clamp combined")
    streams = 0
    for clamp, case in _valley_clamps(analysis)[::3]:
        working = hand_check(analysis, Governing(limit, clamp, case, 0.5))
        assert working is not None
        by = {step.symbol: step for step in working.steps}
        total = float(analysis.tributary[case, clamp])
        assert by["T"].result.value == pytest.approx(total, rel=1e-9)
        assert "ΔT" not in by["T"].formula, (working.clamp, working.case)
        if "T_V" in by:
            streams += 1
            assert in_si(by["V"].expression) == pytest.approx(by["V"].result.value, rel=1e-9)
            assert by["T_V"].result.value < by["V"].result.value * (1.0 + 1e-9)
    assert streams > 4


def test_streams_of_a_valley_hold_what_reaches_the_row_from_other_planes(tmp_path: Path) -> None:
    """The parts T_V of all clamps of a row add up to what the row gets besides its own plane."""
    analysis = run(Path("models/cedar-hollow/project.toml").read_text(encoding="utf-8"), tmp_path)
    layout, case = analysis.project.layout, 0
    limit = next(i for i, one in enumerate(analysis.limits) if one.name == "clamp combined")
    for row in {int(layout.clamp_row[c]) for c, _ in _valley_clamps(analysis)}:
        brought = -analysis.force.thrust[case, analysis.force.row == row, 1].sum()
        other = float(brought - analysis.force.own[case, row])
        found = 0.0
        for clamp in np.flatnonzero(layout.clamp_row == row).tolist():
            working = hand_check(analysis, Governing(limit, clamp, case, 0.5))
            assert working is not None
            found += sum(step.result.value for step in working.steps if step.symbol == "T_V")
        # Strips of the row's own plane that drain into the valley come back by it.
        assert found >= other * (1.0 - 1e-6)


@pytest.mark.parametrize(("gap", "counts"), [("1.6 m", "counts whole"), ("3 m", "counts 88 %")])
def test_streams_beside_an_end_near_a_valley_can_be_followed_by_hand(
    gap: str, counts: str, tmp_path: Path
) -> None:
    """Area x pressure x sin of the slope of both sides of the valley make up the bound; it is told why."""
    text = Path("models/cedar-hollow/project.toml").read_text(encoding="utf-8")
    row = f'[[row]]\nname = "E"\nplane = "E1"\nup = "2 ft"\nstart = "{gap}"\n'
    text = text[: text.index("[[row]]")] + row + text[text.index("[design]") :]
    analysis = run(text, tmp_path)
    working = hand_check(analysis)
    assert working is not None
    step = next(step for step in working.steps if step.symbol == "B")
    bound = float(analysis.force.end_bound[:, 0, 0].max())
    assert in_si(step.expression) == pytest.approx(step.result.value, rel=1e-6)
    assert step.result.value == pytest.approx(bound, rel=1e-9)
    assert counts in step.note
    assert "of E1, N1" in step.source
    assert any("short of E1|N1 valley" in caution for caution in analysis.cautions)


def test_snow_over_a_pitch_break_is_a_step_of_its_own() -> None:
    """The dormer's row gets snow of the steeper plane above: its area, pressure and slope are written."""
    analysis = demo("sentier-house")
    layout = analysis.project.layout
    limit = next(i for i, one in enumerate(analysis.limits) if one.name == "clamp combined")
    for name in ("dormer-01", "dormer-05"):
        clamp = layout.clamp_name.index(name)
        working = hand_check(analysis, Governing(limit, clamp, 0, 0.5))
        assert working is not None
        by = {step.symbol: step.result.value for step in working.steps}
        assert by["T_B"] > 0.1 * by["T"]
        strips = by.get("T_s", by["T_0"])
        assert strips == pytest.approx(by["T_0"], rel=2e-3)
        assert strips + by["T_B"] == pytest.approx(float(analysis.tributary[0, clamp]), rel=1e-6)


DORMER = """
[[roof.dormer]]
name = "over the door"
plane = "S1"
across = "6 m"
up = "1.2 m"
width = "2.4 m"
height = "0.8 m"
pitch = "35 deg"
"""


def test_snow_that_leaves_a_dormers_valley_is_a_step_of_its_own(tmp_path: Path) -> None:
    """Through both valleys come the slope above them over the dormer's width, and the dormer beside them."""
    deep, pitch, slope, up, height = 4.0, np.radians(35.0), np.radians(30.0), 1.2, 0.8
    text = Path("models/tannery-hall/project.toml").read_text(encoding="utf-8")
    analysis = run(gable_with_dormer(text), tmp_path)
    roof, layout = analysis.project.roof, analysis.project.layout
    limit = next(i for i, one in enumerate(analysis.limits) if one.name == "clamp combined")
    pressure = 2000.0
    front = up * np.cos(slope)
    eave = front + height / np.tan(slope)  # where the dormer's eaves meet the slope, on plan
    ridge = eave + 1.2 * np.tan(pitch) / np.tan(slope)
    above = 2.4 * (deep - 0.5 * (eave + ridge))
    beside = 2.0 * 0.5 * 1.2 * (ridge - eave)
    wanted = pressure * (above * np.sin(slope) + beside * np.sin(pitch))
    found, own = 0.0, []
    for clamp in range(len(layout.clamp_name)):
        working = hand_check(analysis, Governing(limit, clamp, 0, 0.5))
        assert working is not None
        by = {step.symbol: step for step in working.steps}
        if "T_U" in by:
            found += by["T_U"].result.value
            assert in_si(by["T_U"].expression) == pytest.approx(by["T_U"].result.value, rel=1e-9)
            own.append((by.get("T_s", by["T_0"]).result.value, by["T_0"].result.value))
        assert by["T"].result.value == pytest.approx(float(analysis.tributary[0, clamp]), rel=1e-9)
    assert roof.planes.slope.max() == pytest.approx(pitch)
    assert found == pytest.approx(wanted, rel=1e-3)
    for strips, straight in own:  # what is left is the snow straight above, to the strips' width
        assert strips == pytest.approx(straight, rel=0.02)


def gable_with_dormer(text: str) -> str:
    """A gable with even snow, a dormer, and a row below it, with the hardware of another project."""
    hardware = re.findall(r"^\[(?:panel|rail|clamp)\]\n.*?(?=^\[)", text, re.DOTALL | re.MULTILINE)
    return (
        '[project]\nname = "Dormer"\n[site]\nstandard = "measured"\nlevel = "characteristic"\n'
        'layers = [{ depth = "1 m", density = ["203.9432426 kg/m^3"] }]\n'
        '[[roof.part]]\nshape = "gable"\nfootprint = "0 0, 14 0, 14 8, 0 8 m"\n'
        'pitches = ["30 deg", "gable", "30 deg", "gable"]\neave_height = "3 m"\n'
        + DORMER
        + "[surface]\nslippery = true\n"
        + "".join(hardware)
        + '[[row]]\nname = "low"\nplane = "S1"\nup = "0.4 m"\n[design]\nformat = "EN"\n'
        + '[analysis]\nstrip_width = "0.1 m"\n'
    )
