"""Steps of the hand check from the force on a clamp to its utilization."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.checks.anchorage import held_along
from fea.checks.governing import Governing
from fea.checks.limits import (
    HEEL,
    TOE,
    as_tested,
    clamp_components,
    component_utilization,
    excess_moment,
    interact,
    tested_force,
)
from fea.checks.strips import panel_strips
from fea.rails.actions import GIVEN
from roofmodel.hardware import Clamp, DesignFormat, Interaction
from roofmodel.profiles.data import Section
from viewer.report.plain_beam import lever
from viewer.report.working_parts import ClampAt, Expression, Number, Step, part_step
from viewer.report.working_screws import is_screw_limit, screw_reading

Array = NDArray[np.float64]

DIRECTIONS = ("along", "across", "pull", "push", "roll", "twist")
_FACTOR = {DesignFormat.ASD: "Ω", DesignFormat.LRFD: "φ", DesignFormat.EN: "γ_M"}
LISTED = 8  # clamps of a seam named one by one


def clamp_at(analysis: Analysis, clamp: int, case: int, limit: str) -> ClampAt:
    """Find the worst reading of the combination and the parts of the along-seam force there."""
    device, basis = analysis.project.clamp, analysis.basis
    force = analysis.clamp_force[case, :, clamp]
    components = clamp_components(force, device)
    use = component_utilization(components, device, _scale(analysis))
    combined = interact(np.nan_to_num(use, nan=0.0), device.interaction)
    single = next((i for i, name in enumerate(DIRECTIONS) if _limit_name(name) == limit), None)
    measure = combined if single is None else components[:, single]
    if is_screw_limit(limit):
        measure = screw_reading(analysis, force, limit)
    # Of equals, temperature as given counts, and the top: it holds the larger moment.
    worst, readings = np.flatnonzero(measure >= measure.max()), analysis.readings
    reading = int(max(worst, key=lambda i: (readings[i].warmth, not readings[i].held, readings[i].top)))
    top, warmth, held = readings[reading].top, readings[reading].warmth, readings[reading].held
    unit = analysis.responses[reading // len(basis.readings)].clamp_force[:, clamp]
    q = basis.cases
    snow = unit[case] + top * unit[q + case]
    return ClampAt(
        clamp=clamp,
        case=case,
        top=top,
        temperature=", reversed" * (warmth < 0.0) + ", with second fixed points that hold" * held,
        parts=np.stack([snow, unit[2 * q + case], unit[3 * q], warmth * unit[3 * q + 1 + held]]),
        force=force[reading],
        state=reading // len(basis.readings),
    )


def _limit_name(direction: str) -> str:
    return {
        "along": "clamp along the seam",
        "across": "clamp across the seam",
        "pull": "clamp pull-off",
        "push": "clamp push",
        "roll": "clamp roll moment",
        "twist": "clamp twist moment",
    }[direction]


def _scale(analysis: Analysis) -> float:
    return float(np.abs(analysis.clamp_force[..., 0]).max(initial=0.0))


def moment_steps(analysis: Analysis, at: ClampAt) -> tuple[Step, ...]:
    """Overturning at the grip, and the pull and push that hold it."""
    project = analysis.project
    clamp = project.clamp
    along, moment = abs(float(at.force[0])), abs(float(at.force[4]))
    arm = lever(analysis, at)
    steps = []
    if arm * along > 0.0 and moment > 0.0:
        where = _where(project.rail.section, top=at.top)
        steps.append(
            Step(
                "Overturning moment at the grip",
                "M",
                "k_M F e",
                (
                    Number(moment / (along * arm)),
                    " × ",
                    Number(along, "force"),
                    " × ",
                    Number(arm, "size"),
                ),
                Number(moment, "grip moment"),
                f"e from the grip up to {where}; k_M = M / (F e), M from the same frame as R",
                "k_M: the part of its own moment F e that the clamp keeps; the rail's twist passes the rest "
                "to its neighbors, or brings it more than its own.",
            )
        )
    over = 0.0
    if as_tested(at.force, clamp):
        steps.append(_tested_step(at, clamp))
    else:
        over = float(excess_moment(at.force, clamp))
        steps.append(_excess_step(at, over, clamp))
    return (*steps, *_lift_steps(analysis, at, over))


def _where(section: Section, *, top: bool) -> str:
    """What the lever of the force reaches up to, as `Section.highest_top`."""
    if not top:
        return "the rail's axis"
    if math.isclose(section.highest_top, 0.5 * section.depth_z, rel_tol=1e-6):
        return "the rail's top"
    return "the rail's axis, and on by the distance of its farther face, at least that of its top"


def _tested_step(at: ClampAt, clamp: Clamp) -> Step:
    """The force at the test's height that is as hard on the grip."""
    along, moment = abs(float(at.force[0])), abs(float(at.force[4]))
    force = (Number(along, "force"),)
    turning = (Number(moment, "grip moment"), " / ", Number(clamp.test_height, "size"))
    note = "Less force with the same moment does no more harm (judgment); F_t then stands for both."
    formula = "max(F, M / h_t)"
    expression: Expression = ("max(", *force, ", ", *turning, ")")
    if float(at.force[0]) * float(at.force[4]) < 0.0:
        formula, expression = "F + M / h_t", (*force, " + ", *turning)
        note = "M turns against F, unlike in the test: both add up (judgment)."
    return Step(
        "Force at the test height that is as hard on the grip",
        "F_t",
        formula,
        expression,
        Number(float(tested_force(at.force, clamp)), "force"),
        f"h_t height of the force in the test; {clamp.test_basis or 'test basis not given'}",
        note,
    )


def _excess_step(at: ClampAt, over: float, clamp: Clamp) -> Step:
    """Moment that the test did not hold."""
    along, moment = abs(float(at.force[0])), abs(float(at.force[4]))
    same_way = float(at.force[0]) * float(at.force[4]) >= 0.0
    return Step(
        "Beyond what the strength test held already",
        "M_x",
        "max(M − F h_t, 0)",
        (
            "max(",
            Number(moment, "grip moment"),
            " − ",
            Number(along, "force"),
            " × ",
            Number(clamp.test_height if same_way else 0.0, "size"),
            ", 0)",
        ),
        Number(over, "grip moment"),
        f"h_t height of the force in the test; {clamp.test_basis or 'test basis not given'}",
        "" if same_way else "The grip turns against the way of the test, which therefore held none of it.",
    )


def _lift_steps(analysis: Analysis, at: ClampAt, over: float) -> tuple[Step, ...]:
    """Pull and push of the grip; none where nothing lifts or presses."""
    clamp, normal = analysis.project.clamp, float(at.force[2])
    steps = []
    for symbol, name, share, word, factor in (
        ("P", "Pull away from the roof", max(normal, 0.0), "N_+", TOE),
        ("Q", "Push toward the roof", max(-normal, 0.0), "N_−", HEEL),
    ):
        value = share + factor * over / clamp.grip_length
        if value == 0.0:
            continue
        if share > 0.0:
            steps.append(part_step(analysis, at, 2))
        if as_tested(at.force, clamp):
            how = "the step before; F_t stands for all overturning"
            steps.append(Step(name, symbol, word, (Number(share, "force"),), Number(value, "force"), how))
            continue
        steps.append(
            Step(
                name,
                symbol,
                f"{word} + {factor:g} M_x / L",
                (
                    Number(share, "force"),
                    " + ",
                    Number(factor, "factor"),
                    " × ",
                    Number(over, "grip moment"),
                    " / ",
                    Number(clamp.grip_length, "size"),
                ),
                Number(value, "force"),
                "rigid grip turning about one end, triangle of pressure (equilibrium; judgment)",
                f"L grip length; {word} is {'the step before' if share > 0.0 else 'zero here'}.",
            )
        )
    return tuple(steps)


def use_steps(analysis: Analysis, at: ClampAt) -> tuple[tuple[Step, ...], tuple[str, ...]]:
    """Utilization by direction and together; directions without a strength in words."""
    clamp = analysis.project.clamp
    components = clamp_components(at.force, clamp)
    use = component_utilization(components, clamp, _scale(analysis))
    symbols = ("F_t" if as_tested(at.force, clamp) else "F", "A", "P", "Q", "M_r", "M_t")
    steps: list[Step] = []
    for i in np.flatnonzero(np.nan_to_num(use, nan=0.0) > 0.0):
        kind = "force" if i < 4 else "grip moment"
        if i in (1, 4, 5):
            steps.append(part_step(analysis, at, {1: 1, 4: 3, 5: 5}[int(i)]))
        steps.append(
            Step(
                f"Utilization, {_limit_name(DIRECTIONS[i]).removeprefix('clamp ')}",
                f"u_{DIRECTIONS[i]}",
                f"{symbols[i]} / {_resistance_formula(analysis)}",
                (
                    Number(float(components[i]), kind),
                    " / ",
                    *_resistance(analysis, float(clamp.nominal[i]), clamp.factor, kind),
                ),
                Number(float(use[i])),
                f"{clamp.strength_kind} strength from the project file",
            )
        )
    missing = tuple(
        f"{_limit_name(DIRECTIONS[i])}, demand without a strength" for i in np.flatnonzero(np.isnan(use))
    )
    steps.append(_interaction_step(use, clamp.interaction, bool(missing)))
    return tuple(steps), missing


def _resistance_formula(analysis: Analysis, symbol: str = "R_n") -> str:
    form = DesignFormat(analysis.project.table.design.format)
    return f"({symbol} × φ)" if form is DesignFormat.LRFD else f"({symbol} / {_FACTOR[form]})"


def _resistance(analysis: Analysis, nominal: float, factor: float, kind: str) -> Expression:
    form = DesignFormat(analysis.project.table.design.format)
    sign = " × " if form is DesignFormat.LRFD else " / "
    return ("(", Number(nominal, kind), sign, Number(factor, "factor"), ")")


def _interaction_step(use: Array, rule: Interaction, partial: bool) -> Step:
    known = np.nan_to_num(use, nan=0.0)
    parts = [("u_along", known[0]), ("u_across", known[1]), *_normal(known)]
    parts += [("u_roll", known[4]), ("u_twist", known[5])]
    parts = [(name, float(value)) for name, value in parts if value > 0.0] or [("u_along", 0.0)]
    names = [name for name, _ in parts]
    numbers: list[str | Number] = []
    square = "²" if rule is Interaction.CIRCULAR else ""
    joint = ", " if rule is Interaction.SEPARATE else " + "
    for _, value in parts:
        numbers += [joint if numbers else "", Number(value), square]
    body = joint.join(f"{name}{square}" for name in names)
    if rule is Interaction.LINEAR:
        formula, expression = body, (*numbers,)
    elif rule is Interaction.CIRCULAR:
        formula, expression = f"√({body})", ("√(", *numbers, ")")
    else:
        formula, expression = f"max({body})", ("max(", *numbers, ")")
    return Step(
        "Utilization, all directions together" + (" that have a strength" if partial else ""),
        "u",
        formula,
        tuple(part for part in expression if part != ""),
        Number(float(interact(known, rule))),
        f"{rule} interaction; of pull and push, at opposite ends of the grip, the worse counts",
        "Directions without a strength are missing here: NOT VERIFIED." if partial else "",
    )


def _normal(known: Array) -> list[tuple[str, float]]:
    return [("u_pull", known[2])] if known[2] >= known[3] else [("u_push", known[3])]


def anchorage_steps(analysis: Analysis, governing: Governing) -> tuple[Step, ...]:
    """Force of the strip on its fixed point, and its utilization."""
    panel = analysis.project.panel
    drag = float(analysis.limits[governing.limit].demand[governing.case, governing.target])
    along, rest, restrained, up = _strip_forces(analysis, governing)
    names: list[str] = []
    parts: list[str | Number] = []
    if along.sum() > 0.0:
        names.append("Σ F")
        for value in along:
            parts += [" + ", Number(float(value), "force")]
    layout = analysis.project.layout
    on = np.flatnonzero(panel_strips(layout)[0] == governing.target)
    listed = ", ".join(layout.clamp_name[clamp] for clamp in on[:LISTED]) + (
        " and others" if len(on) > LISTED else ""
    )
    words = [f"F of all clamps on the seam ({listed}) in this case, each found as the one above"]
    for name, value, what in (
        (
            "G_p",
            rest,
            "the strip's own weight down the slope, the snow's friction on it and what solar arrays bring",
        ),
        ("W", restrained, "what second fixed points bring by warmth, whichever of them hold"),
    ):
        if value > 1e-9 * drag:
            names.append(name)
            parts += [" + ", Number(value, "force")]
            words.append(f"{name} is {what}")
    total = Step(
        f"Force of the panel strip on its fixed point, {'up' if up else 'down'} the slope",
        "D",
        " + ".join(names),
        tuple(parts[1:]),
        Number(drag, "force"),
        "; ".join(words),
        ""
        if analysis.basis.readings == GIVEN
        else "Temperature counts as given, reversed or not at all, and only where it adds: F here can be "
        "more than in the steps before.",
    )
    use = Step(
        "Utilization of the panel anchorage",
        "u_anchorage",
        f"D / {_resistance_formula(analysis, 'A_n')}",
        (
            Number(drag, "force"),
            " / ",
            *_resistance(analysis, panel.anchorage_nominal, panel.anchorage_factor, "force"),
        ),
        Number(governing.utilization),
        "anchorage strength from the project file, taken to hold both ways (judgment)",
    )
    return (total, use)


def _strip_forces(analysis: Analysis, governing: Governing) -> tuple[Array, float, float, bool]:
    """Of a governing strip: clamps, weight and friction, second points, [N]; and whether they go up."""
    strip, _ = panel_strips(analysis.project.layout)
    readings = analysis.basis.readings
    along = analysis.clamp_force[governing.case][:, strip == governing.target, 0]
    states = along.reshape(-1, len(readings), along.shape[1])
    ways = [held_along(states, readings, s).reshape(-1, along.shape[1]) for s in (1.0, -1.0)]
    down, up = (way[np.argmax(way.sum(axis=1))] for way in ways)
    at, loads = (governing.case, governing.target), analysis.strip_loads
    rest, restrained = float(loads.snow[at] + loads.weight[at]), float(loads.restrained[at])
    if max(float(up.sum()), 0.0) > max(float(down.sum()), 0.0) + rest:
        return up, 0.0, restrained, True
    return down, rest, restrained, False
