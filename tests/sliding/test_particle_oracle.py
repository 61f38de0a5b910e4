"""The flux against particles that follow steepest descent, within the error of sampling."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from particles import Terrain, trace
from roofs import force_per_row, gable, hip, l_shape, rectangle, rows, uniform

from roofmodel.errors import InputError
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.shape.dormers import Dormer
from roofmodel.shape.importing import import_roof
from roofmodel.shape.recognition import recognize
from roofmodel.sliding.thrust import slide
from tests.geometry.shapes import shuffled, subdivided

P = 1500.0  # [Pa]
MOST = 4.5  # standard deviations
DATA = Path(__file__).parents[1] / "data"


def t_shape():
    points = [[0, 0], [18, 0], [18, 8], [12, 8], [12, 16], [5, 16], [5, 8], [0, 8]]
    return build_roof([RoofPart("hip", np.array(points, float), np.radians([32.0] * 8), 3.0)])


def dormered(kind):
    part = RoofPart("gable", rectangle(16.0, 12.0), np.radians([40.0, np.nan, 40.0, np.nan]), 3.0)
    return build_roof([part], [Dormer("S1", 6.0, 2.0, 3.0, 1.2, np.radians(30.0), kind)])


def circle(count, radius=6.0):
    turn = 2.0 * np.pi * np.arange(count) / count
    return radius * np.column_stack([np.cos(turn), np.sin(turn)])


def cone():
    return build_roof([RoofPart("hip", circle(12), np.radians([35.0] * 12), 3.0)])


def dome():
    return build_roof([RoofPart("dome", circle(12), eave_height=3.0, rise=2.5, rings=4)])


def vault():
    return build_roof([RoofPart("vault", rectangle(16.0, 10.0), eave_height=4.0, rise=2.5, facets=12)])


def courtyard():
    hole = np.array([[6.0, 5.0], [12.0, 5.0], [12.0, 9.0], [6.0, 9.0]])
    return build_roof(
        [
            RoofPart(
                "hip", rectangle(18.0, 14.0), np.radians([30.0] * 4), 3.0, courtyards=(hole,),
                courtyard_pitch=np.radians(30.0),
            )
        ]
    )  # fmt: skip


ROOFS = {
    "gable": gable,
    "hip": hip,
    "L": l_shape,
    "L turned": lambda: l_shape(angle=0.7),
    "T": t_shape,
    "gable dormer": lambda: dormered("gable"),
    "hip dormer": lambda: dormered("hip"),
    "cone": cone,
    "dome": dome,
    "vault": vault,
    "courtyard": courtyard,
}


def lowest_planes(roof):
    """Planes with an eave, which take a row each."""
    eaves = [e for e, kind in enumerate(roof.edges.kind) if kind == "eave" and roof.edges.length[e] > 1.5]
    plane = np.unique(roof.edges.plane[eaves, 0])
    return [int(p) for p in plane if roof.planes.slope[p] > np.radians(2.0)]


def laid(roof, up):
    """A row low on every plane that has an eave, as far as it has room for one."""
    tables = []
    for plane in lowest_planes(roof):
        table = {"plane": roof.planes.name[plane], "up": f"{up} m"}
        try:
            rows(roof, table)
        except InputError:
            continue
        tables.append(table)
    return rows(roof, *tables)


def compared(roof, layout, count, seed=0):
    """Force of the flux and of the particles per row, and the standard deviation of sampling. [N]."""
    force = slide(roof, (uniform(roof, P),), layout)[1]
    found = trace(Terrain(roof), layout, P, count, seed)
    flux = force_per_row(layout, force)
    caught = found.row >= 0
    sampled = np.bincount(found.row[caught], found.thrust[caught], len(layout.row_name))
    total, number = found.thrust.sum(), len(found.thrust)
    share = np.clip(sampled / total, 1.0 / number, 1.0)
    return flux, sampled, total * np.sqrt(share * (1.0 - np.minimum(share, 1.0 - 1.0 / number)) / number)


@pytest.mark.parametrize("name", ROOFS)
def test_rows_catch_what_particles_bring(name):
    roof = ROOFS[name]()
    layout = laid(roof, 0.4)
    flux, sampled, deviation = compared(roof, layout, 20_000)
    assert flux.sum() > 0.5 * P * (roof.planes.plan_area * np.sin(roof.planes.slope)).sum()
    np.testing.assert_array_less(np.abs(flux - sampled), MOST * deviation)


@pytest.mark.parametrize("name", ["L", "gable dormer", "cone"])
def test_more_particles_come_nearer(name):
    """The error falls with the number of particles as that of sampling does: one half to each factor of 4."""
    roof = ROOFS[name]()
    layout = laid(roof, 0.4)
    errors = []
    for count in (500, 8_000, 128_000):
        off = [compared(roof, layout, count, seed)[:2] for seed in range(6 if count < 10_000 else 2)]
        errors.append(np.sqrt(np.mean([(flux - sampled) ** 2 for flux, sampled in off])))
    assert errors[1] < 0.5 * errors[0]
    assert errors[2] < 0.5 * errors[1]


@pytest.mark.parametrize("name", ["hip", "L", "gable dormer"])
def test_along_a_row_too(name):
    """Not only the sums: forces by meter of row."""
    roof = ROOFS[name]()
    layout = laid(roof, 0.4)
    force = slide(roof, (uniform(roof, P),), layout)[1]
    found = trace(Terrain(roof), layout, P, 60_000)
    for row, length in enumerate(layout.row_length):
        bins = np.linspace(0.0, length, 5)[1:-1]
        on = force.row == row
        middle, thrust = force.span[on].mean(axis=1), -force.thrust[0, on, 1]
        fine = np.bincount(np.searchsorted(bins, middle), thrust, 4)
        mine = found.row == row
        sampled = np.bincount(np.searchsorted(bins, found.place[mine]), found.thrust[mine], 4)
        slack = 4.5 * np.sqrt(found.thrust.max() * np.maximum(fine, 1.0)) + 0.04 * fine.sum()
        np.testing.assert_array_less(np.abs(fine - sampled), slack)


CITY = "roofs/denhaag_4_buildings_lod2.city.json"
REAL = {
    "plain gable": (CITY, "5565A5B2"),
    "two gables": (CITY, "9A0CBA16"),
    "hips": (CITY, "D9928CF2"),
    "garage": ("roofs/building_and_garage_lod2_citygml2.gml", None),
    "building model": ("roofs/IfcOpenHouse_ifc4.ifc", None),
    "hips and valleys": ("roofs_sharealike/ingolstadt_4018149a_hip_valley_lod3.gml", None),
    "dormers": ("roofs_sharealike/ingolstadt_4018258_dormers_lod3.gml", None),
}


@pytest.mark.parametrize("name", REAL)
def test_real_roofs_whose_planes_meet(name):
    """The dormers once sent a valley's 6 kN over a wall, down a strip of 0.4 mm beside it."""
    file, tail = REAL[name]
    if file.endswith(".ifc"):
        pytest.importorskip("ifcopenshell")
    ids = json.loads((DATA / file).read_text())["CityObjects"] if tail else []
    roof = import_roof(DATA / file, building=next((n for n in ids if n.endswith(tail)), None))
    layout = laid(roof, 0.4)
    flux, sampled, deviation = compared(roof, layout, 40_000)
    np.testing.assert_array_less(np.abs(flux - sampled), MOST * deviation + 1e-3 * flux.sum())


@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.parametrize("name", ["gable", "hip", "L", "T", "gable dormer", "hip dormer", "cone", "dome"])
def test_any_triangulation_gives_the_same(name, seed):
    """Divided, renumbered, with other diagonals and flipped faces: 1e-9 (the bar of the flux on planes)."""
    roof = ROOFS[name]()
    points, faces = shuffled(*subdivided(roof.points, roof.faces, seed + 1), seed)
    again = recognize(points, faces)
    assert again.planes.name == roof.planes.name
    forces = []
    for one in (roof, again):
        layout = laid(one, 0.4)
        force = slide(one, (uniform(one, P),), layout)[1]
        assert force.balance.error.max() < 1e-12
        forces.append(force_per_row(layout, force))
    np.testing.assert_allclose(forces[1], forces[0], rtol=1e-9)
