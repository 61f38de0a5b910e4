"""From the project file to everything the calculation needs, in SI."""

from __future__ import annotations

import difflib
import hashlib
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import BaseModel, ValidationError

from roofmodel.builders import RoofPart, build_roof
from roofmodel.errors import InputError
from roofmodel.hardware import Clamp, DesignFormat, Panel, Rail
from roofmodel.hardware_input import make_clamp, make_panel, make_rail
from roofmodel.layout import Layout
from roofmodel.placement import place_rows
from roofmodel.schema import AsceSite as AsceTable
from roofmodel.schema import BuiltRoof, MeasuredSite, Part, ProjectFile
from roofmodel.schema import EnSite as EnTable
from roofmodel.sliding import SlideOptions, ValleyThrust
from roofmodel.snow.cases import LoadLevel
from roofmodel.snow.inputs import AsceSite, DirectSite, EnSite, Site, SnowLayer
from roofmodel.surface import RoofSurface

LARGEST_FILE = 5_000_000  # a project file is a few kilobytes [bytes]


@dataclass(frozen=True)
class Project:
    """A project, read and understood.

    Attributes
    ----------
    path : Path
        The project file.
    table : ProjectFile
        What it says, SI.
    digest : str
        SHA-256 of the project file and of the imported roof, so that a result can be reproduced.
    roof, site, rail, clamp, panel, layout, slide
        Inputs of the calculation.
    """

    path: Path
    table: ProjectFile
    digest: str
    roof: RoofSurface
    site: Site
    rail: Rail
    clamp: Clamp
    panel: Panel
    layout: Layout
    slide: SlideOptions


def load_project(path: str | Path) -> Project:
    """Read a project file, build or import its roof and place its rows.

    Parameters
    ----------
    path : str or Path
        TOML file.

    Returns
    -------
    Project

    Raises
    ------
    InputError
        One line that names the file, the field, the value and what would be right.
    """
    path = Path(path)
    text = _read(path)
    table = parse_project(text, path.name)
    digest = hashlib.sha256(text.encode())
    try:
        roof = _roof(table, path, digest)
        form = DesignFormat(table.design.format)
        panel = make_panel(table.panel, form)
        return Project(
            path=path,
            table=table,
            digest=digest.hexdigest(),
            roof=roof,
            site=_site(table),
            rail=make_rail(table.rail, form),
            clamp=make_clamp(table.clamp, form, table.panel.seam_height),
            panel=panel,
            layout=place_rows(roof, table.row, table.plane, panel),
            slide=SlideOptions(
                friction=table.surface.friction,
                strip_width=table.analysis.strip_width,
                valley=ValleyThrust(table.analysis.valley_thrust),
                valley_spread=table.analysis.valley_spread,
                spread_angle=_spread_angle(table),
            ),
        )
    except InputError as error:
        message = str(error)
        raise InputError(message if message.startswith(path.name) else f"{path.name}: {message}") from None


def _read(path: Path) -> str:
    if not path.exists():
        message = f"{path}: there is no such file"
        raise InputError(message)
    if path.is_dir():
        message = f"{path}: is a folder; give the project file in it"
        raise InputError(message)
    try:
        size = path.stat().st_size
        data = path.read_bytes() if size <= LARGEST_FILE else b""
    except OSError as error:
        message = f"{path}: cannot be read ({error.strerror})"
        raise InputError(message) from None
    if size > LARGEST_FILE:
        message = f"{path.name}: {size / 1e6:.0f} MB is too large for a project file (TOML text of a few kB)"
        raise InputError(message)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        message = f"{path.name}: is not text in UTF-8; a project file is TOML text"
        raise InputError(message) from None


def parse_project(text: str, name: str) -> ProjectFile:
    """Validate the text of a project file; `name` is for messages. Raises InputError."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message = f"{name}: is not valid TOML: {error}"
        raise InputError(message) from None
    except RecursionError:
        message = f"{name}: is not valid TOML: nested too deep"
        raise InputError(message) from None
    try:
        return ProjectFile.model_validate(data)
    except ValidationError as error:
        problems = error.errors()
        # An unknown field explains a missing one better than the other way round.
        first = next((p for p in problems if p["type"] == "extra_forbidden"), problems[0])
        more = len(problems) - 1
        tail = f" (and {more} more to mend)" if more else ""
        message = f"{name}: {_explain(first, data)}{tail}"
        raise InputError(message) from None


def _explain(problem: Mapping[str, Any], data: Mapping[str, Any]) -> str:
    path, model = _where(problem["loc"], data)
    kind, value, context = problem["type"], problem.get("input"), problem.get("ctx", {})
    if kind == "missing":
        return f"{path} is missing; add it"
    if kind == "extra_forbidden":
        known = list(model.model_fields) if model else []
        close = difflib.get_close_matches(str(problem["loc"][-1]), known, 1)
        hint = f"did you mean {close[0]}?" if close else f"known here: {', '.join(known)}"
        return f"{path} is not a field of the project file; {hint}"
    if kind == "value_error":
        return f"{path}: {context['error']}" if path else str(context["error"])
    shown = f'"{value}"' if isinstance(value, str) else repr(value)
    if len(shown) > 60:
        shown = shown[:57] + "..."
    if kind in ("literal_error", "union_tag_invalid"):
        expected = context.get("expected", context.get("expected_tags", ""))
        actual = f'"{context["tag"]}"' if kind == "union_tag_invalid" else shown
        field = f"{path}.standard" if kind == "union_tag_invalid" else path
        return f"{field}: {actual} is not known; use {expected}".replace("'", '"')
    if kind == "union_tag_not_found":
        return f'{path}.standard is missing; use "ASCE/SEI 7-22", "EN 1991-1-3" or "measured"'
    return f"{path}: {shown} is not right: {problem['msg'][0].lower()}{problem['msg'][1:]}"


def _where(loc: Sequence[str | int], data: Mapping[str, Any]) -> tuple[str, type[BaseModel] | None]:
    """Field path as a user would say it, and the model that holds the last part."""
    path: list[str] = []
    here: Any = data
    model: type[BaseModel] | None = ProjectFile
    for step, part in enumerate(loc):
        if isinstance(part, int):
            here = here[part] if isinstance(here, list) and part < len(here) else None
            name = here.get("name") if isinstance(here, dict) else None
            path[-1] += f' "{name}"' if isinstance(name, str) and name else f" {part + 1}"
            continue
        if isinstance(here, dict) and part not in here and step < len(loc) - 1:
            model = _member(model, part)  # the tag of a choice, not a field
            continue
        path.append(part)
        here = here.get(part) if isinstance(here, dict) else None
        if step < len(loc) - 1:
            model = _field_model(model, part)
    return ".".join(path), model


def _field_model(model: type[BaseModel] | None, field: str) -> type[BaseModel] | None:
    if model is None or field not in model.model_fields:
        return None
    return next(iter(_models_in(model.model_fields[field].annotation)), None)


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [m for part in getattr(annotation, "__args__", ()) for m in _models_in(part)]


def _member(model: type[BaseModel] | None, tag: str) -> type[BaseModel] | None:
    tags: dict[str, type[BaseModel]] = {
        "ASCE/SEI 7-22": AsceTable,
        "EN 1991-1-3": EnTable,
        "measured": MeasuredSite,
        "built": BuiltRoof,
    }
    if tag == "imported":
        from roofmodel.schema import ImportedRoof

        return ImportedRoof
    return tags.get(tag, model)


def _roof(table: ProjectFile, path: Path, digest: Any) -> RoofSurface:
    if isinstance(table.roof, BuiltRoof):
        return build_roof([_part(part, index) for index, part in enumerate(table.roof.part)])
    from roofmodel.importing import import_roof

    file = (path.parent / table.roof.file).resolve()
    if not file.is_file():
        message = f'roof.file: "{table.roof.file}" is not there; the path is relative to the project file'
        raise InputError(message)
    digest.update(file.read_bytes())
    return import_roof(file, unit=table.roof.unit, up=table.roof.up, building=table.roof.building)


def _part(part: Part, index: int) -> RoofPart:
    name = part.name or f"part {index + 1}"
    sides = len(part.footprint)
    if part.shape != "flat" and (part.pitch is None) == (part.pitches is None):
        message = f'roof.part "{name}": give either pitch (one for all edges) or pitches (one per edge)'
        raise InputError(message)
    if part.pitch == "gable":
        message = f'roof.part "{name}".pitch: "gable" is for single edges; use pitches'
        raise InputError(message)
    if part.shape == "flat":
        pitches = np.zeros(0)
    elif part.pitches is not None:
        pitches = np.array([np.nan if p == "gable" else p for p in part.pitches], dtype=float)
    elif part.shape == "shed":
        pitches = np.array([part.pitch], dtype=float)
    elif part.shape == "gable":
        pitches = _gable_pitches(np.array(part.footprint), float(part.pitch or 0.0))
    else:
        pitches = np.full(sides, part.pitch, dtype=float)
    if part.shape == "shed" and part.fall is None:
        message = f'roof.part "{name}".fall is missing; a shed needs the compass direction it falls to'
        raise InputError(message)
    return RoofPart(
        shape=part.shape,
        footprint=np.array(part.footprint),
        pitches=pitches,
        eave_height=part.eave_height,
        fall_azimuth=np.nan if part.fall is None else part.fall,
        name=name,
    )


def _gable_pitches(footprint: np.ndarray[Any, Any], pitch: float) -> np.ndarray[Any, Any]:
    """Equal pitches over the two long edges, gables over the short ones."""
    if len(footprint) != 4:
        return np.full(len(footprint), pitch)
    length = np.linalg.norm(np.roll(footprint, -1, axis=0) - footprint, axis=1)
    long = length[0] + length[2] >= length[1] + length[3]
    return np.where(np.arange(4) % 2 == (0 if long else 1), pitch, np.nan)


def _site(table: ProjectFile) -> Site:
    site, retained = table.site, table.design.upper_roof_retained
    if isinstance(site, AsceTable):
        values = site.model_dump(exclude={"standard"})
        return AsceSite(**values, slippery=table.surface.slippery, upper_roof_retained=retained)
    if isinstance(site, EnTable):
        return EnSite(**site.model_dump(exclude={"standard"}), upper_roof_retained=retained)
    layers: dict[str | None, list[SnowLayer]] = {}
    for layer in site.layers:
        made = SnowLayer(layer.depth, min(layer.density), max(layer.density))
        layers.setdefault(layer.plane, []).append(made)
    return DirectSite(
        layers=tuple(layers.get(None, ())),
        plane_layers={name: tuple(stack) for name, stack in layers.items() if name is not None},
        square_to_roof=site.depth_direction == "square to the roof",
        level=LoadLevel(site.level),
    )


def _spread_angle(table: ProjectFile) -> float:
    angle = table.analysis.spread_angle
    if not 0.0 <= angle < np.radians(85.0):
        message = (
            f'analysis.spread_angle: {np.degrees(angle):.0f} deg must be from 0 to 85 deg, such as "45 deg"'
        )
        raise InputError(message)
    return angle
