"""Sliding force on planes, hips and curved roofs; roofs against what city data say of themselves."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from benchmarks.verification.findings import Finding
from roofmodel.shape import citygml, cityjson
from roofmodel.shape.surfaces import Building
from roofmodel.sliding.thrust import SlideOptions, slide
from roofmodel.snow.cases import SnowCase
from roofmodel.surface import RoofSurface
from tests.geometry.roof_marks import areas
from tests.sliding.curves import at_eaves, built, exact
from tests.sliding.roofs import (
    PLF,
    drifted_shed,
    force_per_row,
    gable,
    hip,
    line_force,
    rows,
    slope_length,
    unbalanced_gable,
    uniform,
)

DATA = Path(__file__).parents[2]
CITIES = {
    "25 buildings of Zürich": (cityjson, "models/sentier-house/zurich_lod2_25_buildings.city.json"),
    "4 buildings of The Hague": (cityjson, "tests/data/roofs/denhaag_4_buildings_lod2.city.json"),
    "100 gables of the CityGML test case": (citygml, "tests/data/roofs/gable_ladder_100_citygml3.gml"),
    "house and garage, CityGML 2": (citygml, "tests/data/roofs/building_and_garage_lod2_citygml2.gml"),
    "hips and valleys, Ingolstadt": (
        citygml,
        "tests/data/roofs_sharealike/ingolstadt_4018149a_hip_valley_lod3.gml",
    ),
}
GUARD = "EN 1991-1-3 6.4, F = s b sin(alpha)"


def _force(roof: RoofSurface, case: SnowCase, *tables: dict[str, str], friction: float = 0.0) -> list[float]:
    """Mean force by meter of each row. [N/m]."""
    layout = rows(roof, *tables)
    force = slide(roof, (case,), layout, SlideOptions(friction=friction, strip_width=0.05))[1]
    return [float(force_per_row(layout, force)[k]) / float(layout.row_length[k]) for k in range(len(tables))]


def _planes() -> list[Finding]:
    """Even snow on gables."""
    low = {"plane": "S1", "up": "0 m"}
    pitch = np.radians(25.0)
    every = 1600.0 * 8.0 * np.sin(pitch)
    held = 1600.0 * 8.0 * (np.sin(pitch) - 0.1 * np.cos(pitch))
    wide = gable(width=18.0)
    pair = _force(
        wide,
        uniform(wide, 1600.0),
        {"plane": "S1", "up": slope_length(0.5 / np.cos(pitch))},
        {"plane": "S1", "up": slope_length(4.5 / np.cos(pitch))},
    )
    plain = uniform(gable(), 1600.0)
    lines = [
        ("gable 25 degrees, row at the eave", _force(gable(), plain, low)[0], every, GUARD),
        (
            "the same, friction 0.1",
            _force(gable(), plain, low, friction=0.1)[0],
            held,
            "statics, s b (sin - mu cos)",
        ),
        ("two rows, the lower", pair[0], 1600.0 * 4.0 * np.sin(pitch), f"{GUARD}, b to the next row"),
        ("two rows, the upper", pair[1], 1600.0 * 4.5 * np.sin(pitch), f"{GUARD}, b to the ridge"),
    ]
    return [Finding(what, source, "strips", "N/m", value, want, 1e-9) for what, value, want, source in lines]


def _zones() -> list[Finding]:
    """Drifted strips and triangles."""
    found = []
    for words, (roof, case), want in (
        ("unbalanced gable of ASCE/SEI 7-16 7.6.1", unbalanced_gable(), 588.27),
        ("triangle of drift on a shed, 14 degrees", drifted_shed(), 218.28),
    ):
        value = _force(roof, case, {"plane": "S1", "up": "0 m"})[0] / PLF
        found.append(Finding(words, "worked by hand", "strips", "lb/ft", value, want, 1e-4))
    return found


def _hip() -> list[Finding]:
    """A hip end: a triangle of snow."""
    roof = hip()
    layout = rows(roof, {"plane": "S1", "up": "0 m"})
    force = slide(roof, (uniform(roof, 1600.0),), layout, SlideOptions(strip_width=0.05))[1]
    s, q = line_force(force, 0)
    source = "tributary by the fall line, two hand routes"
    total = float(force_per_row(layout, force)[0])
    return [
        Finding("hip end, whole row", source, "strips of 5 cm", "N", total, 24343.0, 2e-5),
        Finding(
            "hip end, at the quarter",
            source,
            "strips of 5 cm",
            "N/m",
            float(np.interp(3.0, s, q)),
            2028.6,
            2e-3,
        ),
    ]


def _curved() -> list[Finding]:
    """Facets of smooth roofs."""
    source = "integral of p sin(theta) over the smooth surface, statics"
    kinds = (("vault", 48, 1e-3), ("dome", 48, 6e-3), ("cone", 48, 6e-3))
    return [
        Finding(f"{kind}, all eaves", source, f"{n} facets", "N", at_eaves(built(kind, n)), exact(kind), bar)
        for kind, n, bar in kinds
    ]


def flow_findings() -> list[Finding]:
    """Sliding forces."""
    return [*_planes(), *_zones(), *_hip(), *_curved()]


def _buildings(module: object, file: str) -> list[Building]:
    """Buildings of a file."""
    return list(module.city_buildings(DATA / file))  # type: ignore[attr-defined]


def mark_findings() -> list[Finding]:
    """By sight alone, marks of the file set aside, against the file's own roof surfaces."""
    found = []
    for words, (module, file) in CITIES.items():
        picked, marked, both = np.array([areas(one) for one in _buildings(module, file)]).sum(axis=0)
        source = "roof surfaces as the file itself marks them (open data, see tests/data)"
        for what, value in (("precision", both / picked), ("recall", both / marked)):
            found.append(Finding(f"{words}, {what} by area", source, "by sight", "", float(value), 1.0, 0.01))
    return found
