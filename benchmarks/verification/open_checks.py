"""The open check values of snow, and what roofs, projects and rows of the program give for them.

Every answer goes through the public steps: a roof from parts, its site, rows, sliding. An answer names the
outputs of the file that it gives; every other output is listed with the reason.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from shapely import Polygon

from roofmodel.hardware import Panel
from roofmodel.layout import Layout
from roofmodel.project.obstacle_schema import ObstructionTable, ParapetTable
from roofmodel.project.obstacles import place_obstacles
from roofmodel.project.placement import place_rows
from roofmodel.project.schema import RowTable
from roofmodel.shape.builders import RoofPart
from roofmodel.sliding.thrust import SlideOptions, slide
from roofmodel.snow.asce7_22 import FOOT, PSF
from roofmodel.snow.cases import SnowCase, SnowSet, case_forces, case_pressure_at
from roofmodel.snow.inputs import Asce16Site, AsceSite
from roofmodel.snow.regions import plan_polygon
from roofmodel.surface import RoofSurface
from roofmodel.units import SI

CHECKS = Path(__file__).parents[2] / "tests" / "data" / "snow_checks.json"
PLF = PSF * FOOT  # [N/m]
KPA = 1000.0
LONG = 30.0  # length of the roofs along their ridges [m]

Answer = Mapping[str, Any]
Answers = dict[str, Callable[[Mapping[str, Any]], Answer]]


@dataclass(frozen=True)
class OpenRow:
    """One output of the file.

    Attributes
    ----------
    check, title, standard, source, confidence, notes : str
        As the file says.
    key : str
        Output, with its unit at the end.
    reference : float
    value : float or None
        Ours; None where the program has no such number.
    tolerance : float
    why : str
        Why there is no value of ours, or why it differs; "" where it must agree.
    scale : float
        Largest output of the check, against which a difference from zero is held.
    """

    check: str
    title: str
    standard: str
    source: str
    confidence: str
    notes: str
    key: str
    reference: float
    value: float | None
    tolerance: float
    why: str
    scale: float

    @property
    def error(self) -> float:
        """Relative difference, of the largest output where the reference is zero; NaN without a value."""
        if self.value is None:
            return float("nan")
        if self.reference == 0.0:
            return self.value / self.scale
        return self.value / self.reference - 1.0

    @property
    def kept(self) -> bool:
        """Whether ours agrees within the file's own tolerance."""
        return abs(self.error) <= self.tolerance


def collected() -> list[dict[str, Any]]:
    """Check values of the file, in its order."""
    cases: list[dict[str, Any]] = json.loads(CHECKS.read_text(encoding="utf-8"))["cases"]
    return cases


def flat_outputs(outputs: Mapping[str, Any], before: str = "") -> Iterator[tuple[str, float]]:
    """Outputs as single numbers with names such as "Cs, 2" or "case2, Ca, 1"."""
    for key, value in outputs.items():
        name = f"{before}{key}"
        if isinstance(value, Mapping):
            yield from flat_outputs(value, f"{name}, ")
        elif isinstance(value, list):
            yield from flat_outputs({f"{name}, {i}": one for i, one in enumerate(value, 1)})
        else:
            yield name, float(value)


def open_rows(answers: Answers, listed: Mapping[str, Mapping[str, str]]) -> list[OpenRow]:
    """Every output of every check of the file beside ours.

    Parameters
    ----------
    answers : dict of str to function
        By id: from the inputs to outputs of ours in the file's own keys and units; more do no harm.
    listed : mapping of str to mapping of str to str
        By id: why an output (or "*", all of them) is not given, or differs on purpose.

    Raises
    ------
    KeyError
        For an output that is neither given nor listed.
    """
    rows: list[OpenRow] = []
    for case in collected():
        name, outputs = case["id"], dict(flat_outputs(case["outputs"]))
        ours = dict(flat_outputs(answers[name](case["inputs"]))) if name in answers else {}
        reasons = listed.get(name, {})
        for key, reference in outputs.items():
            why = next((w for k, w in reasons.items() if key == k or key.startswith(f"{k}, ")), "")
            why = why or reasons.get("*", "")
            if key not in ours and not why:
                raise KeyError(f"{name}: {key} is neither given nor listed with a reason")
            rows.append(
                OpenRow(
                    name,
                    case["title"],
                    case["standard"],
                    case["source"],
                    case["confidence"],
                    case["notes"],
                    key,
                    reference,
                    ours.get(key),
                    case["tol_rel"],
                    why,
                    max([*map(abs, outputs.values()), 1e-12]),
                )
            )
    return rows


def rectangle(length: float, depth: float, y: float = 0.0) -> np.ndarray:
    """Footprint along x, from y northward. [m]."""
    return np.array([[0.0, y], [length, y], [length, y + depth], [0.0, y + depth]])


def shed(run: float, degrees: float, *, length: float = LONG, y: float = 0.0, low: float = 3.0) -> RoofPart:
    """Roof that falls to the south."""
    return RoofPart("shed", rectangle(length, run, y), np.radians([degrees]), low, fall_azimuth=np.pi)


def flat(run: float, *, y: float = 0.0, height: float = 3.0, length: float = LONG) -> RoofPart:
    """Level roof."""
    return RoofPart("flat", rectangle(length, run, y), eave_height=height)


def gable(run: float, *degrees: float, y: float = 0.0, eave: float = 3.0) -> RoofPart:
    """Gable with its ridge along x, both slopes as long on plan where their pitches are equal."""
    south, north = degrees if len(degrees) == 2 else 2 * degrees
    return RoofPart("gable", rectangle(LONG, 2.0 * run, y), np.radians([south, np.nan, north, np.nan]), eave)


def walled(upper: float, wall: float, lower: float, gap: float = 0.0) -> list[RoofPart]:
    """Flat roof and, south of it, a lower one. [m]."""
    return [flat(upper, height=3.0 + wall), flat(lower, y=-gap - lower)]


def with_parapet(roof: RoofSurface, height: float, way: tuple[float, float]) -> RoofSurface:
    """Parapet on the free edge that lies farthest that way."""
    middle = 0.5 * (roof.edges.start + roof.edges.end)[:, :2]
    edge = roof.edges.name[int(np.argmax(middle @ np.array(way)))]
    table = ParapetTable.model_validate({"edge": edge, "height": f"{height!r} m"})
    return replace(roof, obstacles=place_obstacles(roof, [table], [], SI))


def with_box(roof: RoofSurface, plane: str, sizes: Mapping[str, float]) -> RoofSurface:
    """Box on a plane; sizes in m, by the names of the project file."""
    given = {key: f"{value!r} m" for key, value in sizes.items()}
    table = ObstructionTable.model_validate({"name": "stair", "plane": plane, **given})
    return replace(roof, obstacles=place_obstacles(roof, [], [table], SI))


RISK = {0.8: "I", 1.0: "II", 1.1: "III", 1.2: "IV"}


def asce_16(given: Mapping[str, Any], **more: Any) -> Asce16Site:
    """Site of a row of the file; C_e and C_t are 1.0 where it says nothing."""
    values: dict[str, Any] = {
        "ground_snow": given.get("pg_psf", 30.0) * PSF,
        "risk_category": RISK[given.get("Is", 1.0)],
        "slippery": given.get("slippery", False),
        "exposure_factor": given.get("Ce", 1.0),
        "thermal_factor": given.get("Ct", 1.0),
    }
    return Asce16Site(**(values | more))


def asce_22(given: Mapping[str, Any], **more: Any) -> AsceSite:
    """The same for ASCE/SEI 7-22; heated with an R-value where the row has one."""
    values: dict[str, Any] = {
        "ground_snow": given.get("pg_psf", 30.0) * PSF,
        "risk_category": "II",
        "slippery": given.get("slippery", False),
        "exposure_factor": given.get("Ce", 1.0),
        "winter_wind": given.get("W2", 0.5),
    }
    if "Rroof" in given:
        values |= {"thermal": "heated", "roof_r_value": float(given["Rroof"])}
    else:
        values |= {"thermal_factor": given.get("Ct", 1.0)}
    return AsceSite(**(values | more))


def named(snow: SnowSet, start: str) -> SnowCase:
    """First case whose name starts so."""
    return next(case for case in snow.cases if case.name.startswith(start))


def symbols(case: SnowCase, zone: str) -> dict[str, float]:
    """Values of the first zone whose name starts so, by symbol. SI."""
    found = next(one for one in case.zones if one.name.startswith(zone))
    return {value.symbol: value.value for value in found.values}


def plans(roof: RoofSurface) -> list[Polygon]:
    """Planes on plan. [m]."""
    return [plan_polygon(roof, i) for i in range(roof.planes.count)]


def loads(roof: RoofSurface, case: SnowCase) -> np.ndarray:
    """Vertical snow force on each plane, (p,). [N]."""
    polygons = np.array(plans(roof), dtype=object)
    return np.asarray(case_forces((case,), polygons, np.arange(roof.planes.count))[0])


def mean(roof: RoofSurface, case: SnowCase, plane: str) -> float:
    """Mean pressure on a plane. [Pa]."""
    i = roof.planes.name.index(plane)
    return float(loads(roof, case)[i] / roof.planes.plan_area[i])


def at(roof: RoofSurface, case: SnowCase, plane: str, *y: float, x: float = 0.5 * LONG) -> list[float]:
    """Pressures at places across the roofs. [Pa]."""
    points = np.array([[x, one] for one in y])
    return case_pressure_at(case, points, np.full(len(y), roof.planes.name.index(plane))).tolist()


PANEL = Panel(0.4, 0.05, 0.0006, "steel", 0.5, np.nan, np.nan, 1.0)


def with_rows(roof: RoofSurface, plane: str, *up: float) -> Layout:
    """Full rows on a plane, up its slope. [m]."""
    tables = [
        RowTable.model_validate({"name": f"R{i}", "plane": plane, "up": f"{one!r} m"})
        for i, one in enumerate(up, 1)
    ]
    return place_rows(roof, tables, [], PANEL)


def row_forces(
    roof: RoofSurface, case: SnowCase, layout: Layout, options: SlideOptions | None = None
) -> np.ndarray:
    """Force of sliding snow on each row for each meter of it, (r,). [N/m]."""
    _, force = slide(roof, (case,), layout, options or SlideOptions())
    whole = np.bincount(force.row, -force.thrust[0, :, 1], len(layout.row_name))
    return np.asarray(whole / layout.row_length)


def eave_force(roof: RoofSurface, case: SnowCase, plane: str) -> float:
    """Force on a row at the very eave. [N/m]."""
    return float(row_forces(roof, case, with_rows(roof, plane, 0.001))[0])
