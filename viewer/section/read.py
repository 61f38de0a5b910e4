"""The profile that a project or a drawing gives."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace
from pathlib import Path

import shapely
from shapely import Point

from fea.checks.limits import rail_resistance
from fea.sections.buckling_class import class_words
from fea.sections.effective import Effective, effective
from fea.sections.outline_doubts import outline_words
from roofmodel.errors import InputError
from roofmodel.hardware import DesignFormat, Material, Rail
from roofmodel.profiles.data import Profile
from roofmodel.profiles.properties import profile_of
from roofmodel.profiles.shapes import shape_outline
from roofmodel.project.hardware_tables import make_rail
from roofmodel.project.load import load_project
from roofmodel.project.moment_doubts import moment_doubts, moment_notes
from roofmodel.project.schema import RailTable
from roofmodel.project.span_study import SpanStudy, load_study
from roofmodel.project.validation import read_text, read_toml
from roofmodel.units import UnitSystem, parse, shown
from viewer.quantities import system

LEAST, MOST = 10e6, 3e9  # yield strengths beyond these are a slip of the unit [Pa]


@dataclass(frozen=True)
class Seen:
    """A profile with its metal, what buckling leaves of it, and where it comes from."""

    inputs: tuple[Path, ...]
    name: str
    digest: str
    units: UnitSystem
    profile: Profile
    metal: Material
    form: DesignFormat
    left: Effective
    design: float  # yield stress over or times its factor [Pa]
    clause: str
    notes: tuple[str, ...]  # on the metal
    doubts: tuple[str, ...] = ()  # of its tested moments


def see_section(
    file: Path,
    unit: str | None,
    layer: str | None,
    metal: tuple[str, str, str, str],
    units: str,
    form: str,
    rail_name: str | None = None,
) -> Seen:
    """Read FILE: a project's rail, one of a span study, or an outline as DXF or CSV with the metal beside it.

    `metal`: its name, yield strength, alloy and buckling class, in the user's words.
    """
    material, strength, alloy, kind = metal
    if file.suffix.lower() == ".toml" and _is_study(file):
        return _of_study(file, rail_name)
    if rail_name is not None:
        message = f"--rail: {file.name} has one rail; leave it out (it chooses among those of a span study)"
        raise InputError(message)
    if file.suffix.lower() == ".toml":
        project = load_project(file)
        table = project.table.rail
        profile = project.rail.profile or _plain(table, project.rail)
        return _seen(
            project.inputs,
            project.digest,
            project.table.project.units,
            profile,
            project.rail,
            DesignFormat(project.table.design.format),
            table,
        )
    try:
        known = parse(strength, "stress")
    except ValueError as error:
        message = f"--yield-strength: {error}"
        raise InputError(message) from None
    given = {"file": file.name, "unit": unit, "layer": layer}
    if not LEAST <= known <= MOST:
        message = f'--yield-strength: "{strength}" is outside 10 to 3,000 MPa; check it and its unit'
        raise InputError(message)
    table = RailTable.model_validate(
        {
            "shape": "profile",
            "profile": {key: value for key, value in given.items() if value is not None},
            "material": material,
            "yield_strength": f"{known} Pa",
            "alloy": alloy,
            "buckling_class": kind,
        }
    )
    digest = hashlib.sha256()
    rail = make_rail(table, DesignFormat(form), file.parent, digest)
    assert rail.profile is not None
    return _seen((file,), digest.hexdigest(), units, rail.profile, rail, DesignFormat(form), table)


def _seen(
    inputs: tuple[Path, ...],
    digest: str,
    units: str,
    profile: Profile,
    rail: Rail,
    form: DesignFormat,
    table: RailTable,
    called: str = "this rail",
) -> Seen:
    given = (called, table, rail, form, system(units))
    return Seen(
        inputs=inputs,
        name=inputs[0].name,
        digest=digest,
        units=system(units),
        profile=profile,
        metal=rail.material,
        form=form,
        left=effective(profile, rail.material, form, welded=rail.welded),
        design=float(rail_resistance(rail, form)),
        clause=rail.resistance_clause,
        notes=(
            *moment_notes(*given),
            *outline_words(rail.profile, system(units)),
            *class_words("this rail", replace(rail, profile=profile), table.alloy, form),
        ),
        doubts=tuple(moment_doubts(*given).values()),
    )


def _is_study(file: Path) -> bool:
    data = read_toml(read_text(file, "a project, a span study or an outline"), file.name, "write tables")
    return "study" in data


def _of_study(file: Path, name: str | None) -> Seen:
    """A rail of a span study, ranges at their middle."""
    study = load_study(file)
    names = [rail.name for rail in study.table.rail]
    if name is None and len(names) > 1:
        message = f'{file.name} has several rails; choose one, like --rail "{names[0]}": {", ".join(names)}'
        raise InputError(message)
    if name is not None and name not in names:
        message = f"--rail: there is no rail {shown(name)} in {file.name}; it has {', '.join(names)}"
        raise InputError(message)
    return study_rail(study, 0 if name is None else names.index(name))


def study_rail(study: SpanStudy, at: int) -> Seen:
    """A rail of a span study, ranges at their middle; InputError where it has no outline."""
    table, rail = study.table.rail[at], study.variants[0].rails[at]
    return _seen(
        study.inputs,
        study.digest,
        study.table.study.units,
        rail.profile or _plain(table, rail),
        rail,
        DesignFormat(study.table.design.format),
        table,
        table.name,
    )


def _plain(table: RailTable, rail: Rail) -> Profile:
    """Profile of a tube or bar that the project gives by its sizes, with the values that the checks use."""
    poisson = rail.material.E / rail.material.G / 2.0 - 1.0
    label = rail.section.label
    size = {
        name: float(value)
        for name in ("diameter", "width", "depth", "wall")
        if (value := getattr(table, name)) is not None
    }
    if table.shape in ("round tube", "rectangular tube"):
        found = profile_of(shape_outline(table.shape, size), poisson, label)
        return replace(found, section=rail.section)
    if table.shape == "round bar":
        return profile_of(Point(0.0, 0.0).buffer(0.5 * size["diameter"], quad_segs=24), poisson, label)
    if table.shape == "flat bar":
        return profile_of(shapely.box(0.0, 0.0, size["width"], size["depth"]), poisson, label)
    message = 'rail.shape: "values" has no outline; give rail.profile'
    raise InputError(message)
