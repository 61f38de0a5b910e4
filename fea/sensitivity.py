"""Which input moves the answer most, and what rows out of place do: the whole check run again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fea.analysis import Analysis, check_limits
from fea.checks.governing import worst_attachment
from fea.checks.limits import Limit
from fea.checks.screw_strength import project_rule, screw_strength
from fea.moving import on_rigid_seams
from fea.newly_over import ATTACHMENTS, Over, newly_over, others_over
from fea.rails.rows import loose_rows
from fea.row_moves import moved_rows
from roofmodel.errors import InputError
from roofmodel.layout import Layout
from roofmodel.memory import Memory
from roofmodel.project.load import Project, with_rows
from roofmodel.screws import Screws
from roofmodel.snow.inputs import (
    Asce16Site,
    AsceSite,
    DirectSite,
    EnSite,
    NbccSite,
    Site,
    SnowLayer,
    validate_asce,
    validate_asce_16,
    validate_en,
)
from roofmodel.surface import EdgeKind

STEP = 0.10  # up and down
GROUND_SNOW, MEASURED_DEPTH, FRICTION = "ground snow", "measured snow depth", "friction"
VALLEY_SPREAD = "spread of valley streams along the row (judgment)"
END_SPREAD = "spread of the blanket beyond row ends (judgment)"
EXPOSURE, THERMAL = "exposure factor C_e", "thermal factor C_t"
WINTER_WIND, DRIFT_WEIGHT, RAIN = "winter wind W_2", "weight density of drifts", "associated rain"
ROW_DISTANCE, SEAM_SPACING = "distance of the rows from the eave", "seam spacing, and so the clamps'"
_NEW_SNOW = (
    *(GROUND_SNOW, MEASURED_DEPTH, FRICTION, VALLEY_SPREAD, END_SPREAD),
    *(EXPOSURE, THERMAL, WINTER_WIND, DRIFT_WEIGHT, RAIN),
)
TOLERANCE = {"SI": 0.025, "US": 0.0254}  # of rows and clamps on site (judgment) [m]


@dataclass(frozen=True)
class Sway:
    """What an input does to the most used attachment.

    Attributes
    ----------
    name : str
        Input in words.
    low, high : float
        Utilization with 10 % less and 10 % more of it.
    low_at, high_at : str
        The attachment that governs then.
    now : float
        Utilization with it as it is.
    softer : float
        Factor in low and high that brings runs on rigid seams to seams that give way; 1 where they do not.
    """

    name: str
    low: float
    high: float
    low_at: str
    high_at: str
    now: float
    softer: float = 1.0

    @property
    def reach(self) -> float:
        """Distance between the largest and the smallest of the three; less and more may both be worse."""
        return max(self.low, self.now, self.high) - min(self.low, self.now, self.high)


@dataclass(frozen=True)
class Tolerance:
    """What rows and clamps that are not quite in their places do, to the most used attachment first of all.

    Attributes
    ----------
    step : float
        How far they are off. [m]
    rows, clamps : float
        Largest utilization with all rows off up or down the slope, and with the neighbors of the governing
        clamp off along the rail, away from it; NaN where that cannot be.
    rows_at, clamps_at : str
        The attachment that governs then.
    fewer : tuple of str
        Rows that have room for fewer clamps when they are off, since a seam misses their end.
    failed : str
        Why rows off up or down the slope cannot be calculated; empty where they can.
    stay : tuple of str
        Rows that cannot be off and are left in their places, where others are.
    rows_over, clamps_over : tuple of Over
        Limits of anything but attachments that are kept and are exceeded then, the worst first.
    """

    step: float
    rows: float
    rows_at: str
    clamps: float
    clamps_at: str
    fewer: tuple[str, ...] = ()
    failed: str = ""
    stay: tuple[str, ...] = ()
    rows_over: tuple[Over, ...] = ()
    clamps_over: tuple[Over, ...] = ()


def tornado(analysis: Analysis, memory: Memory | None = None) -> tuple[tuple[Sway, ...], tuple[str, ...]]:
    """The most used attachment with one input 10 % down and up at a time, the strongest first.

    Where the project asks for panels that give way, runs on rigid seams count by `softer`. Factors stop where
    their standard does. Inputs that cannot change, such as no friction, are left out.

    Returns
    -------
    found : tuple of Sway
    left_out : tuple of str
        Inputs that cannot be that much less or more, and why, such as seams that no longer meet a row.
    """
    project, memory = on_rigid_seams(analysis.project), memory or Memory()
    now = 0.0 if analysis.attachment is None else analysis.attachment.utilization
    part, found, left_out = softer(analysis, project, memory), [], []
    for name, change in _inputs(project):
        kept = None if name in _NEW_SNOW else memory  # what slides is the same with other hardware
        try:
            use = [_attachment(change(project, 1.0 + sign * STEP), kept) for sign in (-1.0, 1.0)]
            if name == ROW_DISTANCE:
                stays = _scaled(project)[1].items()
                left_out += [f"distance of {row} from the eave ({why})" for row, why in stays]
        except InputError as error:
            left_out.append(f"{name} ({error})")
            continue
        (less, less_at), (more, more_at) = use
        found.append(Sway(name, part * less, part * more, less_at, more_at, now, part))
    return tuple(sorted(found, key=lambda one: -one.reach)), tuple(left_out)


def sway(project: Project, name: str, now: float, part: float) -> Sway | None:
    """One of the inputs of `tornado`, `part` by `softer`; None where there is none. Raises InputError."""
    change = dict(_inputs(project)).get(name)
    if change is None:
        return None
    less, more = (_attachment(change(project, 1.0 + sign * STEP), None) for sign in (-1.0, 1.0))
    return Sway(name, part * less[0], part * more[0], less[1], more[1], now, part)


def softer(analysis: Analysis, rigid: Project, memory: Memory | None = None) -> float:
    """Utilization with the project's own seams over that on rigid ones, by which runs on these count. [-].

    Panels that give way share the snow out otherwise, by much the same part in every run (judgment).
    """
    worst = analysis.attachment
    if worst is None or not analysis.project.table.analysis.panel_flexibility:
        return 1.0
    if "softer" not in analysis.kept:
        rigid_limits = check_limits(rigid, memory)
        use, _ = _worst(rigid_limits)
        analysis.kept["softer"] = worst.utilization / use if use > 0.0 else 1.0
        for own, other in zip(analysis.limits, rigid_limits, strict=True):
            most, least = (np.nan_to_num(one.utilization).max(initial=0.0) for one in (own, other))
            analysis.kept[f"softer: {own.name}"] = float(most / least) if least > 0.0 else 1.0
    return analysis.kept["softer"]


def softer_limits(analysis: Analysis, rigid: Project, memory: Memory | None = None) -> dict[str, float]:
    """`softer` of each limit by name: of attachments that of the most used one, of others their own. [-]."""
    part = softer(analysis, rigid, memory)
    own = analysis.kept
    return {
        one.name: part if one.target in ATTACHMENTS else own.get(f"softer: {one.name}", 1.0)
        for one in analysis.limits
    }


def out_of_place(
    analysis: Analysis, step: float | None = None, memory: Memory | None = None
) -> Tolerance | None:
    """The check with rows and clamps off their places by `step` or `TOLERANCE` [m]; None if none is loaded.

    Runs on rigid seams count by `softer`; of rows measured on site the clamps alone are moved.
    """
    worst = analysis.attachment
    if worst is None:
        return None
    project, memory = on_rigid_seams(analysis.project), memory or Memory()
    step = step or TOLERANCE[project.table.project.units]
    rows, fewer, failed, stay = [(float("nan"), "")], set[str](), "", dict[str, str]()
    part = softer_limits(analysis, project, memory)
    over: tuple[list[Over], list[Over]] = [], []

    def moved_to(there: Project, found: list[Over]) -> tuple[float, str]:
        limits = check_limits(there, memory)
        found += newly_over(analysis.limits, limits, there, part)
        return _worst(limits)

    if project.table.as_built is None:
        ups = [row.up for row in project.table.row]
        try:
            moved, stay = moved_rows(project, [[max(u + by, 0.01) for u in ups] for by in (-step, step)])
            failed = "; ".join(stay.values())
            rows = [moved_to(one, over[0]) for one in moved]
            for one in moved:
                fewer |= _with_fewer(project.layout, one.layout)
        except InputError as error:
            failed = str(error)
    name = analysis.limits[worst.limit].target_name[worst.target]
    clamp = np.flatnonzero([one == name for one in project.layout.clamp_name])
    clamps = [(float("nan"), "")]
    if len(clamp):
        apart = replace(project, layout=_spread_apart(project, int(clamp[0]), step))
        clamps = [moved_to(apart, over[1])]
    row, at, soft = max(rows), clamps[0], softer(analysis, project, memory)
    return Tolerance(
        step,
        soft * row[0],
        row[1],
        soft * at[0],
        at[1],
        tuple(sorted(fewer)),
        failed,
        tuple(stay),
        *(others_over(found, analysis.limits) for found in over),
    )


def _with_fewer(planned: Layout, moved: Layout) -> set[str]:
    """Rows with fewer clamps than planned."""
    count, now = (np.bincount(one.clamp_row, minlength=len(one.row_name)) for one in (planned, moved))
    return {name for name, was, left in zip(planned.row_name, count, now, strict=True) if left < was}


def _spread_apart(project: Project, clamp: int, step: float) -> Layout:
    """The two neighbors of a clamp off along the rail, away from it; the rail carries more to it. [m]."""
    layout = project.layout
    row, s = layout.clamp_row[clamp], layout.clamp_s.copy()
    way = (layout.row_end[row] - layout.row_start[row]) / layout.row_length[row]
    for other, sign in ((clamp - 1, -1.0), (clamp + 1, 1.0)):
        if 0 <= other < len(s) and layout.clamp_row[other] == row:
            s[other] = np.clip(s[other] + sign * step, 0.0, layout.row_length[row])
    moved = s - layout.clamp_s
    return replace(layout, clamp_s=s, clamp_uv=layout.clamp_uv + moved[:, None] * way)


def _attachment(project: Project, memory: Memory | None) -> tuple[float, str]:
    return _worst(check_limits(project, memory))


def _worst(limits: tuple[Limit, ...]) -> tuple[float, str]:
    """Utilization and name of the most used attachment."""
    worst = worst_attachment(limits)
    if worst is None:
        return 0.0, ""
    return worst.utilization, limits[worst.limit].target_name[worst.target]


Change = Callable[[Project, float], Project]


def _inputs(project: Project) -> list[tuple[str, Change]]:
    """Inputs with what changes them."""
    rail, clamp = project.rail, project.clamp
    section = rail.section
    found: list[tuple[str, Change]] = [
        (
            MEASURED_DEPTH if isinstance(project.site, DirectSite) else GROUND_SNOW,
            lambda p, f: replace(p, site=_more_snow(p.site, f)),
        ),
        (
            "clamp strength, all directions",
            lambda p, f: replace(p, clamp=replace(clamp, strength=clamp.strength * f)),
        ),
        (
            "clamp stiffness",
            lambda p, f: replace(
                p, clamp=replace(clamp, stiffness=clamp.stiffness * f, along=clamp.along * f)
            ),
        ),
        (
            "height of the rail over the grip",
            lambda p, f: replace(p, clamp=replace(clamp, height=clamp.height * f)),
        ),
        (
            "length of the grip",
            lambda p, f: replace(p, clamp=replace(clamp, grip_length=clamp.grip_length * f)),
        ),
        (
            "stiffness of the rail, bending and torsion",
            lambda p, f: replace(
                p,
                rail=replace(
                    rail,
                    section=replace(
                        section,
                        I_y=section.I_y * f,
                        I_z=section.I_z * f,
                        I_yz=section.I_yz * f,
                        J=section.J * f,
                    ),
                ),
            ),
        ),
        *_screw_inputs(project),
        *_site_inputs(project.site),
    ]
    if project.table.as_built is None:
        found.append((ROW_DISTANCE, lambda p, f: _scaled(p)[0][f > 1.0]))
        found.append((SEAM_SPACING, _wider_seams))
    if not np.isnan(project.panel.anchorage):
        found.append(
            (
                "panel anchorage",
                lambda p, f: replace(p, panel=replace(p.panel, anchorage=p.panel.anchorage * f)),
            )
        )
    if project.slide.friction > 0.0:
        found.append(
            (
                FRICTION,
                lambda p, f: replace(p, slide=replace(p.slide, friction=p.slide.friction * f)),
            )
        )
    if rail.thermal != 0.0:
        found.append(
            ("change of temperature", lambda p, f: replace(p, rail=replace(rail, thermal=rail.thermal * f)))
        )
    return found + _judgments(project)


def _scaled(project: Project) -> tuple[list[Project], dict[str, str]]:
    """The project with rows nearer to the eave and farther from it, and rows that cannot be."""
    return moved_rows(project, [[row.up * f for row in project.table.row] for f in (1.0 - STEP, 1.0 + STEP)])


def _screw_inputs(project: Project) -> list[tuple[str, Change]]:
    """What brackets on screws are made of, as far as it is given and counts."""
    clamp, screws = project.clamp, project.clamp.screws
    if screws is None:
        return []
    tested = ~np.isnan(screws.tested_nominal)
    calculated = {
        "thickness of the bracket's base": ("base_thickness", not tested[[0, 2]].all()),
        "thickness of the steel below the screws": ("support_thickness", not tested[:2].all()),
        "diameter of the screws": ("diameter", not tested[:2].all()),
    }
    found = [
        (name, _screws_with(screws, (field,)))
        for name, (field, counts) in calculated.items()
        if counts and not np.isnan(getattr(screws, field))
    ]
    found.append(("distance of the screws in their bracket", _screws_with(screws, ("place", "base"))))
    if not np.isnan(screws.own).all():
        found.append(("strength of the screws themselves", _screws_with(screws, ("own",))))
    if tested.any():
        found.append(("tested strength of the screws", _screws_with(screws, ("tested", "tested_nominal"))))
    found.append(
        (
            "height of the grip over the sheet",
            lambda p, f: replace(p, clamp=replace(clamp, grip_height=clamp.grip_height * f)),
        )
    )
    return found


def _screws_with(screws: Screws, fields: tuple[str, ...]) -> Change:
    def change(project: Project, factor: float) -> Project:
        changed: dict[str, Any] = {field: getattr(screws, field) * factor for field in fields}
        other = replace(screws, **changed)
        rule = project_rule(project)
        if set(screw_strength(screws, rule).missing) != set(screw_strength(other, rule).missing):
            message = f"{rule} does not speak of so thin a sheet"
            raise InputError(message)
        return replace(project, clamp=replace(project.clamp, screws=other))

    return change


def _wider_seams(project: Project, factor: float) -> Project:
    panel = replace(project.panel, seam_spacing=project.panel.seam_spacing * factor)
    wider = with_rows(replace(project, panel=panel), project.table.row)
    loose = loose_rows(wider.layout, project.rail, project.clamp)
    names = ", ".join(row for row, why in zip(wider.layout.row_name, loose, strict=True) if why)
    if names:
        message = f"row {names}: too few clamps are left to hold the rail, short for its row.every"
        raise InputError(message)
    return wider


def _site_inputs(site: Site) -> list[tuple[str, Change]]:
    """What a standard makes of the ground snow: its factors as they come out, within what it allows."""
    if isinstance(site, AsceSite):
        exposure, thermal = validate_asce(site)
    elif isinstance(site, Asce16Site):
        exposure, thermal = validate_asce_16(site)
    elif isinstance(site, EnSite):
        exposure, thermal = validate_en(site), site.thermal_factor
    elif isinstance(site, NbccSite):
        rain = site.associated_rain
        return [_field(RAIN, "associated_rain", rain, (0.0, 5e3))] if rain > 0.0 else []
    else:
        return []
    most = (0.5, 1.2) if isinstance(site, EnSite) else (0.8, 1.4)
    found = [
        _field(EXPOSURE, "exposure_factor", exposure, (0.5, 1.5)),
        _field(THERMAL, "thermal_factor", thermal, most),
    ]
    if isinstance(site, AsceSite):
        found.append(_field(WINTER_WIND, "winter_wind", site.winter_wind, (0.1, 0.9)))
    if isinstance(site, EnSite):
        found.append(_field(DRIFT_WEIGHT, "drift_weight", site.drift_weight, (500.0, 9000.0)))
    return found


def _field(name: str, field: str, value: float, bounds: tuple[float, float]) -> tuple[str, Change]:
    def change(project: Project, factor: float) -> Project:
        changed: dict[str, Any] = {field: min(max(value * factor, bounds[0]), bounds[1])}
        return replace(project, site=replace(project.site, **changed))

    return name, change


def _judgments(project: Project) -> list[tuple[str, Change]]:
    """Choices without a source that a project may change, each only where it can matter."""
    found: list[tuple[str, Change]] = []
    slide, layout = project.slide, project.layout
    if EdgeKind.VALLEY in project.roof.edges.kind:
        found.append(
            (
                VALLEY_SPREAD,
                lambda p, f: replace(p, slide=replace(slide, valley_spread=slide.valley_spread * f)),
            )
        )
    if not layout.row_full.all():
        found.append(
            (END_SPREAD, lambda p, f: replace(p, slide=replace(slide, spread_angle=slide.spread_angle * f)))
        )
    return found


def _more_snow(site: Site, factor: float) -> Site:
    if isinstance(site, DirectSite):

        def deeper(layers: tuple[SnowLayer, ...]) -> tuple[SnowLayer, ...]:
            return tuple(replace(layer, depth=layer.depth * factor) for layer in layers)

        planes = {name: deeper(layers) for name, layers in site.plane_layers.items()}
        return replace(site, layers=deeper(site.layers), plane_layers=planes)
    return replace(site, ground_snow=site.ground_snow * factor)
