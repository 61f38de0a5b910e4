"""Sliding force on planes, hips and curved roofs; roofs against what city data say of themselves."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import shapely

from benchmarks.verification.findings import Finding
from roofmodel.shape import citygml, cityjson
from roofmodel.shape.builders import RoofPart, build_roof
from roofmodel.shape.surfaces import Building
from roofmodel.sliding.thrust import SlideOptions, slide
from roofmodel.snow.cases import LoadLevel, SnowCase, Zone
from roofmodel.surface import RoofSurface
from tests.geometry.roof_marks import areas
from tests.sliding.curves import at_eaves, built, exact
from tests.sliding.roofs import force_per_row, gable, hip, line_force, rectangle, rows, slope_length, uniform

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
PSF, FT = 47.880258980335836, 0.3048
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
    width, strip, pitch = 40 * FT, 9.9582 * FT, np.arctan(5 / 12)
    roof = gable(length=10.0, width=2 * width, pitch=np.degrees(pitch))
    south = roof.planes.name.index("S1")
    box = shapely.box(0.0, width - strip, 10.0, width)
    extra = Zone("strip", south, box, np.array([29.874 * PSF, 0, 0]), "7.6.1", "p")
    both = (*uniform(roof, 30.8 * PSF).zones, extra)
    case = SnowCase("unbalanced", "check", LoadLevel.CHARACTERISTIC, both, 300.0)
    run, pitch, drift = 20 * FT, np.radians(14.036), 14 * FT
    shed = build_roof([RoofPart("shed", rectangle(8.0, run), np.array([pitch]), 3.0, fall_azimuth=np.pi)])
    rise = 60 * PSF / drift
    wedge = Zone(
        "drift",
        0,
        shapely.box(0, run - drift, 8, run),
        np.array([-rise * (run - drift), 0.0, rise]),
        "7.7",
        "p",
    )
    drifted = SnowCase(
        "drift", "check", LoadLevel.CHARACTERISTIC, (*uniform(shed, 24 * PSF).zones, wedge), 300.0
    )
    low = {"plane": "S1", "up": "0 m"}
    plf = PSF * FT
    return [
        Finding(
            "unbalanced gable of ASCE/SEI 7-16 7.6.1",
            "worked by hand",
            "strips",
            "lb/ft",
            _force(roof, case, low)[0] / plf,
            588.27,
            1e-4,
        ),
        Finding(
            "triangle of drift on a shed, 14 degrees",
            "worked by hand",
            "strips",
            "lb/ft",
            _force(shed, drifted, low)[0] / plf,
            218.28,
            1e-4,
        ),
    ]


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
