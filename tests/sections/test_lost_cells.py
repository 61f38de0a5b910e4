"""A hollow rail whose inner line was lost on its way out of the drawing counts as solid: told."""

import pytest
from shapely.affinity import scale
from shapely.geometry import Point, Polygon, box

from fea.sections.outline_doubts import outline_words
from roofmodel.profiles.properties import profile_of
from roofmodel.units import SYSTEMS


def frame(width, height, wall):
    return box(0, 0, width, height) - box(wall, wall, width - wall, height - wall)


SOLID = {
    "20 x 40": box(0, 0, 20, 40),
    "60 x 40 with a screw port": box(0, 0, 60, 40) - Point(50, 30).buffer(2.5),
    "one of two cells": box(0, 0, 30, 30) | (frame(60, 30, 2) & box(30, 0, 60, 30)),
    "16 mm beside a cell": box(0, 0, 16, 40) | (frame(50, 40, 2) & box(16, 0, 50, 40)),
    "14 mm with fins": box(0, 0, 14, 40) | box(0, 0, 50, 2) | box(0, 38, 50, 40),
}
WHOLE = {
    "tube": frame(40, 20, 2),
    "two cells": frame(60, 30, 2) | box(29, 0, 31, 30),
    "screw ports": frame(60, 40, 2.5) | (box(2, 2, 10, 10) - Point(6, 6).buffer(2.2)),
    "angle": Polygon([(0, 0), (80, 0), (80, 10), (10, 10), (10, 80), (0, 80)]),
    "stout angle": Polygon([(0, 0), (100, 0), (100, 14), (14, 14), (14, 100), (0, 100)]),
    "channel": box(0, 0, 60, 40) - box(3, 3, 60, 37),
    "flat bar": box(0, 0, 8, 60),
}


def told(outline):
    found = outline_words(profile_of(scale(outline, 1e-3, 1e-3)), SYSTEMS["SI"])
    return [words for words in found if "has room in its metal" in words]


@pytest.mark.parametrize("name", list(SOLID))
def test_metal_where_a_cell_may_have_been_is_told(name):
    assert len(told(SOLID[name])) == 1


@pytest.mark.parametrize("name", list(WHOLE))
def test_rails_with_all_their_lines_are_not(name):
    assert told(WHOLE[name]) == []
