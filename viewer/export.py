"""Open exchange: results.json, attachments.csv and VTU files."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from fea.analysis import Analysis
from fea.checks.arrays import clamp_demand
from fea.checks.governing import Governing
from fea.checks.limits import Limit
from fea.rails.actions import GIVEN
from fea.still_falling import Falling
from fea.tipping import unsettled_words
from fea.unknowns import SPLICES, hardest_state, one_end_words, rocking_alone, unknown_fields
from viewer.beyond import beyond_data
from viewer.building_export import framing_data
from viewer.files import atomic, write_json
from viewer.picture.standing import patch_rings
from viewer.places import place_data
from viewer.plain import plain_data
from viewer.report.building import building_data
from viewer.report.durability import durability_data
from viewer.undrifted import undrifted_forces
from viewer.version import version

if TYPE_CHECKING:
    from fea.sensitivity import Tolerance

FORMAT_VERSION = 1
_SI_UNIT = {"force": "N", "moment": "N m", "stress": "Pa", "size": "m", "ratio": "1"}
DIRECTIONS = ("along", "across", "pull", "moment_along", "moment_across", "moment_pull")


def results(analysis: Analysis, place: Tolerance | None = None) -> dict[str, Any]:
    """Everything as plain data, SI, after viewer/results.schema.json; null stands for "not given"."""
    project = analysis.project
    return plain_data(
        {
            **file_head("results", project.path.name, project.digest, FORMAT_VERSION),
            **created(),
            "project": project.table.project.model_dump(),
            "design_format": project.table.design.format,
            "verdict": analysis.verdict,
            "cautions": analysis.cautions,
            "not_verified": [limit.name for limit in analysis.unverified],
            "protected": [_protected(analysis, one) for one in analysis.protected],
            "not_settled": "" if analysis.unsettled is None else unsettled_words(analysis.unsettled),
            "governing": _governing(analysis, analysis.governing),
            "governing_attachment": _governing(analysis, analysis.attachment),
            "roof": _roof(analysis),
            "cases": [_case(analysis, q) for q in range(len(analysis.snow.cases))],
            "cases_not_applicable": [{"name": n, "why": w} for n, w in analysis.snow.skipped],
            "rows": [
                _row(analysis, r) | {"force_undrifted": undrifted, "force_with_drift": drifted}
                for r, (undrifted, drifted) in enumerate(zip(*undrifted_forces(analysis), strict=True))
            ],
            "clamps": _clamps(analysis),
            "limits": [_limit(limit) for limit in analysis.limits],
            "sliding": _sliding(analysis),
            "self_audit": [
                {"name": p.name, "error": p.error, "bar": p.bar, "met": p.met} for p in analysis.proofs
            ],
            "building": building_data(analysis),
            "durability": durability_data(analysis),
            "framing": framing_data(analysis),
            "beyond_first_failure": beyond_data(analysis),
            "tolerance_of_place": place_data(place),
            "seconds": analysis.seconds,
        }
    )


def _protected(analysis: Analysis, one: Falling) -> dict[str, Any]:
    return {
        "name": one.name,
        "kept": one.kept,
        "weight": one.weight,
        "not_held": one.unheld,
        "planes": one.planes,
        "case": analysis.snow.cases[one.case].name,
    }


def file_head(kind: str, file: str, digest: str, number: int = 1) -> dict[str, Any]:
    """What every written data file begins with: its kind and version, the program's, and what was read."""
    return {
        "format": f"eavewright {kind}",
        "format_version": number,
        "eavewright_version": version(),
        "input": {"file": file, "sha256": digest},
    }


def created() -> dict[str, str]:
    """When a file was written, UTC; for those that need not be the same in every run."""
    return {"created": datetime.now(UTC).isoformat(timespec="seconds")}


def _governing(analysis: Analysis, governing: Governing | None) -> dict[str, Any] | None:
    if governing is None:
        return None
    limit = analysis.limits[governing.limit]
    return {
        "limit": limit.name,
        "target": limit.target_name[governing.target],
        "case": analysis.snow.cases[governing.case].name,
        "utilization": governing.utilization,
        "reserve_on_factored_snow": analysis.reserve[governing.case],
    }


def _roof(analysis: Analysis) -> dict[str, Any]:
    roof = analysis.project.roof
    planes, edges = roof.planes, roof.edges
    return {
        "offset": roof.offset,
        "planes": [
            {
                "name": planes.name[i],
                "slope": planes.slope[i],
                "azimuth": planes.azimuth[i],
                "true_area": planes.true_area[i],
                "plan_area": planes.plan_area[i],
                "outline": planes.to_world(i, np.asarray(planes.outline[i].exterior.coords)[:-1]),
            }
            for i in range(planes.count)
        ],
        "edges": [
            {
                "name": edges.name[i],
                "kind": str(edges.kind[i]),
                "start": edges.start[i],
                "end": edges.end[i],
                "height": edges.height[i],
            }
            for i in range(edges.count)
        ],
        "notes": roof.notes,
    }


def _case(analysis: Analysis, q: int) -> dict[str, Any]:
    case, factors = analysis.snow.cases[q], analysis.factors[q]
    names = analysis.project.roof.planes.name
    return {
        "name": case.name,
        "standard": case.standard,
        "level": str(case.level),
        "density": case.density,
        "factors": {
            "snow": factors.snow,
            "dead": factors.dead,
            "thermal": factors.thermal,
            "clause": factors.clause,
        },
        "reserve_on_factored_snow": analysis.reserve[q],
        "governing": _governing(analysis, analysis.case_governing[q]),
        "notes": case.notes,
        "zones": [
            {
                "name": zone.name,
                "plane": names[zone.plane],
                "clause": zone.clause,
                "formula": zone.formula,
                "pressure": {
                    "constant": zone.pressure[0],
                    "per_x": zone.pressure[1],
                    "per_y": zone.pressure[2],
                },
                "polygon_wkt": zone.polygon.wkt,
                "values": [
                    {"symbol": v.symbol, "value": v.value, "unit": v.unit, "note": v.note}
                    for v in zone.values
                ],
            }
            for zone in case.zones
        ],
    }


def _row(analysis: Analysis, r: int) -> dict[str, Any]:
    project, force = analysis.project, analysis.force
    layout, planes = project.layout, project.roof.planes
    plane = int(layout.row_plane[r])
    on = force.row == r
    ends = planes.to_world(plane, np.stack([layout.row_start[r], layout.row_end[r]]))
    return {
        "name": layout.row_name[r],
        "plane": planes.name[plane],
        "start": ends[0],
        "end": ends[1],
        "length": layout.row_length[r],
        "full_at_start": bool(layout.row_full[r, 0]),
        "full_at_end": bool(layout.row_full[r, 1]),
        "stations": force.span[on],
        "force_per_case": -force.thrust[:, on, 1],
        "force_across_per_case": force.thrust[:, on, 0],
        "fed_by_weight_per_case": force.weight[:, on].sum(axis=1),
        "end_bound_per_case": force.end_bound[:, r],
        "aside_per_case": -force.aside[:, on, 1],
        "depth_per_case": analysis.depths[:, r],
    }


def _clamps(analysis: Analysis) -> list[dict[str, Any]]:
    project = analysis.project
    layout = project.layout
    plane = layout.row_plane[layout.clamp_row]
    xyz = project.roof.planes.to_world(plane, layout.clamp_uv)
    by_clamp = [limit for limit in analysis.limits if limit.target == "clamp"]
    given = [i for i, reading in enumerate(analysis.readings) if reading in GIVEN]
    return [
        {
            "name": layout.clamp_name[c],
            "row": layout.row_name[layout.clamp_row[c]],
            "seam": int(layout.clamp_seam[c]) + 1,
            "along_row": layout.clamp_s[c],
            "position": xyz[c],
            "tributary_per_case": analysis.tributary[:, c],
            "force_per_case": {
                name: analysis.clamp_force[:, given, c, i] for i, name in enumerate(DIRECTIONS)
            },
            **(
                {}
                if analysis.rigid_force is None
                else {"force_along_on_rigid_seams_per_case": analysis.rigid_force[:, given[:2], c, 0]}
            ),
            "utilization_per_case": {limit.name: limit.utilization[:, c] for limit in by_clamp},
        }
        for c in range(len(layout.clamp_name))
    ]


def _limit(limit: Limit) -> dict[str, Any]:
    return {
        "name": limit.name,
        "target": limit.target,
        "targets": limit.target_name,
        "unit": _SI_UNIT[limit.quantity],
        "resistance": limit.resistance,
        "worst_demand": limit.demand.max(axis=0, initial=0.0),
        "worst_utilization": limit.utilization.max(axis=0),
        "not_verified": [n for n, bad in zip(limit.target_name, limit.unverified, strict=True) if bad],
        "basis": limit.basis,
        "serviceability": limit.service,
    }


def _sliding(analysis: Analysis) -> dict[str, Any]:
    force, edges = analysis.force, analysis.project.roof.edges
    balance, landing, obstacles = force.balance, analysis.landing, analysis.project.roof.obstacles
    return {
        "valley_thrust": str(analysis.project.slide.valley),
        "friction_coefficient": analysis.project.slide.friction,
        "driving": balance.driving,
        "caught": balance.caught,
        "friction": balance.friction,
        "over_edges": balance.over_edges,
        "gutters": balance.gutters,
        "canceled_in_valleys": balance.canceled,
        "held_by_obstructions": balance.obstructions,
        "held_by_walls": balance.walls,
        "largest_unbalanced_valley_thrust": force.valley_cross,
        "edges": [
            {
                "edge": edges.name[e] if e >= 0 else "",
                "thrust_per_case": force.exit_thrust[:, i],
                "weight_per_case": force.exit_weight[:, i],
                "largest_line_weight_per_case": landing.line[:, i],
                "volume_per_case": landing.volume[:, i],
                "speed": landing.speed[i],
                "throw": landing.throw[i],
                "landing_zone": landing.zone[i] if e >= 0 else [],
                "lands_on": _lands_on(analysis, i),
                "stopped_by_walls": _heaps(analysis, i),
                "weight_to_ground_per_case": landing.lower.beyond[:, i],
            }
            for i, e in enumerate(force.exit_edge)
        ],
        "obstructions": [
            {
                "name": obstacles.name[k],
                "plane": analysis.project.roof.planes.name[obstacles.plane[k]],
                "force_per_case": force.obstacle_push[:, i],
                "counted_on_per_case": force.obstacle_held[:, i],
            }
            for i, k in enumerate(force.obstacle)
        ],
        "walls": [
            {
                "foot": edges.name[e],
                "force_per_case": force.wall_thrust[:, i],
                "largest_line_force_per_case": force.wall_line[:, i],
            }
            for i, e in enumerate(force.wall_edge)
        ],
        "solar_arrays": _arrays(analysis),
    }


def _lands_on(analysis: Analysis, edge: int) -> list[dict[str, Any]]:
    lower, planes = analysis.landing.lower, analysis.project.roof.planes
    return [
        {
            "plane": planes.name[lower.plane[k]],
            "weight_per_case": lower.weight[:, k],
            "largest_line_weight_per_case": lower.line[:, k],
            "volume_per_case": lower.volume[:, k],
            "reach": lower.reach[k],
            "zones": patch_rings(planes, lower.plane[k : k + 1], lower.patch[k : k + 1]),
        }
        for k in np.flatnonzero(lower.edge == edge)
    ]


def _heaps(analysis: Analysis, edge: int) -> list[dict[str, Any]]:
    heaps, roof = analysis.landing.lower.heaps, analysis.project.roof
    return [
        {
            "wall": roof.edges.name[heaps.wall[k]],
            "plane": roof.planes.name[heaps.plane[k]] if heaps.plane[k] >= 0 else None,
            "weight_per_case": heaps.weight[:, k],
            "largest_line_weight_per_case": heaps.line[:, k],
            "volume_per_case": heaps.volume[:, k],
            "highest": heaps.high[k],
            "foot": heaps.ends[k],
        }
        for k in np.flatnonzero(heaps.edge == edge)
    ]


def _arrays(analysis: Analysis) -> list[dict[str, Any]]:
    arrays, forces = analysis.project.roof.arrays, analysis.array_forces
    factors = [np.array([getattr(f, name) for f in analysis.factors]) for name in ("snow", "dead")]
    demand = clamp_demand(arrays, forces, *factors)
    found = []
    for k, name in enumerate(arrays.name):
        on = np.flatnonzero(arrays.line_array == k)
        found.append(
            {
                "name": name,
                "plane": analysis.project.roof.planes.name[arrays.plane[k]],
                "leaning_per_case": forces.leaning[:, on].sum(axis=1),
                "snow_on_glass_per_case": forces.on_glass[:, on].sum(axis=1),
                "own_weight": forces.weight[on].sum(),
                "counted_on_per_case": analysis.force.array_held[:, k],
                "clamp_lines": [
                    {
                        "seam": arrays.line_seam[i] + 1,
                        "force_per_case": (forces.leaning + forces.on_glass)[:, i],
                        "own_weight": forces.weight[i],
                        "worst_clamp_demand": demand[:, i].max(),
                    }
                    for i in on
                ],
            }
        )
    return found


def write_results(analysis: Analysis, path: Path, place: Tolerance | None = None) -> None:
    """Write results.json."""
    write_json(path, results(analysis, place))


def write_meshes(analysis: Analysis, folder: Path) -> list[Path]:
    """Write roof.vtu (sliding mesh), rails.vtu (stations) and clamps.vtu for any VTK-based viewer."""
    import meshio

    project = analysis.project
    layout, planes, cells = project.layout, project.roof.planes, analysis.graph.cells
    corners = planes.to_world(np.repeat(cells.plane, 4), cells.corners.reshape(-1, 2))
    number = np.arange(4 * cells.count).reshape(-1, 4)
    cases = [f"{q + 1} {case.name}" for q, case in enumerate(analysis.snow.cases)]
    roof = meshio.Mesh(
        corners,
        [("quad", number)],
        cell_data={
            "plane": [cells.plane.astype(float)],
            **{f"pressure Pa, {n}": [p] for n, p in zip(cases, analysis.force.cell_pressure, strict=True)},
            **{f"thrust N, {n}": [p] for n, p in zip(cases, analysis.force.cell_thrust, strict=True)},
        },
    )
    rails = _rail_mesh(analysis, cases)
    at = planes.to_world(layout.row_plane[layout.clamp_row], layout.clamp_uv)
    clamps = meshio.Mesh(
        at,
        [("vertex", np.arange(len(at))[:, None])],
        point_data={
            limit.name: limit.utilization.max(axis=0) for limit in analysis.limits if limit.target == "clamp"
        },
    )
    paths = []
    for name, mesh in (("roof", roof), ("rails", rails), ("clamps", clamps)):
        path = folder / f"{name}.vtu"
        with atomic(path) as temporary:
            mesh.write(temporary, file_format="vtu")
            if name == "rails":
                _remark(temporary, _rails_remark(analysis))
        paths.append(path)
    return paths


def _rails_remark(analysis: Analysis) -> str:
    """Which of several states the mesh of the rails shows, in words."""
    project, splices = analysis.project, analysis.states[hardest_state(analysis)].splices
    shown: tuple[str, ...] = ()
    if SPLICES in unknown_fields(project):
        shown = (f"NOT GIVEN: {SPLICES}: in this mesh {splices}, the state in which a clamp is used most.",)
    return " ".join((*shown, *one_end_words(project, "in this mesh stand", rocking_alone(project))))


def _remark(path: Path, words: str) -> None:
    """Put a remark into an XML file, below its first line."""
    if words:
        first, rest = path.read_text(encoding="utf-8").split("\n", 1)
        path.write_text(f"{first}\n<!-- {words.replace('--', '- -')} -->\n{rest}", encoding="utf-8")


def _rail_mesh(analysis: Analysis, cases: list[str]) -> Any:
    """Rail stations as line elements with forces and displacements of each case's combination."""
    import meshio

    project, response = analysis.project, analysis.responses[hardest_state(analysis)]
    layout, planes = project.layout, project.roof.planes
    row = response.sample_row
    way = (layout.row_end - layout.row_start) / layout.row_length[:, None]
    uv = layout.row_start[row] + response.sample_s[:, None] * way[row]
    points = (
        planes.to_world(layout.row_plane[row], uv)
        + project.clamp.height * planes.normal[layout.row_plane[row]]
    )
    joined = np.flatnonzero(np.diff(response.sample_span) == 0)
    factors = np.array([(f.snow, f.dead, f.thermal) for f in analysis.factors]).reshape(-1, 3)
    weights = analysis.basis.weights(*factors.T, top=False)
    shape = response.rail_force.shape[1:]
    force = (weights @ response.rail_force.reshape(analysis.basis.count, -1)).reshape(-1, *shape)
    moved = (weights @ response.deflection.reshape(analysis.basis.count, -1)).reshape(-1, len(row), 3)
    data: dict[str, Any] = {}
    for q, name in enumerate(cases):
        data[f"moment down the slope N m, {name}"] = force[q, :, 5]
        data[f"moment away from the roof N m, {name}"] = force[q, :, 4]
        data[f"torsion N m, {name}"] = force[q, :, 3]
        data[f"deflection down the slope m, {name}"] = -moved[q, :, 1]
    return meshio.Mesh(points, [("line", np.stack([joined, joined + 1], axis=1))], point_data=data)
