"""Areas of the hand check: corners give their sizes, zones their pressures, their sum the step."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from fea.near_limit import over_limit
from fea.sensitivity import Sway
from tests.demos import demo
from viewer.package.zones import _groups, _others, zone_parts
from viewer.places import margin_line
from viewer.quantities import system
from viewer.report.catchment import catchment_table, pieces, with_area_names
from viewer.report.catchment_plan import catchment_svg
from viewer.report.working import hand_check
from viewer.snow.page import zone_chapters
from viewer.snow.study import snow_study

WITH_AREAS = ("granary-door", "sentier-house", "cedar-hollow", "tannery-hall")


def shoelace(ring: np.ndarray) -> float:
    after = np.roll(ring, -1, axis=0)
    return 0.5 * abs(float((ring[:, 0] * after[:, 1] - after[:, 0] * ring[:, 1]).sum()))


def number(cell: str) -> float:
    return float(re.search(r"[\d,]*\.?\d+", cell)[0].replace(",", ""))


@pytest.mark.parametrize("name", WITH_AREAS)
def test_printed_corners_give_the_printed_areas_and_forces(name: str) -> None:
    """With a pocket calculator: area by corners, force by area, pressure and slope."""
    analysis = demo(name)
    units = system(analysis.project.table.project.units)
    working = hand_check(analysis)
    table = catchment_table(analysis, working, pieces(working), units)
    assert table is not None
    per_force = units.convert(1.0, "force") / units.convert(1.0, "pressure") / units.convert(1.0, "area")
    for row in table.rows:
        area, pressure, slope, force, where = *(number(cell) for cell in row[3:7]), row[7]
        corners = where.partition(". Snow")[0]
        rings = [
            np.array(re.findall(r"\(([-\d.]+), ([-\d.]+)\)", part.replace("−", "-")), dtype=float)
            for part in corners.split(", and ")
        ]
        assert sum(map(shoelace, rings)) == pytest.approx(area, rel=5e-3)
        assert area * pressure * np.sin(np.radians(slope)) * per_force == pytest.approx(force, rel=2e-3)


def test_the_bound_at_the_door_is_its_triangle() -> None:
    """45 degrees on the slope from the row's end to the ridge: half of run times width, even snow."""
    analysis = demo("granary-door")
    working = hand_check(analysis)
    own, piece = pieces(working)
    assert own.feeder.force(0.0) == pytest.approx(working.steps[1].result.value, rel=1e-6)
    plane = analysis.project.roof.planes
    layout = analysis.project.layout
    up = float(plane.outline[0].bounds[3] - layout.row_start[0, 1])
    assert piece.feeder.area == pytest.approx(0.5 * up**2 * np.cos(plane.slope[0]), rel=1e-3)
    assert piece.feeder.region.area == pytest.approx(piece.feeder.area, rel=1e-6)
    step = next(step for step in with_area_names(working).steps if step.feeders)
    assert step.note.startswith("A1 of the drawing")
    assert catchment_svg(analysis, working, pieces(working), system("SI")).count(">A1<") >= 1


def test_a_clamp_of_its_own_strip_alone_is_drawn_with_it() -> None:
    """A0 is its run times its width, and its force T_0."""
    analysis = demo("tannery-hall")
    working = hand_check(analysis)
    bare = replace(working, steps=tuple(replace(step, feeders=()) for step in working.steps))
    (own,) = pieces(bare)
    by = {step.symbol: step.result.value for step in working.steps}
    assert own.name == "A0"
    assert own.feeder.force(analysis.project.slide.friction) == pytest.approx(by["T_0"], rel=1e-6)
    table = catchment_table(analysis, bare, (own,), system("SI"))
    assert [row[:2] for row in table.rows] == [("A0", "T_0")]
    assert ">A0<" in catchment_svg(analysis, bare, (own,), system("SI"))


def test_steps_name_the_areas_of_the_table_and_no_others() -> None:
    """A plane that sends nothing has no size: it is in no table, so no step points to it."""
    working = hand_check(demo("granary-door"))
    at = next(k for k, step in enumerate(working.steps) if step.feeders)
    (one,) = working.steps[at].feeders
    empty = replace(one, area=0.0)
    for feeders, words in (
        ((one, empty, one), "A1 and A3 of the drawing and its table above, in this order (A2 without size)."),
        ((empty,), ""),
    ):
        steps = list(working.steps)
        steps[at] = replace(steps[at], feeders=feeders, note="")
        changed = replace(working, steps=tuple(steps))
        told = with_area_names(changed).steps[at].note
        assert told == words
        names = {piece.name for piece in pieces(changed)} - {"A0"}
        assert names == set(re.findall(r"A\d+", told.partition("(")[0]))


@pytest.mark.parametrize("name", ["tannery-hall", "cedar-hollow", "ridge-school"])
def test_no_zone_is_lost_where_formulas_stand_once(name: str) -> None:
    """Every zone is worked out or has a row, and its pressure stands there."""
    analysis = demo(name)
    units = system(analysis.project.table.project.units)
    study = snow_study(analysis.project)
    chapters = zone_chapters(study)
    groups = _groups(chapters)
    assert sum(map(len, groups)) == len(chapters)
    assert len(groups) < len(chapters)
    for group in groups:
        formulas = {tuple(line.symbols for line in zone["lines"]) for zone in group}
        assert len(formulas) == 1
        if len(group) == 1:
            continue
        rows = _others(group, units).rows
        for zone in group[1:]:
            told = zone["slices"] or str(zone["number"])
            (row,) = [row for row in rows if f"{told} {zone['name']}" in row[0]]
            assert row[1] == zone["cases"]  # not those of other zones with the same numbers
            last = zone["lines"][-1]
            if last.results:
                shown = units.convert(float(last.results[0].value), last.results[0].kind)
                assert number(row[-1].rpartition("= ")[2]) == pytest.approx(shown, rel=1e-3)
    text = zone_parts(study, units)
    assert all(f"{group[0]['number']}  " in text for group in groups)


def test_how_far_an_input_may_err_is_read_from_both_runs() -> None:
    """From 90 % to 110 % over a tenth of it the limit lies halfway."""
    one = _sway(0.9, 0.75, 1.1)
    assert over_limit((one,)) == (one,)
    assert "about 5.0 % more" in margin_line(one, "it")
    assert "about 2.5 % less" in margin_line(_sway(0.9, 1.3, 0.8), "it")


def _sway(now: float, low: float, high: float) -> Sway:
    return Sway(name="ground snow", now=now, low=low, high=high, low_at="a-01", high_at="a-02")
