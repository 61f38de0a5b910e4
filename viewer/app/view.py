"""The open project as the browser shows it: plain data, numbers as text in the project's units."""

from __future__ import annotations

import base64
import hashlib
import math
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from fea.analysis import Analysis
from fea.checks.limits import Limit
from fea.checks.member_strength import LATERAL
from fea.checks.strips import panel_strips
from fea.checks.ties import first_largest
from fea.still_falling import LEAST
from fea.tipping import unsettled_words
from roofmodel.project.as_built import AS_MEASURED
from roofmodel.project.load import Project
from roofmodel.surface import FLAT_SLOPE, EdgeKind
from roofmodel.units import UnitSystem, factor, split
from viewer.app.lent import whole
from viewer.app.session import State, Version
from viewer.app.spots import free_spots
from viewer.app.surface import roof_key
from viewer.app.words import EMPTY, label
from viewer.combining import combination
from viewer.picture.findings import solar_limit
from viewer.quantities import column, percent, quantity, significant, system
from viewer.row_summary import SLIGHT, peak_places, row_lines
from viewer.summary import CAUTIONS, NOT_LOADED, governing_text, verdict

Array = NDArray[np.float64]

MOST_FILES = 50  # that are offered by name

# Steps of a row that is dragged or moved by keys, in the unit of its field.
STEPS = {"m": 0.05, "cm": 5.0, "mm": 50.0, "ft": 0.25, "in": 3.0, "yd": 0.1}


def state_data(state: State, *, exports: tuple[tuple[str, str], ...] = ()) -> dict[str, Any]:
    """Everything about the state but its geometry."""
    now, table = state.now, state.now.project.table
    return {
        "revision": state.revision,
        "file": state.path.name,
        "name": table.project.name,
        "unsaved": state.unsaved,
        "behind": state.behind,
        "undo": now.label if state.past else "",
        "redo": state.future[0].label if state.future else "",
        "lost": lost_words(state),
        "measured": table.as_built.file if table.as_built is not None else "",
        "measured_found": next((n for n in now.project.roof.notes if n.startswith(AS_MEASURED)), ""),
        "csv_files": sorted(path.name for path in state.path.parent.glob("*.csv"))[:MOST_FILES],
        "units": table.project.units,
        "standard": table.site.standard,
        "format": table.design.format,
        "cautions": list(CAUTIONS),
        "planes": _planes(now.project),
        "spots": free_spots(now.project),
        **_tables(whole(now.text, now.project.base)),
        "exports": list(exports),
        "roof_key": roof_key(now.project),
        **answer_data(now),
    }


def lost_words(state: State) -> dict[str, Any] | None:
    """What a reading of the file left behind, in words, and whether it can be made again."""
    lost = state.lost
    if lost.revision != state.revision or not lost.versions:
        return None
    changes = "; ".join(one.label for one in lost.versions)
    if lost.tried:
        return {
            "text": f"Not possible on what the file says now: {changes}. Make it anew by hand.",
            "again": False,
        }
    return {
        "text": f"Read again. The file lacks what you changed and did not save: {changes}.",
        "again": True,
    }


def answer_data(version: Version) -> dict[str, Any]:
    """What changes with every move: rows, attachments and the answer."""
    project, analysis = version.project, version.analysis
    data: dict[str, Any] = {
        "trouble": version.trouble,
        "rows": _rows(version),
        "clamps": _clamps(project),
    }
    if analysis is None:
        return data
    units = system(project.table.project.units)
    said = verdict(analysis, units)
    return {
        **data,
        "verdict": {
            "words": list(said.words),
            "marks": list(said.marks),
            "passed": said.passed,
            "sentence": said.sentence,
            "more": list(said.more),
            "cautions": list(said.cautions),
            "falling": said.falling,
            "protected": _protected(analysis, units),
            "unsettled": "" if analysis.unsettled is None else unsettled_words(analysis.unsettled),
        },
        "governing": governing(version),
        "cases": _cases(analysis),
        "limits": _attachments(analysis),
        "strips": _strips(analysis),
        "solar": _solar(analysis),
        "others": _others(analysis),
        "snow_key": snow_key(analysis),
    }


def _protected(analysis: Analysis, units: UnitSystem) -> list[dict[str, Any]]:
    """What snow comes down on each thing protected: short words, and whether rows hold all but a little."""
    found = sorted((one for one in analysis.protected if one.weight >= LEAST), key=lambda one: one.kept)
    return [
        {"text": f"{words} {units.text(one.weight, 'force')} on {one.name}", "kept": one.kept}
        for one in found
        for words in ("still falls:" if one.kept else "falls, held by no row:",)
    ]


def governing(version: Version) -> dict[str, Any] | None:
    """Which attachment governs, for before -> after; None where nothing is loaded or solved."""
    analysis = version.analysis
    if analysis is None:
        return None
    worst = analysis.attachment
    unknown = any(limit.unverified.any() for limit in analysis.limits)
    if worst is None:
        return {"name": "none", "use": None, "text": "no attachment is loaded", "unverified": unknown}
    limit = analysis.limits[worst.limit]
    return {
        "name": limit.target_name[worst.target],
        "kind": limit.target,
        "index": worst.target,
        "limit": limit.name,
        "case": worst.case,
        "use": finite(worst.utilization),
        "percent": percent(worst.utilization),
        "text": governing_text(analysis, worst),
        "unverified": unknown,
    }


def packed(values: ArrayLike, kind: str = "<f4") -> str:
    """An array as base64 of little-endian numbers, which a browser reads at once."""
    return base64.b64encode(np.ascontiguousarray(values, dtype=kind).tobytes()).decode("ascii")


def finite(use: float) -> float:
    """A utilization that JSON can hold; without any resistance it is beyond all bounds, not unknown."""
    return min(use, 1e6)


def use_by_case(limits: list[Limit]) -> tuple[Array, NDArray[np.int64]]:
    """Worst utilization (q, t) over limits of the same targets, and which of them it is.

    NaN where one of them is loaded without a resistance and no known one exceeds its own.
    """
    use = np.stack([limit.utilization for limit in limits])
    known = np.nan_to_num(use, nan=0.0)
    worst = known.max(axis=0)
    # Of equals the later counts, as in the analysis: "clamp combined" says more than one direction.
    which = len(limits) - 1 - known[::-1].argmax(axis=0)
    open_ = np.isnan(use).any(axis=0) & (worst <= 1.0)
    return np.where(open_, np.nan, np.minimum(worst, 1e6)), which


def of_kind(analysis: Analysis, target: str) -> list[Limit]:
    """Limits of one kind of target."""
    return [limit for limit in analysis.limits if limit.target == target]


def _attachments(analysis: Analysis) -> dict[str, Any]:
    """Utilization of clamps and panel strips, case by case."""
    data = {}
    for target in ("clamp", "panel strip"):
        limits = of_kind(analysis, target)
        use, which = use_by_case(limits)
        data[target] = {
            "use": packed(use),
            "which": packed(which, "u1"),
            "names": [limit.name for limit in limits],
            "count": use.shape[1],
        }
    return data


def _solar(analysis: Analysis) -> dict[str, Any] | None:
    """Utilization of the clamps of solar arrays by case and line of clamps; None without arrays."""
    limit = solar_limit(analysis)
    if limit is None:
        return None
    return {"use": packed(np.minimum(limit.utilization, 1e6)), "count": limit.utilization.shape[1]}


def _others(analysis: Analysis) -> list[dict[str, Any]]:
    """Limits of rails and rows, which are no attachments: worst of each."""
    units = system(analysis.project.table.project.units)
    found = []
    for limit in analysis.limits:
        if limit.target in ("clamp", "panel strip"):
            continue
        use = np.nan_to_num(limit.utilization, nan=0.0)
        case, target = (int(i) for i in np.unravel_index(first_largest(use), use.shape))
        open_ = bool(limit.unverified.any()) and use.max() <= 1.0
        stocky = limit.name == LATERAL and analysis.project.rail.profile is not None  # uses nothing of it
        idle, demand = not open_ and use.max() == 0.0 and not stocky, float(limit.demand[case, target])
        found.append(
            {
                "name": limit.name,
                "at": "–" if idle else limit.target_name[target],
                "use": None if open_ else finite(float(use.max())),
                "demand": NOT_LOADED if idle else quantity(demand, limit.quantity, units),
                "resistance": quantity(float(limit.resistance[target]), limit.quantity, units),
                "case": analysis.snow.cases[case].name,
            }
        )
    return found


def _strips(analysis: Analysis) -> dict[str, Any]:
    """Panel strips that carry clamps: names, and the clamps on each."""
    strip, names = panel_strips(analysis.project.layout)
    return {"names": list(names), "of_clamp": packed(strip, "<i4")}


def _cases(analysis: Analysis) -> list[dict[str, Any]]:
    found = []
    for q, case in enumerate(analysis.snow.cases):
        worst = analysis.case_governing[q]
        text = "no row is loaded" if worst is None else governing_text(analysis, worst)
        found.append(
            {
                "name": case.name,
                "combination": combination(analysis, q),
                "worst": text.removesuffix(f" ({case.name})"),
                "reserve": significant(float(analysis.reserve[q])),
            }
        )
    return found


def _clamps(project: Project) -> dict[str, Any]:
    """Names, rows and places of the clamps; places are on the rail's axis."""
    layout, roof = project.layout, project.roof
    plane = layout.row_plane[layout.clamp_row]
    lift = project.clamp.grip_height + project.clamp.height
    at = roof.planes.to_world(plane, layout.clamp_uv) + lift * roof.planes.normal[plane]
    units = system(project.table.project.units)
    return {
        "names": list(layout.clamp_name),
        "row": packed(layout.clamp_row, "<i4"),
        "at": packed(at),
        "normal": packed(roof.planes.normal[plane]),
        "from_start": column(layout.clamp_s, "length", units),
        "length_unit": units.label("length"),
        "seam": [int(seam) + 1 for seam in layout.clamp_seam],
    }


def _rows(version: Version) -> list[dict[str, Any]]:
    """Rows with the fields of the file and what a drag needs: ends, way up the slope, unit and step."""
    project, analysis = version.project, version.analysis
    layout, planes = project.layout, project.roof.planes
    units = system(project.table.project.units)
    lift = project.clamp.grip_height + project.clamp.height
    lines = row_lines(analysis) if analysis is not None else ()
    ends = np.stack([layout.row_start, layout.row_end], axis=1)
    side = np.stack([-(ends[:, 1] - ends[:, 0])[:, 1], (ends[:, 1] - ends[:, 0])[:, 0]], axis=1)
    side /= np.linalg.norm(side, axis=1)[:, None]
    found = []
    for r, table in enumerate(project.table.row):
        plane = int(layout.row_plane[r])
        normal = planes.normal[plane]
        up = side[r, 0] * planes.across[plane] + side[r, 1] * planes.upslope[plane]
        data = {
            "name": table.name,
            "plane": planes.name[plane],
            "up": table.up,
            "ends": (planes.to_world(plane, ends[r]) + lift * normal).tolist(),
            "way_up": up.tolist(),
            "normal": normal.tolist(),
            "length": units.text(float(layout.row_length[r]), "length"),
            "clamps": int((layout.clamp_row == r).sum()),
        }
        if lines:
            line = lines[r]
            place = peak_places([line], units)[0]
            place = f" (from {place} {units.label('length')})" if " to " in place else ""
            data |= {
                "use": None if line.unverified and line.utilization <= 1.0 else finite(line.utilization),
                "worst": line.worst,
                "peak": quantity(line.peak, "line", units) + place,
                "total": quantity(line.total, "force", units),
                "beyond": quantity(line.beyond, "force", units) if line.beyond > SLIGHT * line.total else "",
            }
        found.append(data)
    if version.text:
        for data, given in zip(found, whole(version.text, version.project.base)["row"], strict=True):
            data["fields"] = given
            data |= _unit_of(given["up"])
    return found


def _unit_of(text: str) -> dict[str, Any]:
    """Unit that a length is written in, its size and a step for drags."""
    unit = split(text, "length")[1]
    size = factor(unit, "length")
    step = STEPS.get(unit) or _round_step(0.05 / size)
    return {"unit": unit, "unit_size": size, "step": step}


def _round_step(step: float) -> float:
    return float(10.0 ** round(math.log10(step)))


def _planes(project: Project) -> list[dict[str, Any]]:
    """Planes that rows may stand on."""
    roof, units = project.roof, system(project.table.project.units)
    eaves = [
        (n, int(p))
        for n, p, k in zip(roof.edges.name, roof.edges.plane[:, 0], roof.edges.kind, strict=True)
        if k is EdgeKind.EAVE
    ]
    return [
        {
            "name": name,
            "slope": units.text(float(roof.planes.slope[p]), "angle"),
            "top": units.text(float(roof.planes.outline[p].bounds[3]), "length"),
            "flat": bool(roof.planes.slope[p] <= FLAT_SLOPE),
            "eaves": [eave for eave, plane in eaves if plane == p],
        }
        for p, name in enumerate(roof.planes.name)
    ]


def _tables(data: dict[str, Any]) -> dict[str, Any]:
    """Hardware, and what stands on the roof, as the file and its base give them."""
    return {
        "hardware": {name: data.get(name, {}) for name in ("site", "rail", "clamp", "panel", "design")},
        "things": {name: data.get(name, []) for name in ("obstruction", "solar")},
    }


def snow_key(analysis: Analysis) -> str:
    """Changes when the snow on the roof does."""
    digest = hashlib.sha256()
    for case in analysis.snow.cases:
        digest.update(case.name.encode())
        for zone in case.zones:
            digest.update(zone.pressure.tobytes())
            digest.update(shapely.to_wkb(zone.polygon))
    return digest.hexdigest()[:16]


def forms() -> dict[str, list[dict[str, Any]]]:
    """Fields of the tables that can be edited, from the schema."""
    from roofmodel.project import schema
    from roofmodel.project.clamp_schema import ClampTable
    from roofmodel.project.site_schema import site_models

    models = {
        "row": schema.RowTable,
        "splice": schema.Splice,
        "rail": schema.RailTable,
        "clamp": ClampTable,
        "panel": schema.PanelTable,
        "design": schema.Design,
        "obstruction": schema.ObstructionTable,
        "solar": schema.SolarTable,
    }
    sites = {f"site {standard}": _form("site", model) for standard, model in site_models().items()}
    return {**{name: _form(name, model) for name, model in models.items()}, **sites}


def _form(table: str, model: Any, path: tuple[str, ...] = ()) -> list[dict[str, Any]]:
    from typing import Literal, get_args, get_origin

    from viewer.fields import field_need, field_quantity, field_words, models_in

    found: list[dict[str, Any]] = []
    for name, info in model.model_fields.items():
        inner = models_in(info.annotation)
        if inner and get_origin(info.annotation) is list:
            continue
        if inner:
            found += _form(table, inner[0], (*path, name))
            continue
        kinds = (info.annotation, *get_args(info.annotation))
        choices = next((get_args(k) for k in kinds if get_origin(k) is Literal), ())
        plain = next((k.__name__ for k in (bool, int, float) if k in kinds), "text")
        by_hand = name in ("file", "standard") or any(get_origin(k) is list for k in kinds)
        quantity_kind = field_quantity(info)
        kind = "by hand" if by_hand else "quantity" if quantity_kind else "choice" if choices else plain
        found.append(
            {
                "path": [*path, name],
                "label": label(table, (*path, name)),
                "about": info.description or "",
                "kind": kind,
                "choices": list(choices),
                "words": field_words(info),
                "need": field_need(info),
                "needed": info.is_required(),
                "empty": EMPTY.get((table, ".".join((*path, name))), "none"),
            }
        )
    return found
