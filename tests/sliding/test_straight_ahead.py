"""Planes of 5 to 15 degrees that slope aside: what hangs on whether they turn snow takes the worse of both.

Just below 5 degrees all goes straight on, so nothing may jump at 5 degrees (judgment of the law itself: see
`roofmodel.sliding.across`).
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from roofs import rows, uniform
from test_flat_parts import P, chain, tangent
from test_low_far_sides import plane_at

from fea.checks.arrays import array_forces
from fea.planning.threats import find_threats
from fea.still_falling import protected_snow
from fea.straight import straight_words
from roofmodel.layout import no_rows
from roofmodel.project.array_schema import SolarTable
from roofmodel.project.arrays import place_arrays
from roofmodel.project.load import load_project
from roofmodel.project.obstacle_schema import ObstructionTable
from roofmodel.project.obstacles import place_obstacles
from roofmodel.project.plan_schema import ProtectTable
from roofmodel.shape.recognition import recognize
from roofmodel.sliding.landed import with_landed
from roofmodel.sliding.landing import landing
from roofmodel.sliding.thrust import SlideOptions, slide
from roofmodel.sliding.worse_edges import flown, worse_edges
from roofmodel.units import SYSTEMS

ASIDE = np.radians(60.0)
DEMO = Path(__file__).parents[2] / "models/granary-door/project.toml"


def turning(degrees):
    """A slope of 10 degrees, a part that falls so, 60 degrees aside, and 32 degrees above."""
    fall = tangent(degrees)
    along = np.degrees(np.arctan(fall * np.cos(ASIDE)))
    return chain((4.0, 10.0), (6.0, along), (6.0, 32.0), tilt=fall * np.sin(ASIDE))


def lowest(roof):
    return int(np.argmin(roof.planes.origin[:, 1]))


def pushed(degrees, on):
    """Largest force on a box of 1 m on the lowest plane or the one that turns, without rows. [N]."""
    roof = turning(degrees)
    plane = lowest(roof) if on == "lowest" else plane_at(roof, degrees)
    middle = roof.planes.outline[plane].centroid
    table = {"name": "light", "plane": roof.planes.name[plane], "across": f"{middle.x} m"}
    table |= {"up": f"{middle.y} m", "width": "1 m", "depth": "1 m", "height": "1 m"}
    box = ObstructionTable.model_validate(table)
    roof = replace(roof, obstacles=place_obstacles(roof, [], [box], SYSTEMS["SI"]))
    return float(slide(roof, (uniform(roof, P),), no_rows())[1].obstacle_push[0, 0])


@pytest.mark.parametrize("on", ["lowest", "the one that turns"])
def test_a_box_is_pushed_by_what_may_go_straight_on(on):
    flat, steep = (pushed(degrees, on) for degrees in (4.99, 5.01))
    assert steep > 0.97 * flat
    assert pushed(15.1, on) < steep


def protecting(degrees):
    """A project without rows, and what lies below the lowest plane is to be protected."""
    roof = turning(degrees)
    mark = ProtectTable.model_validate({"name": "walk", "planes": [roof.planes.name[lowest(roof)]]})
    project = load_project(DEMO)
    table = project.table.model_copy(update={"protect": [mark]})
    return replace(project, roof=roof, layout=no_rows(), table=table)


def threatens(degrees):
    """What comes down on what lies below the lowest plane, in its two readings, and the words on it."""
    project = protecting(degrees)
    roof, case = project.roof, uniform(project.roof, P)
    graph, force = slide(roof, (case,), no_rows(), project.slide)
    first = (graph, force, landing(roof, graph, force, (case,), project.slide))
    (found,) = protected_snow(project, (case,), flown(roof, first, (case,), project.slide))
    (alone,) = protected_snow(project, (case,), [first])
    assert not found.kept
    return found.weight, alone.weight, straight_words(roof, no_rows(), graph, force, SYSTEMS["SI"])


def test_what_is_protected_counts_what_may_go_straight_on():
    """Half of it was missing, and one sentence says that both readings count."""
    flat, steep, steeper = (threatens(degrees) for degrees in (4.99, 5.01, 15.1))
    assert steep[0] == pytest.approx(flat[0], rel=0.01)
    assert steep[1] < 0.6 * flat[0]
    (told,) = [one for one in steep[2] if "A thick blanket may go straight on" in one]
    assert "every edge that snow leaves over, which add up to more than lies on the roof" in told
    assert steeper[0] == steeper[1] < steep[0]


def test_a_plan_sees_what_may_go_straight_on(monkeypatch):
    """All of the upper slope threatens, where one reading leaves a part out."""
    monkeypatch.setattr("fea.planning.threats.LEVEL", 10.0)  # every edge of this roof slopes a little
    flat, steep = (find_threats(protecting(degrees)) for degrees in (4.99, 5.01))
    assert steep.weight == pytest.approx(flat.weight, rel=0.01)
    top = plane_at(turning(5.01), 32.0)
    assert top in steep.planes
    monkeypatch.setattr("fea.planning.threats.slide", partial(slide, both=False))
    assert find_threats(protecting(5.01)).weight < 0.8 * flat.weight


def below(degrees):
    """Force of all that lands above a row on a shed below the lowest eave; that of one reading too. [N]."""
    roof = turning(degrees)
    z = roof.planes.to_world(lowest(roof), np.zeros((1, 2)))[0, 2] - 3.0
    shed = np.array([(-9.0, -9.0, z - 3.0), (18.0, -9.0, z - 3.0), (18.0, 0.0, z), (-9.0, 0.0, z)])
    both = recognize(np.concatenate([roof.points, shed]), _with_quad(roof))
    low = next(i for i in range(both.planes.count) if both.planes.origin[i, 1] < -8.0)
    layout = rows(both, {"plane": both.planes.name[low], "up": "0.5 m"})
    case, options = uniform(both, P), SlideOptions()
    graph, force = slide(both, (case,), layout, options)
    found = with_landed(both, layout, graph, force, (case,), options)
    alone = with_landed(both, layout, graph, replace(force, other=None), (case,), options)
    np.testing.assert_allclose(found.aside - found.landed, force.aside, atol=1e-6)
    return tuple(float(-one.landed[0, :, 1].sum()) for one in (found, alone))


def _with_quad(roof):
    n = len(roof.points)
    return np.concatenate([roof.faces, [[n, n + 1, n + 2], [n, n + 2, n + 3]]])


def test_rows_below_take_what_may_go_straight_on_and_land_there():
    flat, steep = (below(degrees) for degrees in (4.99, 5.01))
    assert steep[0] == pytest.approx(flat[0], rel=0.06)  # part of it leaves farther to the side
    assert steep[1] < 0.7 * flat[0]


def with_box(degrees, on, **more):
    """A box of 2 m on the lowest plane or the one that turns, and a row below it; forces on the row. [N]."""
    roof = turning(degrees)
    plane = lowest(roof)
    middle = roof.planes.outline[plane].centroid
    table = {"name": "light", "plane": roof.planes.name[plane], "across": f"{middle.x} m"}
    table |= {"up": f"{middle.y} m", "width": "2 m", "depth": "1 m", "height": "1 m"}
    box = ObstructionTable.model_validate(table)
    roof = replace(roof, obstacles=place_obstacles(roof, [], [box], SYSTEMS["SI"]))
    layout = rows(roof, {"plane": roof.planes.name[plane], "up": "0.5 m", **more})
    return slide(roof, (uniform(roof, P),), layout)[1]


def test_a_row_takes_what_a_box_above_sends_aside_in_the_other_reading():
    """The bound is that of the other reading whole: what goes straight on, and what the box sends of it."""
    flat, steep = (with_box(degrees, "lowest") for degrees in (4.99, 5.01))
    other = steep.other[1]
    whole = (steep.thrust + steep.aside)[..., 1]
    assert (whole <= (other.thrust + other.aside)[..., 1] + 1e-6).all()
    assert (whole <= (steep.thrust)[..., 1] + 1e-6).all()
    assert -whole.sum() > 0.97 * -(flat.thrust + flat.aside)[..., 1].sum()


def test_edges_shed_and_throw_by_the_worse_reading():
    """Weight over the lowest eaves and its throw without a jump at 5 degrees; each no less than in either."""
    found = []
    for degrees in (4.99, 5.01):
        roof = turning(degrees)
        case, options = uniform(roof, P), SlideOptions()
        graph, force = slide(roof, (case,), no_rows())
        first = (graph, force, landing(roof, graph, force, (case,), options))
        flows = flown(roof, first, (case,), options)
        assert len(flows) == (2 if degrees > 5.0 else 1)
        worse, lands = worse_edges(flows)
        for _, one, its in flows:
            at = np.searchsorted(worse.exit_edge, one.exit_edge)
            assert (worse.exit_weight[:, at] >= one.exit_weight).all()
            assert (lands.throw[at] >= its.throw).all()
            assert (lands.line[:, at] >= its.line).all()
        assert worse.exit_weight.sum() > force.exit_weight.sum() or len(flows) == 1
        force = worse
        low = np.array([roof.edges.plane[e, 0] == lowest(roof) for e in force.exit_edge])
        found.append((force.exit_weight[0, low].sum(), lands.throw[low].max()))
    assert found[1][0] == pytest.approx(found[0][0], rel=0.02)
    assert found[1][1] > 0.97 * found[0][1]


def leaning(degrees):
    """Force on the clamps of a solar array on the lowest plane, without its own snow. [N]."""
    roof = turning(degrees)
    plane = lowest(roof)
    middle = roof.planes.outline[plane].centroid
    table = SolarTable.model_validate(
        {"name": "array", "plane": roof.planes.name[plane], "across": f"{middle.x} m", "up": f"{middle.y} m"}
        | {"width": "2 m", "depth": "1 m", "gap": "100 mm", "weight": "0.15 kPa"}
    )
    project = load_project(DEMO)
    roof = replace(roof, arrays=place_arrays(roof, [table], [], 0.4, SYSTEMS["SI"]))
    project = replace(project, roof=roof, layout=no_rows())
    case = uniform(roof, P)
    graph, force = slide(roof, (case,), no_rows(), project.slide)
    return float(array_forces(project, (case,), graph, force).leaning.sum())


def test_a_solar_array_is_leaned_on_by_what_may_go_straight_on():
    """8.0 kN at 4.99 degrees once fell to 1.0 kN at 5.01, so that its clamps were at 48 in place of 299 %."""
    flat, steep = (leaning(degrees) for degrees in (4.99, 5.01))
    assert steep > 0.97 * flat
