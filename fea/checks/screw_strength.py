"""What one screw of a bracket holds, part by part, with the numbers that a hand check prints.

Clauses of `fea.sections.screws`, from memory. AISI: Omega = 3.0, phi = 0.50, in Canada (limit states design)
0.40; with J4.5.1 2.35, 0.65, 0.55 and with J4.5.2 2.55, 0.60, 0.50. EN: gamma_M2 = 1.25.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from fea.sections import screws as clauses
from roofmodel.hardware import DesignFormat
from roofmodel.project.load import Project
from roofmodel.screws import Screws

Terms = tuple[str | tuple[float, str], ...]  # a formula with its numbers, each with its kind

INCH = 0.0254


class ScrewRule(StrEnum):
    """Standard and format behind the strength of a screw."""

    ASD = "AISI S100-16, allowable strength"
    LRFD = "AISI S100-16, load and resistance factor"
    LSD = "AISI S100-16 (CSA S136), limit states"
    EN = "EN 1993-1-3"
    AISI_NOMINAL = "AISI S100-16, nominal strengths"
    EN_NOMINAL = "EN 1993-1-3, characteristic strengths"


# On one strength; on J4.5.1; on J4.5.2. ASD and EN divide.
_FACTORS = {
    ScrewRule.ASD: (3.0, 2.35, 2.55),
    ScrewRule.LRFD: (0.50, 0.65, 0.60),
    ScrewRule.LSD: (0.40, 0.55, 0.50),
    ScrewRule.EN: (1.25, 1.25, 1.25),
    ScrewRule.AISI_NOMINAL: (1.0, 1.0, 1.0),
    ScrewRule.EN_NOMINAL: (1.0, 1.0, 1.0),
}
_EUROPE, _NOMINAL = (ScrewRule.EN, ScrewRule.EN_NOMINAL), (ScrewRule.AISI_NOMINAL, ScrewRule.EN_NOMINAL)
OWN = 0.8  # of the maker's strength of the screw itself, AISI S100-16 J4.3.2 and J4.4.3
OVER_SHARE, OVER_BOUND, OUT_BOUND, OWN_BOUND = 0.71, 1.10, 1.15, 1.30  # J4.5.1, J4.5.2, J4.5.3
ONE_SIDED = 0.5  # of the pull-over strength where a bracket pulls one-sidedly, J4.5.1
EN_SHEET_FIRST = 1.2  # EN 1993-1-3 8.3: F_v,Rd at least so many times F_b,Rd; else less of F_v,Rd counts
# Where J4.5.1 and J4.5.2 were tested: thickness t1, t2 and diameter from no. 12, from no. 10 on. [m]
OVER_SHEET, OVER_SCREW = (0.0285 * INCH, 0.0445 * INCH), 0.21 * INCH
OUT_SHEET, OUT_SCREW, OUT_RATIO = (0.0297 * INCH, 0.0724 * INCH), 0.186 * INCH, (1.0, 2.0)
OVER_RATIO = 2.5
OVER_STRONGEST, OUT_STRONGEST = 70e3 * 6894.757, 121e3 * 6894.757  # F_u1, F_u2 [Pa]


@dataclass(frozen=True)
class Part:
    """One strength of a screw.

    Attributes
    ----------
    name : str
        Plain words.
    nominal : float
        NaN where a value is missing. [N]
    factor : float
    divides : bool
        Whether the factor divides or multiplies.
    clause, formula : str
    terms : tuple
        The formula with its numbers.
    """

    name: str
    nominal: float
    factor: float
    divides: bool
    clause: str
    formula: str
    terms: Terms

    @property
    def design(self) -> float:
        """Design strength. [N]."""
        return self.nominal / self.factor if self.divides else self.nominal * self.factor


@dataclass(frozen=True)
class Pair:
    """Shear and pull together: (V / S + w T / P) / B <= 1; S and P in newtons, and their words."""

    name: str
    shear: float
    pull: float
    weight: float
    bound: float
    clause: str


@dataclass(frozen=True)
class ScrewStrength:
    """All strengths of one screw.

    Attributes
    ----------
    shear, out, over, tension : tuple of Part
        Of each kind the least counts: shear of the joint and of the screw, pull-out, pull-over, the screw
        itself in tension.
    pairs : tuple of Pair
        Of which the worst counts.
    """

    shear: tuple[Part, ...]
    out: tuple[Part, ...]
    over: tuple[Part, ...]
    tension: tuple[Part, ...]
    pairs: tuple[Pair, ...]

    @property
    def missing(self) -> tuple[str, ...]:
        """Names of the parts without a value."""
        parts = (*self.shear, *self.out, *self.over, *self.tension)
        return tuple(part.name for part in parts if np.isnan(part.nominal))


def screw_rule(form: DesignFormat, standard: str) -> ScrewRule:
    """Rule for a format; the phi of Canada under its code's snow."""
    if form is DesignFormat.EN:
        return ScrewRule.EN
    if form is DesignFormat.LRFD and standard.startswith("NBCC"):
        return ScrewRule.LSD
    return ScrewRule.ASD if form is DesignFormat.ASD else ScrewRule.LRFD


def project_rule(project: Project) -> ScrewRule:
    """Rule for the screws of a project's brackets."""
    return screw_rule(DesignFormat(project.table.design.format), project.site.standard)


def unfactored(rule: ScrewRule) -> ScrewRule:
    """The rule's strengths before its factors, for failures."""
    return ScrewRule.EN_NOMINAL if rule in _EUROPE else ScrewRule.AISI_NOMINAL


def screw_strength(screws: Screws, rule: ScrewRule) -> ScrewStrength:
    """Strengths of one screw by a rule; what is missing is NaN."""
    joint, out, over = (_en if rule in _EUROPE else _aisi)(screws, rule)
    names = ("shear of the joint", "pull-out of the support", "pull-over of the base")
    tests = [_tested(screws, i, name, rule) for i, name in enumerate(names)]
    joint, out, over = (test or part for test, part in zip(tests, (joint, out, over), strict=True))
    joints = (joint, *(() if tests[0] is not None else _edge(screws, rule)))
    own = [
        _own(float(value), what, rule) for value, what in zip(screws.own, ("shear", "tension"), strict=True)
    ]
    pairs = (
        _over_pair(screws, rule, least(joints), over, tested=tests[0] is not None or tests[2] is not None),
        _out_pair(screws, rule, least(joints), out, tested=tests[0] is not None or tests[1] is not None),
        _own_pair(own[0], own[1], rule),
    )
    return ScrewStrength((*joints, own[0]), (out,), (over,), (own[1],), pairs)


def least(parts: Iterable[Part]) -> Part:
    """The part that holds least; one whose strength is missing comes first."""
    return min(parts, key=lambda part: -1.0 if np.isnan(part.nominal) else part.design)


def _divides(rule: ScrewRule) -> bool:
    return rule not in (ScrewRule.LRFD, ScrewRule.LSD)


def _bound(rule: ScrewRule, bound: float, which: int) -> float:
    factor = _FACTORS[rule][which]
    return bound / factor if _divides(rule) else bound * factor


def _part(name: str, nominal: float, rule: ScrewRule, clause: str, formula: str, terms: Terms) -> Part:
    return Part(name, float(nominal), _FACTORS[rule][0], _divides(rule), clause, formula, terms)


def _tested(screws: Screws, index: int, name: str, rule: ScrewRule) -> Part | None:
    value = float(screws.tested_nominal[index])
    if np.isnan(value):
        return None
    clause = "tested strength from the project file"
    terms: Terms = ((value, "force"),)
    factor = 1.0 if rule in _NOMINAL else screws.tested_factor
    return Part(name, value, factor, _divides(rule), clause, "tested", terms)


def _own(value: float, what: str, rule: ScrewRule) -> Part:
    name = f"{what} of the screw itself"
    if rule in _EUROPE:
        clause = "EN 1993-1-3 8.3: declared by the maker, gamma_M2 = 1.25"
        if what == "shear":
            clause += "; the sheet is to give way first (1.2), else less of the screw counts (judgment)"
            first: Terms = ((value, "force"), " / ", (EN_SHEET_FIRST, "factor"))
            return _part(name, value / EN_SHEET_FIRST, rule, clause, "declared / 1.2", first)
        return _part(name, value, rule, clause, "declared", ((value, "force"),))
    clause = f"AISI S100-16 {'J4.3.2' if what == 'shear' else 'J4.4.3'}: 0.8 of the maker's strength"
    terms: Terms = ((OWN, "factor"), " × ", (value, "force"))
    return _part(name, OWN * value, rule, clause, "0.8 P_s", terms)


def _product(factor: float, *sizes: float, stress: float) -> Terms:
    return (
        (factor, "factor"),
        *(part for size in sizes for part in (" × ", (size, "size"))),
        " × ",
        (stress, "sheet strength"),
    )


def _aisi(screws: Screws, rule: ScrewRule) -> tuple[Part, Part, Part]:
    t1, t2, d = screws.base_thickness, screws.support_thickness, screws.diameter
    Fu1, Fu2 = screws.base_ultimate, screws.support_ultimate
    head = min(screws.head, clauses.WIDEST)
    out = _part(
        "pull-out of the support", float(clauses.pull_out(t2, d, Fu2)), rule, "AISI S100-16 J4.4.1",
        "0.85 t_2 d F_u2", _product(0.85, t2, d, stress=Fu2),
    )  # fmt: skip
    over = _part(
        "pull-over of the base", float(clauses.pull_over(t1, head, Fu1)), rule, "AISI S100-16 J4.4.2",
        "1.5 t_1 d_w F_u1", _product(1.5, t1, head, stress=Fu1),
    )  # fmt: skip
    return _aisi_joint(screws, rule), out, over


def _aisi_joint(screws: Screws, rule: ScrewRule) -> Part:
    t1, t2, d = screws.base_thickness, screws.support_thickness, screws.diameter
    Fu1, Fu2 = screws.base_ultimate, screws.support_ultimate
    nominal = float(clauses.joint_shear(t1, t2, d, Fu1, Fu2))
    bears = min(
        ("2.7 t_1 d F_u1", float(clauses.bearing(t1, d, Fu1)), _product(2.7, t1, d, stress=Fu1)),
        ("2.7 t_2 d F_u2", float(clauses.bearing(t2, d, Fu2)), _product(2.7, t2, d, stress=Fu2)),
        key=lambda one: one[1],
    )
    tilt: Terms = (
        (4.2, "factor"), " × √(", (t2, "size"), " × ", (t2, "size"), " × ", (t2, "size"), " × ",
        (d, "size"), ") × ", (Fu2, "sheet strength"),
    )  # fmt: skip
    tilts = min(
        ("4.2 √(t_2³ d) F_u2", float(clauses.tilting(t2, d, Fu2)), tilt), bears, key=lambda one: one[1]
    )
    ratio = t2 / t1
    formula, _, terms = tilts if ratio <= clauses.TILTING else bears
    if clauses.TILTING < ratio < clauses.BEARING:
        formula = "P_1 + (t_2 / t_1 − 1) / 1.5 × (P_b − P_1)"
        terms = (
            (tilts[1], "force"), " + (", (t2, "size"), " / ", (t1, "size"), " − 1) / 1.5 × (",
            (bears[1], "force"), " − ", (tilts[1], "force"), ")",
        )  # fmt: skip
    name = "shear of the joint"
    return _part(name, nominal, rule, "AISI S100-16 J4.3.1: tilting and bearing", formula, terms)


def _edge(screws: Screws, rule: ScrewRule) -> tuple[Part, ...]:
    """Tear-out of the base's nearest edge by AISI, whichever way the force goes; EN asks for the distance."""
    rest = np.nanmin(0.5 * screws.base - np.abs(screws.place).max(axis=0), initial=np.inf)
    if rule in _EUROPE or not np.isfinite(rest) or np.isnan(screws.base_thickness):
        return ()
    t, d, Fu, net = screws.base_thickness, screws.diameter, screws.base_ultimate, float(rest)
    clause = "AISI S100-16 J4.2 and J6.1: the base's nearest edge, whichever way the force goes"
    terms: Terms = (
        (0.6, "factor"), " × ", (Fu, "sheet strength"), " × 2 × ", (t, "size"), " × (", (net, "size"),
        " − ", (d, "size"), " / 2)",
    )  # fmt: skip
    value = float(clauses.edge_shear(t, net, d, Fu))
    return (_part("tear-out at the base's edge", value, rule, clause, "0.6 F_u1 2 t_1 (e − d / 2)", terms),)


def _en(screws: Screws, rule: ScrewRule) -> tuple[Part, Part, Part]:
    t1, t2, d = screws.base_thickness, screws.support_thickness, screws.diameter
    Fu1, Fu2 = (min(Fu, clauses.EN_STRONGEST) for Fu in (screws.base_ultimate, screws.support_ultimate))
    both = clauses.en_bearing(t1, t2, d, Fu1, Fu2)
    at = int(np.argmin(both))
    t, Fu = ((t1, Fu1), (t2, Fu2))[at]
    alpha = both[at] / (Fu * d * t)
    joint = _part(
        "shear of the joint", both[at], rule, "EN 1993-1-3 table 8.2: bearing, gamma_M2 = 1.25",
        "α d t f_u", ((alpha, "ratio"), *_product(1.0, d, t, stress=Fu)[1:]),
    )  # fmt: skip
    spoken = clauses.en_in_range(t1, t2)
    thread = screws.thread_pitch
    pulls = float(clauses.en_pull_out(t2, d, Fu2, thread)) if spoken else np.nan
    factor = clauses.THREADED if t2 >= thread else clauses.PLAIN
    out = _part(
        "pull-out of the support", pulls, rule, "EN 1993-1-3 table 8.2: pull-out, gamma_M2 = 1.25",
        f"{factor:g} d t_sup f_u", _product(factor, d, t2, stress=Fu2),
    )  # fmt: skip
    counted = min(t1, clauses.EN_THICKEST)
    through = float(clauses.en_pull_through(t1, screws.head, Fu1)) if spoken else np.nan
    over = _part(
        "pull-over of the base", through, rule,
        "EN 1993-1-3 table 8.2: pull-through, gamma_M2 = 1.25; not more than 1.5 mm of the base counts",
        "d_w t f_u", _product(1.0, screws.head, counted, stress=Fu1)[2:],
    )  # fmt: skip
    return joint, out, over


def _plain_sum(name: str, shear: Part, pull: Part, clause: str) -> Pair:
    return Pair(name, shear.design, pull.design, 1.0, 1.0, clause)


def _within(value: float, bounds: tuple[float, float]) -> bool:
    return bool(bounds[0] * (1.0 - 1e-9) <= value <= bounds[1] * (1.0 + 1e-9))


def _over_pair(screws: Screws, rule: ScrewRule, joint: Part, over: Part, *, tested: bool) -> Pair:
    """Shear and pull-over, J4.5.1."""
    t1, t2 = screws.base_thickness, screws.support_thickness
    sizes = (
        _within(t1, OVER_SHEET)
        and t2 >= OVER_RATIO * t1
        and screws.diameter >= OVER_SCREW
        and screws.base_ultimate <= OVER_STRONGEST
    )
    clause = "J4.5.1, S = 2.7 t_1 d F_u1, P half the pull-over strength: brackets pull one-sidedly"
    shear = float(clauses.bearing(t1, screws.diameter, screws.base_ultimate))
    bound = _bound(rule, OVER_BOUND, 1)
    found = Pair("shear and pull-over", shear, ONE_SIDED * over.nominal, OVER_SHARE, bound, clause)
    pair = _joined(found, rule, joint, over, inside=sizes and not tested)
    if rule in _EUROPE or tested or sizes:
        return pair
    return replace(
        pair, pull=ONE_SIDED * pair.pull, clause=f"{pair.clause}, with half the pull-over strength"
    )


def _out_pair(screws: Screws, rule: ScrewRule, joint: Part, out: Part, *, tested: bool) -> Pair:
    """Shear and pull-out, J4.5.2."""
    t1, t2 = screws.base_thickness, screws.support_thickness
    sizes = (
        _within(t2, OUT_SHEET)
        and _within(t2 / t1, OUT_RATIO)
        and screws.diameter >= OUT_SCREW
        and screws.support_ultimate <= OUT_STRONGEST
    )
    shear = float(clauses.tilting(t2, screws.diameter, screws.support_ultimate))
    bound = _bound(rule, OUT_BOUND, 2)
    clause = "J4.5.2, S = 4.2 √(t_2³ d) F_u2"
    found = Pair("shear and pull-out", shear, out.nominal, 1.0, bound, clause)
    return _joined(found, rule, joint, out, inside=sizes and not tested)


def _joined(found: Pair, rule: ScrewRule, joint: Part, pull: Part, *, inside: bool) -> Pair:
    """AISI's line inside the sizes that it was tested with, else the sum of uses, which asks for more."""
    if rule in _EUROPE:
        return _plain_sum(found.name, joint, pull, "EN 1993-1-3 8.3(8): sum of both uses")
    if inside:
        return replace(found, clause=f"AISI S100-16 {found.clause}")
    words = f"sum of both uses, which asks for more than AISI S100-16 {found.clause[:6]} (judgment)"
    return _plain_sum(found.name, joint, pull, words)


def _own_pair(shear: Part, tension: Part, rule: ScrewRule) -> Pair:
    name = "the screw itself, shear and tension"
    if rule in _EUROPE:
        return _plain_sum(name, shear, tension, "sum of both uses (judgment; EN 1993-1-3 names no other)")
    bound = _bound(rule, OWN_BOUND, 0)
    clause = "AISI S100-16 J4.5.3, with 0.8 of the maker's strengths"
    return Pair(name, shear.nominal, tension.nominal, 1.0, bound, clause)
