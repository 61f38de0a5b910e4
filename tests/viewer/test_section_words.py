"""Words of a section through the roof stand clear of the snow, the building and the rows."""

from __future__ import annotations

import re

import numpy as np
import pytest
import shapely

from tests.demos import demo
from viewer.picture.labels import Text, free_place, text_width
from viewer.quantities import system
from viewer.report.roof_section import TYPE, section_svg


def polygons(svg: str, mark: str) -> list[shapely.Geometry]:
    found = []
    for tag in re.findall(r"<path[^>]*>", svg):
        if mark in tag:
            numbers = [float(n) for n in re.findall(r"-?\d+\.?\d*", re.search(r' d="([^"]*)"', tag)[1])]
            found.append(shapely.Polygon(np.reshape(numbers, (-1, 2))).buffer(0.0))
    return found


@pytest.mark.parametrize("name", ["sentier-house", "alder-barn", "tannery-hall", "harbor-barn"])
def test_the_depth_of_snow_is_written_beside_the_snow(name: str) -> None:
    analysis = demo(name)
    svg = section_svg(analysis, system(analysis.project.table.project.units))
    x, y, anchor, words = re.findall(
        r'<text[^>]* x="([\d.]+)" y="([\d.]+)"[^>]*text-anchor="(\w+)"[^>]*>([^<]* deep)<', svg
    )[-1]
    wide = text_width(words, TYPE)
    left = float(x) - (wide if anchor == "end" else 0.0)
    box = shapely.box(left, float(y) - 0.7 * TYPE, left + wide, float(y) + 1.0)
    snow = polygons(svg, "data-snow")
    assert snow
    assert not any(box.intersects(one) for one in snow)


def test_the_first_place_that_is_free_is_taken() -> None:
    tries = [Text("deep", (x, 50.0), 10.0) for x in (5.0, 40.0, 90.0, 120.0)]
    wall = shapely.box(30.0, 0.0, 60.0, 100.0)
    found = free_place(tries, wall, (20.0, 0.0, 200.0))
    assert found is tries[2]  # the first lies outside, the second on the wall
    assert free_place(tries, shapely.box(0.0, 0.0, 300.0, 300.0), (0.0, 0.0, 300.0)) is None
