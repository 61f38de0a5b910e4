"""Rail, clamp and panel from the project file: materials, factors, and strengths by design format."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

import numpy as np

from roofmodel import sections
from roofmodel.errors import InputError
from roofmodel.hardware import (
    Clamp,
    DesignFormat,
    Interaction,
    Material,
    Panel,
    Rail,
    SpliceTorsion,
    grip_stiffness,
)
from roofmodel.profiles.data import Profile, Section
from roofmodel.project.clamp_schema import ClampTable
from roofmodel.project.rocking import check_rocking, default_rocking
from roofmodel.project.schema import PanelTable, RailTable
from roofmodel.project.strength_doubts import counted_strengths
from roofmodel.units import SI, STANDARD_GRAVITY, UnitSystem

# E [Pa], Poisson's ratio, alpha [1/K], density [kg/m^3]. E of carbon steel follows the format: 29,000 ksi in
# AISC 360-16 A3, 210,000 MPa in EN 1993-1-1 3.2.6; aluminum 10,100 ksi in the Aluminum Design
# Manual, 70,000 MPa in EN 1999-1-1 3.2.5; stainless steel EN 1993-1-4 2.1.3. All from memory.
_METALS = {
    "steel": (210e9, 199.95e9, 0.3, 12e-6, 7850.0),
    "stainless steel": (200e9, 193.05e9, 0.3, 16e-6, 7900.0),
    "aluminum": (70e9, 69.64e9, 0.33, 23e-6, 2700.0),
}

# Usual factors on yield. From memory: AISC 360-16 F1 and B3, AISC 370-21 F1, Aluminum Design Manual 2020 F.1,
# EN 1993-1-1 6.1, EN 1993-1-4 5.1, EN 1999-1-1 6.1.3.
YIELD_FACTORS = {
    ("steel", DesignFormat.ASD): (1.67, "AISC 360-16 F1: Omega = 1.67"),
    ("steel", DesignFormat.LRFD): (0.90, "AISC 360-16 F1: phi = 0.90"),
    ("steel", DesignFormat.EN): (1.00, "EN 1993-1-1 6.1: gamma_M0 = 1.00"),
    ("stainless steel", DesignFormat.ASD): (1.67, "AISC 370-21 F1: Omega = 1.67"),
    ("stainless steel", DesignFormat.LRFD): (0.90, "AISC 370-21 F1: phi = 0.90"),
    ("stainless steel", DesignFormat.EN): (1.10, "EN 1993-1-4 5.1: gamma_M0 = 1.10"),
    ("aluminum", DesignFormat.ASD): (1.65, "Aluminum Design Manual 2020 F.1: Omega = 1.65"),
    ("aluminum", DesignFormat.LRFD): (0.90, "Aluminum Design Manual 2020 F.1: phi = 0.90"),
    ("aluminum", DesignFormat.EN): (1.10, "EN 1999-1-1 6.1.3: gamma_M1 = 1.10"),
}

# Sheet metals, handbook values from memory. [kg/m^3]
SHEET_DENSITY = {
    "steel": 7850.0,
    "aluminum": 2700.0,
    "copper": 8930.0,
    "zinc": 7180.0,
    "stainless steel": 7900.0,
}

# Yield strengths that no alloy of a metal passes: 7xxx aluminum 600 MPa, martensitic and cold-drawn steel and
# stainless steel about 1,400, hard copper alloys 450, zinc-copper-titanium 200; handbooks, from memory. [Pa]
MOST_YIELD = {
    "steel": 1500e6,
    "stainless steel": 1500e6,
    "aluminum": 700e6,
    "copper": 500e6,
    "zinc": 300e6,
}

_FACTOR_NAMES = {
    DesignFormat.ASD: "the safety factor Omega",
    DesignFormat.LRFD: "the resistance factor phi",
    DesignFormat.EN: "the partial factor gamma_M",
}

_FACTOR_EXAMPLES = {DesignFormat.ASD: "2.0", DesignFormat.LRFD: "0.5", DesignFormat.EN: "1.33"}

# Least safety factor of the American standards (AISC 360-16 G2.1, from memory): what lies between 1, which is
# none, and this is a partial factor of EN.
LEAST_OMEGA = 1.5


def check_yield(name: str, strength: float, metal: str, units: UnitSystem = SI) -> None:
    """Refuse a yield strength that no alloy of its metal has: a slip of the unit or of a digit.

    Raises
    ------
    InputError
    """
    most = MOST_YIELD[metal]
    if strength > most:
        own, text = (units.text(value, "stress") for value in (strength, most))
        message = f"{name}: {own} is more than any {metal} has, about {text}; check its digits and its unit"
        raise InputError(message)


def check_factor(name: str, factor: float, form: DesignFormat, example: str = "") -> None:
    """Refuse a factor on strength that is not one of its format; 1 is none, as for snow that was measured.

    Raises
    ------
    InputError
    """
    usual = f"{_FACTOR_NAMES[form]}, such as {example or _FACTOR_EXAMPLES[form]}"
    if form is DesignFormat.LRFD and factor > 1.0:
        usual = f"phi, such as {example or _FACTOR_EXAMPLES[form]}"
        message = f"{name}: {factor:g} is above 1; format LRFD wants {usual}"
        raise InputError(message)
    if form is not DesignFormat.LRFD and factor < 1.0:
        message = f"{name}: {factor:g} is below 1; format {form} wants {usual}"
        raise InputError(message)
    if form is DesignFormat.ASD and 1.0 < factor < LEAST_OMEGA:
        message = (
            f"{name}: {factor:g} is no safety factor of format ASD, where {LEAST_OMEGA:g} is the least; "
            f"a partial factor gamma_M of EN goes with EN loads only: give {usual}"
        )
        raise InputError(message)


def design_strength(
    nominal: np.ndarray, kind: str, factor: float | None, form: DesignFormat, field: str
) -> tuple[np.ndarray, float]:
    """Strengths as the format compares them, and the factor used (1 for ready-made ones).

    Parameters
    ----------
    nominal : (n,) float
        Strengths as given, NaN for none. [N]
    kind : str
        "allowable", "nominal", "characteristic" or "design".
    factor : float or None
        ASD Omega and EN gamma_M divide, LRFD phi multiplies.
    form : DesignFormat
    field : str
        Field for messages.

    Raises
    ------
    InputError
        A kind that does not belong to the format, a missing, needless or upside-down factor.
    """
    ready = "allowable" if form is DesignFormat.ASD else "design"
    whole = "." not in field  # the factor of a whole table, not of one field
    name = f"{field}.factor" if whole else f"{field}_factor"
    kind_name = f"{field}.strength_kind" if whole else f"{field}_kind"
    if kind == ready:
        if factor is not None:
            message = f'{name}: "{kind}" strengths hold their factor already; leave it out'
            raise InputError(message)
        return nominal, 1.0
    if kind not in ("nominal", "characteristic"):
        known = '"nominal", "characteristic"' if form is DesignFormat.EN else '"nominal"'
        message = f'{kind_name}: "{kind}" does not go with format {form}; use {known} or "{ready}"'
        raise InputError(message)
    if kind == "characteristic" and form is not DesignFormat.EN:
        message = (
            f'{kind_name}: "characteristic" strengths (5 % fractiles) belong to format EN; format {form} '
            f'wants "nominal" with {_FACTOR_NAMES[form]}, or "{ready}", as `eavewright tests` gives them'
        )
        raise InputError(message)
    if factor is None:
        message = f"{name} is missing; {kind} strengths need {_FACTOR_NAMES[form]} for format {form}"
        raise InputError(message)
    check_factor(name, factor, form)
    return (nominal * factor if form is DesignFormat.LRFD else nominal / factor), factor


def make_clamp(
    table: ClampTable, form: DesignFormat, seam_height: float, units: UnitSystem = SI, least: float = 0.0
) -> Clamp:
    """Clamp from its table; at least so much of the seam must stand above its grip's lower end. [m].

    Stiffness about the across axis turns with the overturning of the rail.
    """
    if table.screws is not None and table.grip_height is None:
        message = (
            "clamp.grip_height is missing; with [clamp.screws] it is the height of the bracket's grip above "
            "the sheet below its base, the lever that pulls the screws"
        )
        raise InputError(message)
    on_seam = table.screws is None
    if on_seam and table.grip_height is not None and table.grip_height > seam_height - least + 1e-6:
        message = (
            f"clamp.grip_height: {units.text(table.grip_height, 'size')} leaves nothing of the seam to grip "
            f"(panel.seam_height, {units.text(seam_height, 'size')}); give less, or leave it out for half"
        )
        raise InputError(message)
    if table.height == 0.0 and table.test_height > 0.0:
        message = (
            f"clamp.height: 0 puts the rail's axis at the grip, but clamp.test_height says that the tests "
            f"pulled {units.text(table.test_height, 'size')} above it; give the height of the rail's axis "
            "above the grip"
        )
        raise InputError(message)
    k, grip = table.stiffness, table.grip_length
    rocking = k.rocking
    if rocking is None:
        rocking = default_rocking(k.along, k.pull, grip, table.test_height)
    given = counted_strengths(table).values()
    nominal = np.array([np.nan if value is None else value for value in given])
    if np.isnan(nominal[0]) and on_seam:
        message = "clamp.strength.along is missing; without it no attachment can be checked"
        raise InputError(message)
    strength, factor = design_strength(nominal, table.strength_kind, table.factor, form, "clamp")
    clamp = Clamp(
        stiffness=np.diag(
            [
                grip_stiffness(k.along, rocking, table.test_height),
                k.across,
                k.pull,
                k.roll or 0.0,
                rocking,
                k.twist or 0.0,
            ]
        ),
        strength=strength,
        nominal=nominal,
        factor=factor,
        strength_kind=table.strength_kind,
        height=table.height,
        grip_height=0.5 * seam_height if table.grip_height is None else table.grip_height,
        grip_length=grip,
        test_height=table.test_height,
        interaction=Interaction(table.interaction),
        test_basis=table.test_basis,
        residual=table.slip_residual,
        along=k.along,
    )
    check_rocking(clamp, units)
    return clamp


def make_panel(table: PanelTable, form: DesignFormat) -> Panel:
    """Panel from its table; the anchorage stays NaN when nobody gave one."""
    nominal = np.array([np.nan if table.anchorage is None else table.anchorage])
    strength, factor = nominal, 1.0
    if table.anchorage is not None:
        strength, factor = design_strength(
            nominal, table.anchorage_kind, table.anchorage_factor, form, "panel.anchorage"
        )
    return Panel(
        seam_spacing=table.seam_spacing,
        seam_height=table.seam_height,
        thickness=table.thickness,
        metal=table.metal,
        clip_spacing=np.nan if table.clip_spacing is None else table.clip_spacing,
        anchorage=float(strength[0]),
        anchorage_nominal=float(nominal[0]),
        anchorage_factor=factor,
        weight=SHEET_DENSITY[table.metal]
        * STANDARD_GRAVITY
        * table.thickness
        * (1.0 + 2.0 * table.seam_height / table.seam_spacing),
    )


def make_rail(table: RailTable, form: DesignFormat, folder: Path | None = None, digest: Any = None) -> Rail:
    """Rail from its table; the drawing of a profile is looked up in `folder` and counted in `digest`."""
    e_en, e_us, poisson, alpha, density = _METALS[table.material]
    modulus = table.E or (e_en if form is DesignFormat.EN else e_us)
    usual, clause = YIELD_FACTORS[(table.material, form)]
    factor = usual if table.resistance_factor is None else table.resistance_factor
    if table.resistance_factor is not None:
        clause = "factor given by the user"
        check_factor("rail.resistance_factor", factor, form, f"{usual:g}")
    check_yield("rail.yield_strength", table.yield_strength, table.material)
    _check_class(table)
    profile = _profile(table, poisson, folder or Path(), digest)
    return Rail(
        section=_section(table, poisson) if profile is None else profile.section,
        material=Material(
            name=table.material,
            E=modulus,
            G=modulus / (2.0 * (1.0 + poisson)),
            alpha=alpha,
            density=density,
            yield_strength=table.yield_strength,
            buckling_class=table.buckling_class,
        ),
        deflection_ratio=np.nan if table.deflection_ratio is None else table.deflection_ratio,
        thermal=table.temperature_change,
        resistance_factor=factor,
        resistance_clause=clause,
        profile=profile,
        splice_torsion=SpliceTorsion(table.splice_torsion),
        **_member_strengths(table, form, profile),
    )


def _check_class(table: RailTable) -> None:
    """Refuse buckling class A where nothing speaks for it: EN 1999-1-1 table 3.2, from memory."""
    if table.buckling_class == "B":
        return
    if table.material != "aluminum":
        message = f'rail.buckling_class: "A" is of aluminum, not of {table.material}; leave it out'
        raise InputError(message)
    if not re.search(r"(?<![A-Za-z])T6\d*\b", table.alloy.upper()):
        message = (
            f'rail.buckling_class: "A" wants rail.alloy with a temper T6 (such as "EN AW-6082 T6"), not '
            f'"{table.alloy}"; the others are class B in EN 1999-1-1 table 3.2 (from memory)'
        )
        raise InputError(message)


_PLAIN_TAKES = {
    "rectangular tube": ("bearing_length", "bearing_strength"),
    "round tube": ("bearing_strength",),
}  # its walls' crushing has clauses; that of a round tube wants tests
_MEMBER = ("ultimate_strength", "weld_strength", "bearing_length", "bearing_strength")


def _member_strengths(table: RailTable, form: DesignFormat, profile: Profile | None) -> dict[str, Any]:
    """What the user gives of a profile's strengths."""
    moments = (table.moment_normal, table.moment_slope)
    fields = (*_MEMBER, "moment_slope", "moment_normal")
    given = [name for name in fields if getattr(table, name) is not None]
    if profile is None:
        takes = _PLAIN_TAKES.get(table.shape, ())
        other = next((name for name in given if name not in takes), None)
        if other is not None:
            message = f'rail.{other}: shape "{table.shape}" does not take it; shape "profile" does'
            raise InputError(message)
        return {name: float(getattr(table, name)) for name in given}
    if profile.net is not None and table.ultimate_strength is None:
        message = "rail.ultimate_strength is missing; holes need it (tensile strength of the metal)"
        raise InputError(message)
    if table.weld_strength is not None and table.weld_strength > table.yield_strength:
        message = "rail.weld_strength: must not be more than rail.yield_strength"
        raise InputError(message)
    found = {name: float(getattr(table, name)) for name in _MEMBER if getattr(table, name) is not None}
    if all(moment is None for moment in moments):
        if table.moment_factor is not None:
            message = "rail.moment_factor: there are no tested moments; give moment_slope and moment_normal"
            raise InputError(message)
        return found
    if any(moment is None for moment in moments):
        message = "rail.moment_slope and rail.moment_normal: give both or none"
        raise InputError(message)
    design, _ = design_strength(
        np.array(moments, dtype=float), table.moment_kind, table.moment_factor, form, "rail.moment"
    )
    return {**found, "moment": (float(design[0]), float(design[1]))}


def _profile(table: RailTable, poisson: float, folder: Path, digest: Any) -> Profile | None:
    if (table.shape == "profile") != (table.profile is not None):
        message = (
            'rail.profile is missing; shape "profile" needs it'
            if table.profile is None
            else f'rail.profile does not belong to shape "{table.shape}"; write shape = "profile"'
        )
        raise InputError(message)
    if table.profile is None:
        return None
    _refuse_others(table, (), ())
    from roofmodel.project.profile_tables import make_profile  # scipy's meshing comes with it

    return make_profile(table.profile, folder, poisson, digest)


_SHAPE_FIELDS = {
    "round tube": ("diameter", "wall"),
    "round bar": ("diameter",),
    "rectangular tube": ("width", "depth", "wall"),
    "flat bar": ("width", "depth"),
    "values": ("area", "I_slope", "I_normal", "J", "W_slope", "W_normal", "W_torsion", "width", "depth"),
}
_OPEN_FIELDS = {
    "I_product": "I_yz",
    "shear_center_slope": "center_y",
    "shear_center_normal": "center_z",
    "I_warping": "I_w",
    "omega_max": "omega_max",
}


def _refuse_others(table: RailTable, wanted: tuple[str, ...], more: tuple[str, ...]) -> None:
    """Refuse section fields of other shapes."""
    every = {field for fields in _SHAPE_FIELDS.values() for field in fields} | set(_OPEN_FIELDS)
    extra = next((f for f in sorted(every - {*wanted, *more}) if getattr(table, f) is not None), None)
    if extra is not None:
        takes = ", ".join(wanted) or "the table rail.profile"
        message = f'rail.{extra} does not belong to shape "{table.shape}", which takes {takes}'
        raise InputError(message)


def _section(table: RailTable, poisson: float) -> Section:
    wanted = _SHAPE_FIELDS[table.shape]
    for field in wanted:
        if getattr(table, field) is None:
            message = f'rail.{field} is missing; shape "{table.shape}" needs {", ".join(wanted)}'
            raise InputError(message)
    _refuse_others(table, wanted, tuple(_OPEN_FIELDS) if table.shape == "values" else ())
    value = {field: float(getattr(table, field)) for field in wanted}
    try:
        match table.shape:
            case "round tube":
                return sections.round_tube(value["diameter"], value["wall"], poisson)
            case "round bar":
                return sections.round_bar(value["diameter"], poisson)
            case "rectangular tube":
                return sections.rectangular_tube(value["width"], value["depth"], value["wall"])
            case "flat bar":
                return sections.rectangle(value["width"], value["depth"], poisson)
            case _:
                return sections.from_values(
                    area=value["area"],
                    I_y=value["I_normal"],
                    I_z=value["I_slope"],
                    J=value["J"],
                    W_y=value["W_normal"],
                    W_z=value["W_slope"],
                    W_t=value["W_torsion"],
                    depth_y=value["width"],
                    depth_z=value["depth"],
                    I_yz=table.I_product or 0.0,
                    center_y=table.shear_center_slope or 0.0,
                    center_z=table.shear_center_normal or 0.0,
                    I_w=table.I_warping or 0.0,
                    omega_max=table.omega_max or math.nan,
                )
    except InputError as error:
        names = {name: field for field, name in _OPEN_FIELDS.items()}
        message = re.sub(r"^section: (\w+) = ", lambda m: f"rail.{names.get(m[1], m[1])}: ", str(error))
        raise InputError(message) from None
