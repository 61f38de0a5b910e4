"""The screws of a bracket from the project file."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from roofmodel.errors import InputError
from roofmodel.hardware import Clamp, DesignFormat
from roofmodel.project.clamp_schema import ClampTable
from roofmodel.project.hardware_tables import design_strength
from roofmodel.project.schema import PanelTable
from roofmodel.project.screw_schema import ScrewsTable
from roofmodel.screws import Screws
from roofmodel.units import SI, UnitSystem

# Diameters of which the clauses speak [m]: AISI S100-16 J4 (0.08 to 0.25 in), EN 1993-1-3:2006 table 8.2;
# from memory.
AISI_DIAMETERS, EN_DIAMETERS = (0.08 * 0.0254, 0.25 * 0.0254), (3e-3, 8e-3)
# Least distances in diameters: of screws, of an edge, of the edge along the force in EN; AISI S100-16 J4.1,
# J4.2, EN 1993-1-3 table 8.2.
APART, EDGE, EN_END = 3.0, 1.5, 3.0
LEAST_HEAD = 0.3125 * 0.0254  # head or washer that AISI S100-16 J4.4 knows, from memory [m]
WEAKEST = 260e6  # tensile strength below which nothing is sheet steel (judgment) [Pa]
STIFF = 25.0  # distance of a screw over the base's thickness up to which the base counts as rigid (judgment)
WHERE = "clamp.screws"


def make_screws(table: ScrewsTable, form: DesignFormat, units: UnitSystem = SI) -> Screws:
    """Screws from their table.

    Raises
    ------
    InputError
        Screws of sizes of which the clauses do not speak, too close, or on one slanting line.
    """
    tests = np.array([_or_nan(one) for one in (table.shear, table.pull_out, table.pull_over)])
    tested, factor = tests, 1.0
    if table.test_kind is not None:
        tested, factor = design_strength(tests, table.test_kind, table.test_factor, form, f"{WHERE}.test")
    screws = Screws(
        place=_places(table),
        base=np.array([_or_nan(table.base_along), _or_nan(table.base_across)]),
        diameter=table.diameter,
        head=table.head_diameter,
        thread_pitch=_or_nan(table.thread_pitch),
        base_thickness=_or_nan(table.base_thickness),
        support_thickness=_or_nan(table.support_thickness),
        base_ultimate=_or_nan(table.base_ultimate),
        support_ultimate=_or_nan(table.support_ultimate),
        own=np.array([_or_nan(table.screw_shear), _or_nan(table.screw_tension)]),
        tested=tested,
        tested_nominal=tests,
        tested_factor=factor,
    )
    _check_steel(table, form, units)
    _check_sizes(screws, form, units)
    _check_places(screws, form, units)
    return screws


def with_screws(clamp: Clamp, table: ClampTable, form: DesignFormat, units: UnitSystem = SI) -> Clamp:
    """The clamp with the screws of its table, if it has any."""
    return clamp if table.screws is None else replace(clamp, screws=make_screws(table.screws, form, units))


def refuse_screws(clamp: ClampTable) -> None:
    """Refuse brackets on screws in a push, where only `clamp.strength` counts.

    Raises
    ------
    InputError
        There are screws.
    """
    if clamp.screws is not None:
        message = (
            f"{WHERE}: a push knows nothing of screws; take the table out and give clamp.strength what a "
            "bracket holds together with its screws"
        )
        raise InputError(message)


def need_along(clamp: ClampTable, what: str, name: str) -> None:
    """Ask for a bracket's own strength along the seam, which `check` of one on screws can do without.

    Raises
    ------
    InputError
        Not given.
    """
    if clamp.strength.along is None:
        message = f"{name}: clamp.strength.along is missing; {what} needs what a bracket holds by itself"
        raise InputError(message)


def screw_notes(clamp: ClampTable, panel: PanelTable) -> tuple[str, ...]:
    """What calculated screws leave open, one sentence each."""
    screws = clamp.screws
    if screws is None:
        return ()
    notes = [
        "Screws of brackets: tests of the bracket on this panel beat calculation. A rib, insulation or a "
        "gap below the base, washers with sealing rubber below it, wood and aluminum need tests; the panel "
        "between base and support counts for nothing.",
        "The base of a bracket counts as rigid. One that bends pries: its screws are pulled by more than is "
        "calculated (EN 1993-1-8 6.2.4), which is NOT counted. No prying needs a thickness of "
        "(4 T m / (b f_y))^0.5: T pull of a screw, m its distance from the upright, b base per screw.",
        "Screws through the panel fix it: what its movement by temperature brings to them is not counted.",
    ]
    far = max(map(abs, _places(screws).ravel().tolist()))
    if screws.base_thickness is not None and far > STIFF * screws.base_thickness:
        notes.append(
            f"TOO FLEXIBLE: screws stand {far / screws.base_thickness:.0f} thicknesses of the base from its "
            "center; such a base is not rigid, and screws near the upright carry more than is calculated."
        )
    open_ = [name for name in ("base_along", "base_across") if getattr(screws, name) is None]
    if open_:
        missing = " and ".join(f"clamp.screws.{name}" for name in open_)
        notes.append(
            f"Edges of the base are NOT checked: {missing} not given. Screws need 1.5 diameters to an edge "
            "(AISI S100 J4.2), 3 along the force by EN 1993-1-3."
        )
    notes.append("That the steel below reaches as far beyond each screw is NOT checked.")
    thickness = screws.support_thickness
    if thickness is not None and thickness <= panel.thickness * (1.0 + 1e-9):
        notes.append(
            "clamp.screws.support_thickness is that of the panel: the screws hold in thin sheet alone, whose "
            "pull-out under load that comes and goes falls below the calculation; test it."
        )
    return tuple(notes)


def _or_nan(value: float | None) -> float:
    return np.nan if value is None else value


def _places(table: ScrewsTable) -> np.ndarray:
    if table.along is None:
        n = table.count or 1
        along = (np.arange(n) - 0.5 * (n - 1)) * (table.spacing or 0.0)
    else:
        along = np.array(table.along, dtype=float)
    across = np.zeros_like(along) if table.across is None else np.array(table.across, dtype=float)
    return np.stack([along, across], axis=1)


def _check_steel(table: ScrewsTable, form: DesignFormat, units: UnitSystem) -> None:
    """Refuse to calculate what the clauses do not speak of: other metals, wood, small heads."""
    tests = {"base": "shear and pull_over", "support": "shear and pull_out"}
    clauses = "EN 1993-1-3 8.3" if form is DesignFormat.EN else "AISI S100 J4"
    for part, tested in tests.items():
        metal, strength = getattr(table, f"{part}_metal"), getattr(table, f"{part}_ultimate")
        instead = f"give {tested} from tests, without {part}_thickness, {part}_ultimate and {part}_metal"
        if metal not in (None, "steel"):
            message = f'{WHERE}.{part}_metal: "{metal}", but {clauses} speaks of steel; {instead}'
            raise InputError(message)
        if strength is not None and strength < WEAKEST:
            text = [units.text(one, "stress") for one in (strength, WEAKEST)]
            message = (
                f"{WHERE}.{part}_ultimate: {text[0]} is no steel sheet, which has over {text[1]}; {instead}"
            )
            raise InputError(message)
    calculated = table.pull_over is None and table.base_thickness is not None
    if calculated and form is not DesignFormat.EN and table.head_diameter < LEAST_HEAD * (1.0 - 1e-6):
        text = [units.text(one, "size") for one in (table.head_diameter, LEAST_HEAD)]
        message = (
            f"{WHERE}.head_diameter: {text[0]} is less than {text[1]}, of which AISI S100 J4.4 speaks; give "
            "pull_over from tests"
        )
        raise InputError(message)


def _check_sizes(screws: Screws, form: DesignFormat, units: UnitSystem) -> None:
    en = form is DesignFormat.EN
    low, high = EN_DIAMETERS if en else AISI_DIAMETERS
    thickness = np.array([screws.base_thickness, screws.support_thickness])
    calculated = np.isnan(screws.tested).any() and not np.isnan(thickness).all()
    if calculated and not low * (1.0 - 1e-9) <= screws.diameter <= high * (1.0 + 1e-9):
        text = [units.text(one, "size") for one in (screws.diameter, low, high)]
        clause = "EN 1993-1-3 table 8.2" if en else "AISI S100 J4"
        message = (
            f"{WHERE}.diameter: {text[0]} is outside {text[1]} to {text[2]}, of which {clause} speaks; give "
            "shear, pull_out and pull_over from tests, without base_thickness and support_thickness"
        )
        raise InputError(message)
    if screws.head <= screws.diameter:
        text = [units.text(one, "size") for one in (screws.head, screws.diameter)]
        message = f"{WHERE}.head_diameter: {text[0]} is not more than the screw's diameter, {text[1]}"
        raise InputError(message)


def _check_places(screws: Screws, form: DesignFormat, units: UnitSystem) -> None:
    place, d = screws.place, screws.diameter
    gap = np.linalg.norm(place[:, None] - place[None], axis=2) + np.diag(np.full(len(place), np.inf))
    if gap.min() < APART * d * (1.0 - 1e-9):
        message = (
            f"{WHERE}: two screws stand {units.text(float(gap.min()), 'size')} apart; three diameters, "
            f"{units.text(APART * d, 'size')}, are the least (AISI S100 J4.1, EN 1993-1-3 table 8.2)"
        )
        raise InputError(message)
    for axis, name in enumerate(("along", "across")):
        rest = 0.5 * screws.base[axis] - np.abs(place[:, axis]).max()
        en = form is DesignFormat.EN
        edge = EN_END if en and name == "along" else EDGE
        if rest < edge * d * (1.0 - 1e-9):
            least = 2.0 * (float(np.abs(place[:, axis]).max()) + edge * d)
            message = (
                f"{WHERE}.base_{name}: {units.text(float(screws.base[axis]), 'size')} leaves a screw less "
                f"than {edge:g} diameters to its edge; {units.text(least, 'size')} are the least "
                f"({'EN 1993-1-3 table 8.2' if en else 'AISI S100 J4.2'})"
            )
            raise InputError(message)
    about = place - place.mean(axis=0)
    spread = np.linalg.svd(about, compute_uv=False)
    slanting = len(place) > 1 and spread[-1] < 1e-6 and (np.ptp(place, axis=0) > 1e-6).all()
    if slanting:
        message = (
            f"{WHERE}: the screws stand on one slanting line; put them on a line along or across the seam, "
            "or on two lines"
        )
        raise InputError(message)
