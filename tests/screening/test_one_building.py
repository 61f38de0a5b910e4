"""One building: closed forms for what leaves an eave, and invariance."""

import json
from dataclasses import replace

import numpy as np
import pytest

from roofmodel.errors import InputError
from roofmodel.layout import no_rows
from roofmodel.screening import ScreenRules, _edges, _largest_window, screen_building, worst_meter
from roofmodel.shape.recognition import recognize
from roofmodel.shape.roof_faces import pick_roof_faces
from roofmodel.shape.surfaces import Building, building_mesh
from roofmodel.sliding.landing import landing
from roofmodel.sliding.thrust import SlideOptions, slide
from roofmodel.snow.inputs import EnSite
from roofmodel.snow.registry import snow_cases
from roofmodel.surface import STOREY
from roofmodel.units import STANDARD_GRAVITY

GROUND = 2000.0  # s_k [Pa]
RULES = ScreenRules(EnSite(ground_snow=GROUND), SlideOptions())


def gable(length=12.0, run=5.0, slope=np.pi / 6.0, eave=4.0, walls=True, at=(2.6e6, 1.2e6, 430.0)):
    rise = run * np.tan(slope)
    x, y = length, 2.0 * run
    points = np.array(
        [
            [0, 0, eave], [x, 0, eave], [x, run, eave + rise], [0, run, eave + rise],
            [0, y, eave], [x, y, eave], [0, 0, 0], [x, 0, 0], [x, y, 0], [0, y, 0],
        ],
        dtype=float,
    )  # fmt: skip
    surfaces = [([[0, 1, 2, 3]], "RoofSurface"), ([[3, 2, 5, 4]], "RoofSurface")]
    if walls:
        surfaces += [([[6, 7, 1, 0]], "WallSurface"), ([[6, 9, 8, 7]], "GroundSurface")]
    return Building("one", points + np.array(at), tuple(surfaces))


def test_gable_closed_form():
    """Force p b sin(theta) per meter (EN 1991-1-3 6.4), throw and energy by mechanics of a body thrown."""
    slope, run, eave = np.radians(30.0), 5.0, 4.0
    found = screen_building(gable(), RULES)
    p = 0.8 * GROUND  # mu_1 of a slope of 30 degrees, Table 5.2
    best = [edge for edge in found["edges"] if edge["kind"] == "eave"]
    assert len(best) == 2
    for edge in best:
        assert edge["force"] == pytest.approx(p * run * np.sin(slope), rel=1e-9)
        assert edge["total_force"] == pytest.approx(12.0 * p * run * np.sin(slope), rel=1e-9)
        assert edge["weight"] == pytest.approx(p * run, rel=1e-9)
        head = run * np.tan(slope)
        v = np.sqrt(2.0 * STANDARD_GRAVITY * head)
        assert edge["speed"] == pytest.approx(v, rel=1e-9)
        assert edge["fall"] == pytest.approx(eave, abs=1e-9)
        assert edge["energy"] == pytest.approx(p * run * (eave + head), rel=1e-9)
        top = eave + p / (200.0 * STANDARD_GRAVITY)  # of settled snow, 200 kg/m3
        t = np.roots([0.5 * STANDARD_GRAVITY, v * np.sin(slope), -top]).max()
        assert edge["throw"] == pytest.approx(v * np.cos(slope) * t, rel=1e-9)
    assert found["released"]["weight"] == pytest.approx(2 * 12.0 * p * run, rel=1e-9)
    assert found["ground"] == {"height": 430.0, "assumed": False}


def test_snow_without_an_edge_falls_as_far_as_the_others():
    """What leaves where the model has no edge must not rank as if it lay on the ground."""
    picked = pick_roof_faces(building_mesh(gable()))
    roof = recognize(picked.points, picked.faces, offset=picked.offset, ground=picked.ground)
    snow = snow_cases(roof, RULES.site, range(roof.planes.count))
    graph, force = slide(roof, snow.cases, no_rows(), RULES.slide)
    eave = int(np.argmax(force.exit_weight.max(axis=0)))
    edge = force.exit_edge.copy()
    edge[eave] = -1
    lost = replace(force, exit_edge=edge)
    lands = landing(roof, graph, force, snow.cases, RULES.slide)
    lands = replace(lands, fall=np.where(edge < 0, np.nan, lands.fall))
    found = _edges(roof, lost, lands, snow.cases, worst_meter(roof, graph, force, RULES.slide))
    inside = next(edge for edge in found if edge["kind"] == "none")
    eaves = [edge for edge in found if edge["kind"] == "eave" and edge["force"] > 0.0]
    assert inside["fall"] == pytest.approx(max(edge["fall"] for edge in eaves))
    assert inside["energy"] >= inside["weight"] * inside["fall"] > 0.0


def test_steep_roof_takes_no_reduction():
    """At 65 degrees EN asks for no snow where it slides off; a screening must not rely on that."""
    found = screen_building(gable(slope=np.radians(65.0)), RULES)
    edge = next(e for e in found["edges"] if e["kind"] == "eave")
    assert edge["force"] == pytest.approx(0.8 * GROUND * 5.0 * np.sin(np.radians(65.0)), rel=1e-9)


def test_unknown_ground_is_assumed_and_said():
    found = screen_building(gable(walls=False), RULES)
    assert found["ground"]["assumed"]
    assert all(e["fall"] == pytest.approx(STOREY) for e in found["edges"] if e["kind"] == "eave")
    assert any("3 m above the ground" in note for note in found["notes"])


def test_flat_roof_releases_nothing():
    found = screen_building(gable(slope=0.0), RULES)
    assert all(edge["force"] == 0.0 and edge["energy"] == 0.0 for edge in found["edges"])
    assert found["released"] == {"weight": 0.0, "volume": 0.0, "case": None}


def test_friction_holds():
    rules = ScreenRules(RULES.site, SlideOptions(friction=0.6))
    found = screen_building(gable(), rules)
    assert found["released"]["weight"] == 0.0  # tan 30 is below 0.6


@pytest.mark.parametrize("turn", [0.3, 1.1, 2.9])
def test_turning_and_moving_change_nothing(turn):
    one = gable()
    spin = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    other = Building("one", (one.points - one.points[0]) @ spin.T + [5e5, 5e6, 80.0], one.surfaces)
    first, second = (screen_building(b, RULES)["edges"] for b in (one, other))
    for name in ("force", "weight", "energy", "throw", "volume"):
        assert sorted(e[name] for e in first) == pytest.approx(
            sorted(e[name] for e in second), rel=1e-6, abs=1e-6
        )


def test_plain_data_survives_json():
    found = screen_building(gable(), RULES)
    assert json.loads(json.dumps(found, allow_nan=False)) == found


def test_no_roof_is_told():
    one = gable()
    walls = tuple(s for s in one.surfaces if s[1] == "WallSurface")
    with pytest.raises(InputError, match="no roof"):
        screen_building(Building("w", one.points, walls), RULES)


def test_largest_window_against_sampling():
    """The largest meter of stretches with even amounts, against ten thousand windows tried one by one."""
    random = np.random.default_rng(3)
    for _ in range(20):
        n = 12
        group = np.sort(random.integers(0, 3, n))
        low = random.uniform(0.0, 6.0, n)
        high = low + random.uniform(0.01, 1.5, n)
        amount = random.uniform(0.0, 5.0, (2, n))
        window = np.array([0.5, 1.0, 0.8])
        found = _largest_window(low, high, group, amount, window, 3)
        for g in range(3):
            start = np.linspace(-1.0, 8.0, 10_001)[:, None]
            on = group == g
            shared = np.minimum(high[on], start + window[g]) - np.maximum(low[on], start)
            part = np.clip(shared, 0.0, None) / (high - low)[on]
            tried = (part @ amount[:, on].T).max(axis=0, initial=0.0)
            assert np.all(found[:, g] >= tried - 1e-9)
            assert found[:, g] == pytest.approx(tried, rel=2e-2, abs=1e-9)
