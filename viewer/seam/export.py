"""Open exchange of one clamp on its seam: seam.json, seam.vtu and seam.inp."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np

from fea.analysis import Analysis
from fea.clamp_detail import ClampDetail, StateSource
from fea.model.data import node_dof
from fea.panel.screening import NUMBERS
from fea.panel.study import study_number
from viewer.combining import combination
from viewer.export import created, file_head
from viewer.files import write_json, write_text
from viewer.model_vtu import write_model
from viewer.plain import plain_data
from viewer.seam.deck import case_names, seam_deck
from viewer.seam.findings import (
    SeamLine,
    cautions,
    clamp_label,
    path_lines,
    seam_lines,
    verdict_code,
    worst_study,
)
from viewer.summary import NOT_VERIFIED

FORMAT_VERSION = 1
_SI_UNIT = {"force": "N", "line_load": "N/m", "stress": "Pa"}


def seam_results(analysis: Analysis, detail: ClampDetail) -> dict[str, Any]:
    """Everything as plain data, SI, after viewer/seam.schema.json; null stands for "not given"."""
    project, study = analysis.project, detail.study
    cleaned: dict[str, Any] = plain_data(
        {
            **file_head("seam", project.path.name, project.digest, FORMAT_VERSION),
            **created(),
            "project": project.table.project.model_dump(),
            "design_format": project.table.design.format,
            "verdict": verdict_code(detail),
            "cautions": list(cautions(detail, analysis)),
            "clamp": {
                "name": clamp_label(analysis, detail),
                "up_the_seam": detail.place,
                "seam_length": detail.length,
                "seams_between_clamps": detail.every,
            },
            "case": _source(analysis, detail.shown_source),
            "states": [
                {
                    **_source(analysis, source),
                    "grip": state.action.grip,
                    "snow_pressure": state.action.pressure,
                    "numbers": {name: study_number(state, name) for name in NUMBERS},
                    "worst_for": [name for name in NUMBERS if detail.states.worst[name] == i],
                    "shown": i == detail.shown,
                }
                for i, (source, state) in enumerate(zip(detail.source, detail.states.study, strict=True))
            ],
            "actions_compared": detail.tried,
            "action": {
                "grip": study.action.grip,
                "snow_pressure": study.action.pressure,
                "weight_direction": study.action.weight,
            },
            "grip_displacement": _grip_displacement(detail),
            "limits": [_limit(line) for line in seam_lines(detail)],
            "load_path": _load_path(detail),
            "fold": _fold(detail),
            "stiffness": {
                "as_loaded": study.stiffness,
                "all_bearing_closed": study.stiffness_closed,
                "clamp": project.clamp.stiffness,
            },
            "sheet_peaks": [
                {
                    "part": name,
                    "stress": study.peaks.stress[i],
                    "place": study.peaks.place[i],
                    "largest_in_an_element": study.peaks.local[i],
                    "area_above_90_percent": study.peaks.spread[i],
                }
                for i, name in enumerate(study.peaks.name)
            ],
            "mesh_change": {name: worst_study(detail, name).change[name] for name in study.change},
            "window_change": {name: worst_study(detail, name).window[name] for name in study.window},
            "self_audit": [
                {"name": p.name, "error": p.error, "bar": p.bar, "met": p.met} for p in detail.proofs
            ],
            "search_notes": [note for state in detail.states.study for note in state.notes]
            + list(detail.notes),
            "model": {
                "nodes": len(study.field.model.xyz),
                "shells": sum(len(group.node) for group in study.field.model.shells),
                "strips": study.field.strips,
                "window": [study.field.mesh.x[0], study.field.mesh.x[-1]],
            },
        }
    )
    return cleaned


def _source(analysis: Analysis, source: StateSource) -> dict[str, Any]:
    return {
        "name": analysis.snow.cases[source.case].name,
        "combination": combination(analysis, source.case),
        "force_at": "top" if source.at_top else "axis",
        "snow_on_pan": not source.bare,
    }


def _grip_displacement(detail: ClampDetail) -> dict[str, Any]:
    dof = node_dof(detail.study.field.clamp_node[detail.study.clamp])
    return {"total": detail.study.displacement[dof], "before": detail.study.start[dof]}


def _limit(line: SeamLine) -> dict[str, Any]:
    return {
        "name": line.name,
        "up_the_seam": line.place,
        "unit": _SI_UNIT[line.kind],
        "demand": line.demand,
        "resistance": line.resistance,
        "utilization": line.utilization,
        "status": line.status,
        "worst_in": line.worst,
        "missing": line.field if line.status == NOT_VERIFIED and not math.isnan(line.demand) else None,
        "of_nominal_yield": line.of_yield,
        "mesh_change": line.change,
        "basis": line.limit.basis,
    }


def _load_path(detail: ClampDetail) -> dict[str, Any]:
    path, middle = detail.study.path, detail.study.field.strips // 2
    return {
        "parts": [{"name": line.name, "force": line.force} for line in path_lines(detail)],
        "clips": [
            {
                "strip": strip - middle,
                "up_the_seam": -path.clip_x[clip],
                "more": path.clip[strip, clip],
                "total": path.clip_total[strip, clip],
            }
            for strip in range(len(path.fixed))
            for clip in range(len(path.clip_x))
        ],
        "fixed_points": [
            {"strip": strip - middle, "more": path.fixed_more[strip], "total": path.fixed[strip]}
            for strip in range(len(path.fixed))
        ],
        "bearing": {"more": path.bearing, "total": path.bearing_total},
        "through_fixings": path.fixings,
    }


def _fold(detail: ClampDetail) -> dict[str, Any]:
    fold = detail.study.fold
    return {
        "up_the_seam": 0.0 - np.asarray(fold.x),
        "sliding": fold.sliding,
        "opening": fold.opening,
        "vertical": fold.vertical,
        "pull": fold.pull,
        "mean_over": fold.over,
        "peak_sliding": fold.peak_sliding,
        "peak_opening": fold.peak_opening,
        "peak_pull": fold.peak_pull,
    }


def write_seam_data(analysis: Analysis, detail: ClampDetail, folder: Path) -> tuple[str, ...]:
    """Write seam.json, seam.vtu and seam.inp; what the deck carries in another way, in words."""
    write_json(folder / "seam.json", seam_results(analysis, detail), indent=1)
    study = detail.study
    both = np.stack([study.start, study.displacement], axis=1)
    write_model(folder / "seam.vtu", study.field.model, both, case_names(study))
    deck = seam_deck(study)
    write_text(folder / "seam.inp", deck.text)
    return tuple(
        f"{s.what}: {s.how}" + (f" (up to {100.0 * s.tolerance:g} %)" if s.tolerance else "")
        for s in deck.substitutions
    )
