"""What a clamp's force consists of: snow, end bound, dead load and temperature, each with its factor."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from fea.analysis import Analysis
from viewer.combining import combination
from viewer.quantities import quantity, system

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Number:
    """A quantity in SI and its kind in `viewer.quantities`.

    Kinds without a unit are "ratio", a result, and "factor", which is given and printed as it is.
    """

    value: float
    kind: str = "ratio"


Expression = tuple["str | Number", ...]


@dataclass(frozen=True)
class Feeder:
    """A plane that feeds a step: plan area [m^2], mean pressure [Pa], slope [rad], part that arrives.

    `region` is where on plan that snow lies, of which `area` counts what really arrives. [m]
    """

    plane: int
    area: float
    pressure: float
    slope: float
    part: float
    region: BaseGeometry

    def force(self, friction: float) -> float:
        """Thrust that it brings. [N]."""
        pull = np.sin(self.slope) - friction * np.cos(self.slope)
        return float(self.pressure * self.area * pull * self.part)


@dataclass(frozen=True)
class Step:
    """One line of the hand check.

    Attributes
    ----------
    title : str
    symbol, formula : str
        The result and its formula in symbols; underscores begin subscripts.
    expression : tuple of str and Number
        The formula with numbers; text parts are operators: + − × / ( ) and the functions sin, cos, max, √.
    result : Number
    source : str
        Clause, test or model that the step rests on.
    note : str
    feeders : tuple of Feeder
        Planes whose snow the step adds up, in the order of the expression.
    places : str
        Where their areas lie, for readers without the table and the drawing of them.
    """

    title: str
    symbol: str
    formula: str
    expression: Expression
    result: Number
    source: str
    note: str = ""
    feeders: tuple[Feeder, ...] = ()
    places: str = ""


@dataclass(frozen=True)
class ClampAt:
    """One clamp in one case with the force at one height and temperature one way.

    `parts` (4, 6) are the unfactored effects of snow, end bound, dead load and temperature on the grip, and
    `force` (6,) their factored sum; `temperature` says what is not as given; `state` is that of panels and
    splices.
    """

    clamp: int
    case: int
    top: bool
    temperature: str
    parts: Array
    force: Array
    state: int = 0


LEFT_OUT = 5e-5  # parts of A, N and moments that four digits do not show [-]

# Index in the force at the grip: title, symbol, kind.
_PARTS = {
    1: ("Factored force across the seam", "A", "force"),
    2: ("Factored force square to the roof", "N", "force"),
    3: ("Factored roll moment about the seam", "M_r", "grip moment"),
    5: ("Factored twist moment square to the roof", "M_t", "grip moment"),
}
_WHY = {
    1: "A force across comes from a seam that does not run along the fall line or square to the rail, and "
    "from temperature",
    2: "N comes from the rail's own weight and from the rail's torsion and bending between its clamps",
    3: "A roll moment comes from forces across the seam at the height of the rail",
    5: "A twist moment comes from the rail's bending down the slope and from a seam that is not square to it",
}

_ASKEW = (
    "a profile that is not alike on both sides (its product of inertia bends it askew and tips its ends at "
    "the height of the rail)"
)


EndSteps = Callable[[Analysis, "ClampAt", float], tuple[Step, ...]]
BeamWords = Callable[[Analysis, "ClampAt"], str]


def force_steps(
    analysis: Analysis, at: ClampAt, end_steps: EndSteps, beam_words: BeamWords
) -> tuple[Step, ...]:
    """Continuity of the rail, what comes from beside by `end_steps`, and the factored force along the seam.

    Parameters
    ----------
    analysis : Analysis
    at : ClampAt
    end_steps : callable
        Steps from E, the share of the bounds that the frame gives. [N]
    beam_words : callable
        How to find k again by hand.
    """
    total = float(analysis.tributary[at.case, at.clamp])
    snow, ends = float(at.parts[0, 0]), float(at.parts[1, 0])
    largest = float(np.abs(analysis.clamp_force[..., 0]).max(initial=0.0))
    steps = []
    if total > 1e-9 * max(largest, 1.0):
        steps.append(
            Step(
                "Continuity of the rail",
                "R",
                "k T",
                (Number(snow / total), " × ", Number(total, "force")),
                Number(snow, "force"),
                "k = R / T; R from the frame: the clamp's reaction under this case's unfactored snow alone"
                f"{_torque_words(analysis, at)}",
                f"{_frame_words(analysis, at)}{beam_words(analysis, at)}".strip(),
            )
        )
    _, kept = _terms(analysis, at, 0, "R")
    if any(name == "γ_S E" for name, _, _ in kept):
        steps += end_steps(analysis, at, ends)
    words = {"γ_S E": "E: part of the upper bounds of snow from beside, which the step before gives"}
    words["γ_D G"] = "G: rail's own weight"
    words["γ_T H"] = f"H: restrained temperature{at.temperature}, the same frame without snow"
    note = "; ".join(words[name] for name, _, _ in kept if name in words)
    steps.append(
        Step(
            "Factored force along the seam",
            "F",
            " + ".join(name for name, _, _ in kept),
            _sum(kept, "force", 1.0),
            Number(float(at.force[0]), "force"),
            combination(analysis, at.case),
            f"{note}; from the frame." if note else "",
        )
    )
    return tuple(steps)


def _torque_words(analysis: Analysis, at: ClampAt) -> str:
    """That a load at the rail's top brings the torque of snow from beside too, though E has its force."""
    force, row = analysis.force, analysis.project.layout.clamp_row[at.clamp]
    beside = force.end_bound[at.case, row].any() or force.aside[at.case, force.row == row].any()
    return (
        ", and the torque of snow from beside, at the rail's top, whose force is in E"
        if at.top and beside
        else ""
    )


def _frame_words(analysis: Analysis, at: ClampAt) -> str:
    """What the frame is made of at a clamp, so that R can be found again."""
    project = analysis.project
    layout, units = project.layout, system(project.table.project.units)
    row = layout.clamp_row[at.clamp]
    near = [c for c in (at.clamp - 1, at.clamp + 1) if 0 <= c < len(layout.clamp_row)]
    near = [c for c in near if layout.clamp_row[c] == row]
    apart = np.abs(layout.clamp_s[near] - layout.clamp_s[at.clamp])
    beside = "; ".join(
        f"{layout.clamp_name[c]} {quantity(float(away), 'length', units)} away with "
        f"T = {quantity(float(analysis.tributary[at.case, c]), 'force', units)}"
        for c, away in zip(near, apart, strict=True)
    )
    splices = analysis.states[at.state].splices
    return (
        "k: how the stiff rail shares out between clamps; 1 is the clamp's own stretch alone"
        + (f". Beside it: {beside}. " if beside else ". ")
        + (f"In the worse state {splices}. " if splices else "")
    )


def _terms(
    analysis: Analysis, at: ClampAt, direction: int, snow: str, least: float = 1e-6
) -> tuple[list[tuple[str, float, float]], list[tuple[str, float, float]]]:
    """Symbol, factor and unfactored effect of every part, and those above the least share of the sum."""
    factors = analysis.factors[at.case]
    names = (f"γ_S {snow}", "γ_S E", "γ_D G", "γ_T H")
    gammas = (factors.snow, factors.snow, factors.dead, factors.thermal)
    terms = [
        (name, gamma, float(value))
        for name, gamma, value in zip(names, gammas, at.parts[:, direction], strict=True)
    ]
    size = min(abs(sum(g * value for _, g, value in terms)), max(abs(value) for _, _, value in terms))
    return terms, [term for term in terms if abs(term[1] * term[2]) > least * size] or terms[:1]


def _sum(terms: list[tuple[str, float, float]], kind: str, sign: float) -> Expression:
    expression: list[str | Number] = []
    for _, factor, value in terms:
        expression += [
            " + " if expression else "",
            Number(factor, "factor"),
            " × ",
            Number(sign * value, kind),
        ]
    return tuple(part for part in expression if part != "")


def part_step(analysis: Analysis, at: ClampAt, direction: int) -> Step:
    """What the force or moment at the grip in one direction consists of, as a size."""
    title, symbol, kind = _PARTS[direction]
    value = float(at.force[direction])
    sign = math.copysign(1.0, value)
    if direction == 2:
        symbol = "N_+" if value > 0.0 else "N_−"
    terms, kept = _terms(analysis, at, direction, "S", LEFT_OUT)
    kept_names = {name for name, _, _ in kept}
    meaning = {"γ_S S": "S snow", "γ_S E": "E end bound", "γ_D G": "G rail's own weight"}
    parts = [meaning[name] for name, _, _ in kept if name in meaning]
    note = "; ".join(parts)
    if "γ_T H" in kept_names:
        worth = abs(terms[3][1] * terms[3][2])
        words = f"H restrained temperature ({100.0 * worth / max(abs(value), 1e-12):.0f} % of {symbol})"
        note = f"{note}; {words}" if note else words
        why = _WHY[direction] if direction == 1 else f"{_WHY[direction]}, and from temperature"
        cause = f"{why}: the rail changes its length between clamps that hold it."
    else:
        cause = f"{_WHY[direction].removesuffix(', and from temperature')}."
    if direction == 1 and analysis.project.rail.section.I_yz != 0.0:
        cause = cause.replace("A force across comes from", f"A force across comes from {_ASKEW},")
    left_out = any(abs(value) > 0.0 for name, _, value in terms if name not in kept_names)
    rest = " What adds less than 1/20,000 is left out." if left_out else ""
    return Step(
        title,
        symbol,
        " + ".join(name for name, _, _ in kept),
        _sum(kept, kind, sign),
        Number(abs(value), kind),
        "effects on the grip from the frame, with the factors of the combination",
        f"{note}. {cause}{rest}",
    )
