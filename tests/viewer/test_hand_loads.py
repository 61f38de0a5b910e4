"""Loads along a row and lines that drifts are measured from: enough, as printed, to find numbers again."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from fea.analysis import analyze
from roofmodel.project.load import load_project
from roofmodel.surface import shown_origin
from roofmodel.units import SI
from tests.demos import demo
from viewer.quantities import system
from viewer.report.catchment import Piece, pieces
from viewer.report.hand_loads import loads_table, measured_table
from viewer.report.plain_beam import by_lever, plain_beams, plain_reactions
from viewer.report.working import hand_check
from viewer.report.working_steps import clamp_at
from viewer.starter import starter_text

UNIT = {"m": 1.0, "ft": 0.3048, "kN/m": 1e3, "lbf/ft": 4.4482216 / 0.3048, "kN": 1e3, "lbf": 4.4482216}
DEMOS = ["granary-door", "sentier-house", "tannery-hall", "ridge-school", "cedar-hollow"]


def _printed(table):
    """Lines (k, 3) of snow and of snow from beside, SI, and forces on both overhangs, from a table's text."""
    wide = 3 if "From beside" in " ".join(table.heads) else 2
    length, load = (UNIT[head.rsplit(" ", 1)[1]] for head in table.heads[:2])
    lines = []
    for row in table.rows:
        for k in range(0, len(row), wide):
            if row[k]:
                low, high = (length * float(part) for part in row[k].split(" to "))
                lines.append(
                    (low, high, *(load * float(one.replace(",", "")) for one in row[k + 1 : k + wide]))
                )
    lines = np.array(sorted(lines))
    ends = re.search(r"evenly: ([\d.,]+) (\S+) left, ([\d.,]+) (\S+) right", table.note)
    bound = [float(ends[i].replace(",", "")) * UNIT[ends[i + 1]] for i in (1, 3)] if ends else [0.0, 0.0]
    snow = lines[:, :3]
    beside = lines[:, [0, 1, 3]] if wide == 3 else np.zeros((0, 3))
    return snow, beside, bound


@pytest.mark.parametrize("name", DEMOS)
def test_both_k_follow_from_the_printed_loads(name):
    analysis = demo(name)
    units, worst = system(analysis.project.table.project.units), analysis.attachment
    working = hand_check(analysis)
    table = loads_table(analysis, working, worst, units)
    clamp = analysis.project.layout.clamp_name.index(working.clamp)
    at = clamp_at(analysis, clamp, worst.case, analysis.limits[worst.limit].name)
    beams = plain_beams(analysis, at)
    snow, beside, (left, right) = _printed(table)
    np.testing.assert_allclose(snow[1:, 0], snow[:-1, 1], atol=0.01)  # without a gap
    places, long = beams.places, beams.long
    over = [
        (0.0, places[0], left / places[0] if left else 0.0),
        (places[-1], long, right / (long - places[-1]) if right else 0.0),
    ]
    part = by_lever(places, np.concatenate([snow, beside, over]))
    words = next(step.note for step in working.steps if step.symbol == "R")
    told = [float(k) for k in re.findall(r"k = (\d\.\d+)", words)]
    total = float(analysis.tributary[at.case, clamp])
    for k, spring, slack in zip(told, beams.spring, beams.slack, strict=True):
        found = plain_reactions(places, spring, beams.bending, snow, slack * part)[beams.here] / total
        assert found == pytest.approx(k, rel=0.005)


@pytest.mark.parametrize("name", ["sentier-house", "tannery-hall"])
def test_pressures_follow_from_the_line_and_the_length_told(name):
    """p0 (1 - x / l) with x square to the told line is the zone's pressure, on plan, anywhere on it."""
    analysis = demo(name)
    working = hand_check(analysis)
    units = system(analysis.project.table.project.units)
    table = measured_table(analysis, working, pieces(working), units)
    origin = shown_origin(analysis.project.roof.offset)
    case = analysis.snow.cases[analysis.attachment.case]
    assert table.rows
    for drift, pressure, length, line, _ in table.rows:
        size = 1e3 * float(re.match(r"[\d.]+", pressure)[0])
        reach = float(re.search(r"= ([\d.]+) m", length)[1])
        numbers = [float(one.replace("−", "-")) for one in re.findall(r"[−\d.]+(?=[,)])", line)][:4]
        ends = np.array(numbers).reshape(2, 2) - origin
        way = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
        fits = []
        for zone in (one for one in case.zones if one.name == drift):
            xy = np.array(zone.polygon.representative_point().coords[0])
            x = abs(float((xy - ends[0]) @ [-way[1], way[0]]))
            fits.append(abs(size * (1.0 - x / reach) - zone.pressure @ [1.0, *xy]) < 2e-3 * size)
        assert any(fits)


DORMER = """
[[roof.dormer]]
plane = "S1"
kind = "shed"
across = "7 m"
up = "1.5 m"
width = "4 m"
height = "1.2 m"
pitch = "10 deg"

[surface]"""


def test_drifts_at_walls_that_are_alike_are_told(tmp_path):
    """Both cheeks of a dormer have the drift of one formula: each is measured from its own cheek."""
    path = tmp_path / "project.toml"
    path.write_text(starter_text("gable", "SI", "EN 1991-1-3").replace("\n[surface]", DORMER, 1))
    analysis = analyze(load_project(path))
    case = "drifts together"
    zones = next(one.zones for one in analysis.snow.cases if one.name == case)
    beside = [one for one in zones if one.name == "drift below S2" and one.polygon.bounds[1] > 1.0]
    assert len(beside) == 2
    working = replace(hand_check(analysis), case=case)
    for zone, cheek in zip(beside, [one.polygon.bounds for one in beside], strict=True):
        feeder = replace(working.own, plane=zone.plane, region=zone.polygon)
        table = measured_table(analysis, working, [Piece("A0", "T_0", feeder, (), ())], SI)
        (line,) = table.rows
        at = 5.0 if cheek[0] < 5.0 else 9.0
        assert line[3].count(f"({at:.3f}, ") == 2
    round_it = next(one for one in zones if one.name.endswith("around a corner"))
    feeder = replace(working.own, plane=round_it.plane, region=round_it.polygon)
    found = measured_table(analysis, working, [Piece("A0", "T_0", feeder, (), ())], SI)
    assert found is None or not any("around a corner" in line[0] for line in found.rows)
