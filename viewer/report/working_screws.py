"""Steps of the hand check for the most used screw of a bracket."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.checks.limits import LOADED
from fea.checks.screw_strength import (
    ONE_SIDED,
    Pair,
    Part,
    ScrewStrength,
    least,
    screw_rule,
    screw_strength,
)
from fea.checks.screws import (
    BOTH,
    OUT,
    OVER,
    SCREW_LIMITS,
    SHEAR,
    TENSION,
    ScrewUse,
    base_forces,
    levers,
    screw_forces,
    screw_use,
)
from roofmodel.hardware import DesignFormat
from roofmodel.screws import Screws
from viewer.quantities import quantity, system
from viewer.report.working_parts import ClampAt, Expression, Number, Step

Array = NDArray[np.float64]

GROUP = "elastic screw group about its center (textbook)"
SMALL = 1e-5  # part of a sum that four digits do not show [-]
ASIDE = 1e-4  # the same where squares add up [-]


def is_screw_limit(name: str) -> bool:
    """Whether a limit is one of the screws."""
    return name in SCREW_LIMITS


def screw_reading(analysis: Analysis, force: Array, limit: str) -> Array:
    """Use (v,) of a screw limit in every reading of one clamp's forces (v, 6), unknown ones 0."""
    return np.asarray(np.nan_to_num(_use(analysis, force).by[limit], nan=0.0).max(axis=1))


def _strength(analysis: Analysis) -> ScrewStrength:
    project = analysis.project
    screws = project.clamp.screws
    assert screws is not None
    form = DesignFormat(project.table.design.format)
    return screw_strength(screws, screw_rule(form, project.site.standard))


def _use(analysis: Analysis, force: Array) -> ScrewUse:
    return screw_use(force, analysis.project.clamp, _strength(analysis), _scale(analysis))


def _scale(analysis: Analysis) -> float:
    """What `screw_limits` measures by what counts as loaded. [N]."""
    return float(np.abs(analysis.clamp_force[..., 0]).max(initial=0.0))


def screw_entries(analysis: Analysis) -> list[tuple[str, float, str]]:
    """Design strengths of one screw for the table of hardware; none without screws."""
    if analysis.project.clamp.screws is None:
        return []
    strength = _strength(analysis)
    parts = (*strength.shear, *strength.out, *strength.over, *strength.tension)
    return [(f"Design strength of one screw, {part.name}", part.design, "force") for part in parts]


@dataclass(frozen=True)
class _Screw:
    """The screw that is followed, in one reading: forces at the sheet, and on the screw."""

    index: int
    screws: Screws
    at: Array
    shear: Array
    pull: float


def screw_steps(analysis: Analysis, at: ClampAt, limit: str) -> tuple[Step, ...]:
    """From the force at the grip to the use of a screw limit.

    Parameters
    ----------
    analysis : Analysis
    at : ClampAt
        In the reading that uses most of the limit.
    limit : str
    """
    clamp = analysis.project.clamp
    screws = clamp.screws
    assert screws is not None
    use = _use(analysis, at.force)
    index = int(np.argmax(np.nan_to_num(use.by[limit], nan=0.0)))
    floor = LOADED * _scale(analysis)
    shear, pull = screw_forces(at.force, screws, clamp.grip_height, floor)
    moved = base_forces(at.force, screws, clamp.grip_height)
    screw = _Screw(index, screws, moved, shear[index], float(pull[index]))
    value = float(np.nan_to_num(use.by[limit], nan=0.0)[index])
    strength = _strength(analysis)
    wants_pull, wants_shear = limit != SHEAR, limit in (SHEAR, BOTH)
    steps: list[Step] = []
    if wants_pull and screw.pull > 0.0:
        steps += [*_moments(analysis, at, screw), _pull(analysis, screw)]
    if wants_shear:
        steps += _shear(analysis, at, screw)
    if limit == BOTH:
        return (*steps, *_together(strength, screw, value))
    part, symbol, demand = {
        SHEAR: (
            _worst(strength.shear, value, float(np.hypot(*screw.shear))),
            "V",
            float(np.hypot(*screw.shear)),
        ),
        OUT: (strength.out[0], "T", screw.pull),
        OVER: (strength.over[0], "T", screw.pull),
        TENSION: (strength.tension[0], "T", screw.pull),
    }[limit]
    return (*steps, _nominal(part), _part_use(part, symbol, demand, limit))


def _worst(parts: tuple[Part, ...], use: float, demand: float) -> Part:
    """The part that gives this use, where another one may be missing."""
    known = [part for part in parts if not np.isnan(part.nominal)]
    return least(known) if use > 0.0 and known else least(parts)


def _place(analysis: Analysis, screw: _Screw) -> str:
    units = system(analysis.project.table.project.units)
    along, across = (quantity(float(one), "size", units) for one in screw.screws.place[screw.index])
    count = len(screw.screws.place)
    return (
        f"screw {screw.index + 1} of {count}, at {along} along and {across} across from the bracket's center"
    )


def _moments(analysis: Analysis, at: ClampAt, screw: _Screw) -> list[Step]:
    """Moments at the sheet below the screws' center, those that are there."""
    height = analysis.project.clamp.grip_height
    x, y = screw.screws.place.mean(axis=0)
    force, pull = at.force, float(at.force[2])
    floor = SMALL * float(np.abs(screw.at[3:5]).max())
    rows = (
        (4, "M_s", "M + F h", float(force[4]), float(force[0]), height, pull * x, "x_0", "down the slope"),
        (3, "M_sr", "M_r − A h", float(force[3]), -float(force[1]), height, -pull * y, "y_0", "across it"),
    )
    steps = []
    for index, symbol, formula, moment, push, arm, lift, offset, way in rows:
        if abs(screw.at[index]) <= floor:
            continue
        expression: list[str | Number] = [
            Number(moment, "grip moment"), " + ", Number(push, "force"), " × ", Number(arm, "size"),
        ]  # fmt: skip
        if abs(lift) > 0.0:
            formula += f" + N {offset}"
            expression += [" + ", Number(pull, "force"), " × ", Number(lift / pull, "size")]
        steps.append(
            Step(
                f"Moment at the sheet that tips the bracket {way}",
                symbol,
                formula,
                tuple(expression),
                Number(float(screw.at[index]), "grip moment"),
                "h height of the grip above the sheet; forces and moment at the grip from the frame",
                "Signs: F down the slope, A to the right looking up, N away from the roof, moments as these "
                "forces turn the bracket.",
            )
        )
    return steps


def _pull(analysis: Analysis, screw: _Screw) -> Step:
    share, i, n = levers(screw.screws), screw.index, len(screw.screws.place)
    lift = max(float(screw.at[2]), 0.0)
    parts: list[tuple[str, Expression]] = []
    if lift > SMALL * screw.pull * n:
        parts.append(("N_+ / n", (Number(lift, "force"), " / ", Number(float(n), "factor"))))
    turns = (
        ("M_s", float(screw.at[4]), float(share.tip[i])), ("M_sr", float(screw.at[3]), float(share.roll[i])),
    )  # fmt: skip
    for symbol, moment, by in turns:
        if abs(moment * by) > SMALL * screw.pull:
            lever = Number(1.0 / by, "size")
            parts.append((f"{symbol} / l", (Number(moment, "grip moment"), " / ", lever)))
    edges = (("M_s", float(screw.at[4]), share.tip_edge), ("M_sr", float(screw.at[3]), share.roll_edge))
    for symbol, moment, by in edges:
        if not np.isnan(by) and abs(moment * by) > SMALL * screw.pull:
            lever = Number(1.0 / float(by), "size")
            parts.append((f"|{symbol}| / (n e)", (Number(abs(moment), "grip moment"), " / ", lever)))
    expression: list[str | Number] = []
    for _, numbers in parts:
        expression += [*([" + "] if expression else []), *numbers]
    edge = any("e)" in formula for formula, _ in parts)
    return Step(
        "Pull of the most used screw",
        "T",
        " + ".join(formula for formula, _ in parts),
        tuple(expression),
        Number(screw.pull, "force"),
        f"{GROUP}; {_place(analysis, screw)}",
        "l by places of screws: Σx² / x, x from their center; its sign says which side lifts."
        + (
            " n e: number of screws times two thirds of the way from their line to the base's edge."
            if edge
            else ""
        ),
    )


def _shear(analysis: Analysis, at: ClampAt, screw: _Screw) -> list[Step]:
    share, n = levers(screw.screws), len(screw.screws.place)
    total = float(np.hypot(*screw.shear))
    turn = share.twist[screw.index]
    twist = float(screw.at[5])
    steps, sides = [], []
    for axis, symbol, name, force in (
        (0, "V_a", "F", float(at.force[0])),
        (1, "V_q", "A", float(at.force[1])),
    ):
        value = float(screw.shear[axis])
        if abs(value) <= ASIDE * total:
            continue
        formula = f"{name} / n"
        expression: list[str | Number] = [Number(force, "force"), " / ", Number(float(n), "factor")]
        by = float(np.nan_to_num(turn[axis], nan=0.0))
        if abs(twist * by) > SMALL * total:
            formula += " + M_z / l_z"
            expression += [" + ", Number(twist, "grip moment"), " / ", Number(1.0 / by, "size")]
        way = ("along", "across")[axis]
        steps.append(
            Step(
                f"Shear of the most used screw {way} the seam",
                symbol,
                formula,
                tuple(expression),
                Number(value, "force"),
                f"{GROUP}; {_place(analysis, screw)}",
                "M_z: moment square to the roof about the screws' center, from frame and places; l_z is "
                "Σr² over the screw's distance the other way."
                if "l_z" in formula
                else "",
            )
        )
        sides.append((symbol, value))
    numbers: list[str | Number] = []
    for _, value in sides:
        numbers += [*([" + "] if numbers else []), "(", Number(abs(value), "force"), ")²"]
    whole = Step(
        "Shear of the most used screw",
        "V",
        f"√({' + '.join(f'{symbol}²' for symbol, _ in sides)})",
        ("√(", *numbers, ")"),
        Number(total, "force"),
        "both directions together",
    )
    return [*steps, whole]


def _numbers(part: Part) -> Expression:
    return tuple(one if isinstance(one, str) else Number(*one) for one in part.terms)


def _nominal(part: Part) -> Step:
    return Step(
        f"Strength of one screw: {part.name}",
        "R_n",
        part.formula,
        _numbers(part),
        Number(part.nominal, "force"),
        f"{part.clause}; from memory",
    )


def _part_use(part: Part, symbol: str, demand: float, limit: str) -> Step:
    sign = " / " if part.divides else " × "
    use = demand / part.design
    return Step(
        f"Utilization, {limit}",
        "u_screw",
        f"{symbol} / (R_n{sign}f)",
        (
            Number(demand, "force"), " / (", Number(part.nominal, "force"), sign,
            Number(part.factor, "factor"), ")",
        ),
        Number(use),
        "f: Ω, φ or γ_M of the clause",
    )  # fmt: skip


def _together(strength: ScrewStrength, screw: _Screw, value: float) -> list[Step]:
    """The pair that governs, and what stands in it."""
    shear = float(np.hypot(*screw.shear))

    def use(pair: Pair) -> float:
        return (shear / pair.shear + pair.weight * screw.pull / pair.pull) / pair.bound

    known = [pair for pair in strength.pairs if not np.isnan(use(pair))]
    if not known:
        return []
    pair = min(known, key=lambda one: abs(use(one) - value))
    plain = pair.weight == pair.bound == 1.0
    expression: list[str | Number] = [
        Number(shear, "force"), " / ", Number(pair.shear, "force"), " + ",
    ]  # fmt: skip
    if pair.weight != 1.0:
        expression += [Number(pair.weight, "factor"), " × "]
    expression += [Number(screw.pull, "force"), " / ", Number(pair.pull, "force")]
    if not plain:
        expression = ["(", *expression, ") / ", Number(pair.bound, "ratio")]
    words = "S, P design strengths" if plain else "S, P nominal strengths; B the bound of the clause"
    steps = [_nominal_or_design(part, plain) for part in _behind(strength, pair)]
    return [
        *steps,
        Step(
            f"Utilization, {pair.name}",
            "u_screw",
            "V / S + T / P" if plain else "(V / S + w T / P) / B",
            tuple(expression),
            Number(use(pair)),
            f"{pair.clause}; from memory",
            words,
        ),
    ]


def _behind(strength: ScrewStrength, pair: Pair) -> list[Part]:
    """The strengths that stand in a pair."""
    every = (*strength.shear, *strength.out, *strength.over, *strength.tension)
    wanted = (pair.shear, pair.pull, pair.pull / ONE_SIDED)
    return [part for part in every if part.design in wanted or part.nominal in wanted]


def _nominal_or_design(part: Part, design: bool) -> Step:
    if not design:
        return _nominal(part)
    sign = " / " if part.divides else " × "
    return Step(
        f"Design strength of one screw: {part.name}",
        "R_d",
        f"({part.formula}){sign}f",
        ("(", *_numbers(part), ")", sign, Number(part.factor, "factor")),
        Number(part.design, "force"),
        f"{part.clause}; f: Ω, φ or γ_M; from memory",
    )
