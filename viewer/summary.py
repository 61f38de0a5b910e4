"""What an analysis says, in words and short tables, for the report and the terminal alike."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.checks.audit import REFINED, Proof
from fea.checks.governing import Governing
from fea.checks.limits import Limit
from fea.checks.member_strength import LATERAL
from fea.checks.screws import BOTH, no_lever
from fea.checks.ties import first_largest
from fea.doubts import project_doubts
from fea.still_falling import Falling
from fea.tipping import unsettled_words
from fea.verdict import Finding
from roofmodel.screws import Screws
from roofmodel.snow.level_words import level_words
from roofmodel.units import UnitSystem
from viewer.as_tested import read_as_tested
from viewer.building_words import purlin_sentence
from viewer.combining import combination
from viewer.picture.findings import clamp_utilization, open_demand
from viewer.quantities import percent, quantity, significant
from viewer.unheld import falling_sentence

Array = NDArray[np.float64]

EXCEEDED, NOT_PROTECTED, NOT_SETTLED, NOT_VERIFIED, AUDIT_FAILED = (one.word for one in Finding)
KEPT, NOT_LOADED = "kept", "not loaded"
ALL_KEPT = "every limit kept"

AS_TESTED = (
    "Along the seam, as tested: the force at the test height that is as hard on the grip, the larger of the "
    "plain force F and the grip's moment over that height (their sum where the two turn against each other)."
)

CAUTIONS = (
    "A licensed engineer must review this calculation and take responsibility for it.",
    "The local code and the authority govern; snow loads and national choices here are inputs.",
    "Clamp and anchorage strengths must come from the maker's tests on this seam, sheet and tightening.",
    "The roof below (seams, clips, deck, framing) and what stands below the eaves are not checked here.",
    "Falling snow and ice can kill. Work at height can kill. Keep people out from under a loaded roof.",
)

_MISSING_FIELD = {
    "clamp along the seam": "clamp.strength.along",
    "clamp across the seam": "clamp.strength.across",
    "clamp pull-off": "clamp.strength.pull",
    "clamp push": "clamp.strength.push",
    "clamp roll moment": "clamp.strength.roll",
    "clamp twist moment": "clamp.strength.twist",
    "screw shear": "a thickness or strength in clamp.screws",
    "screw pull-out": "clamp.screws.support_thickness or pull_out",
    "screw pull-over": "clamp.screws.base_thickness or pull_over",
    "screw tension": "clamp.screws.screw_tension",
    BOTH: "one of their strengths in clamp.screws",
    "panel anchorage": "panel.anchorage",
    "solar clamp": "solar.clamp_strength",
    "panel anchorage at arrays": "panel.anchorage",
    "rail crushing": "rail.bearing_strength, as no web is known that carries the force,",
    "rail deflection": "rail.deflection_ratio",
    "rail height": "design.rail_height_ratio",
}


@dataclass(frozen=True)
class Verdict:
    """The answer in one word and one sentence, and what else a reader must know at once.

    `words` are "EXCEEDED", "NOT PROTECTED", "NOT SETTLED", "NOT VERIFIED", "SELF-CHECK FAILED", several of
    them, or only "every limit kept".
    `cautions` are as loud as a warning; `falling`, the first of them, says what snow no row holds, ""
    for none.
    """

    words: tuple[str, ...]
    sentence: str
    more: tuple[str, ...]
    cautions: tuple[str, ...] = ()
    falling: str = ""

    @property
    def passed(self) -> bool:
        """Whether every limit is verified and kept and every self-check met."""
        return self.words == (ALL_KEPT,)

    @property
    def marks(self) -> tuple[str, ...]:
        """How each word is marked: "kept", "open" for what is not verified, "exceeded" for all else."""
        return tuple({ALL_KEPT: "kept", NOT_VERIFIED: "open"}.get(word, "exceeded") for word in self.words)


@dataclass(frozen=True)
class LimitLine:
    """Worst of one limit over targets and cases, SI; utilization NaN where not verified."""

    limit: Limit
    target: str
    case: str
    demand: float
    resistance: float
    utilization: float
    status: str


def remedy(proof: Proof, analysis: Analysis, units: UnitSystem) -> str:
    """What mends a self-check that is not met, where that is known."""
    if proof.name != REFINED:
        return ""
    half = units.text(0.5 * analysis.project.slide.strip_width, "length")
    return f'; narrower strips mend it: [analysis] strip_width = "{half}", and half of that if need be'


def verdict(analysis: Analysis, units: UnitSystem) -> Verdict:
    """Answer of the whole analysis."""
    lines = limit_lines(analysis)
    over = [line for line in lines if line.status == EXCEEDED]
    open_lines = [line for line in lines if line.limit.unverified.any()]
    failed = [proof for proof in analysis.proofs if not proof.met]
    purlins = f"{_capital(purlin_sentence(analysis, units))}: EXCEEDED." if analysis.purlins_exceeded else ""
    bare, tips = analysis.unprotected, analysis.unsettled
    doubts = project_doubts(analysis.project, analysis.limits)
    words = [one.word for one in analysis.findings]
    more = [
        f"Self-check failed: {p.name}, error {p.error:.1e} against {p.bar:.0e}{remedy(p, analysis, units)}."
        for p in failed
    ]
    more += [_over_text(line) for line in over]
    more += [purlins] if purlins and over else []
    more += [_capital(f"{unsettled_words(tips)}.")] if tips and (over or purlins or bare) else []
    more += [_open_text(line, units, analysis.project.clamp.screws) for line in open_lines]
    told = not (over or purlins or bare or tips)  # the sentence has the first of them then
    more += [f"{NOT_VERIFIED}: {words}." for words in doubts[1 if told else 0 :]]
    lead = _lead(analysis, over)
    if over and all(line.limit.target.startswith("solar") for line in over):
        sentence = f"{_hardest(over)}: EXCEEDED. Of the rows, {lead or 'nothing is loaded'}."
    elif over:
        sentence = f"{lead}: EXCEEDED."
    elif purlins:
        sentence = purlins
    elif bare:
        sentence = f"{NOT_PROTECTED}: snow that no row holds comes down on {_weights(bare, units)}."
        sentence += f" Of the rows, {lead}." if lead else ""
    elif tips:
        sentence = f"{NOT_SETTLED}: {unsettled_words(tips)}."
        sentence += f" With {'the number given' if tips.given else 'its default'}, {lead}." if lead else ""
    elif doubts:
        sentence = f"{NOT_VERIFIED}: {doubts[0]}."
        sentence += f" With the numbers given, {lead}." if lead else ""
    elif open_lines:
        names = ", ".join(with_field(line.limit.name) for line in open_lines)
        sentence = f"NOT VERIFIED: no resistance is given for {names}, which is loaded."
        if len(open_lines) > 1:
            sentence = f"NOT VERIFIED: loaded limits without a resistance: {names}."
        sentence += f" Of what could be checked, {lead}." if lead else ""
    elif failed:
        sentence = f"{AUDIT_FAILED}: do not use these results."
    elif lead:
        sentence = f"{lead}{_runner_up(analysis)}."
    else:
        sentence = "No snow reaches any row; nothing is loaded."
    return Verdict(
        words=tuple(words) or (ALL_KEPT,),
        sentence=sentence,
        more=tuple(more),
        cautions=tuple(getattr(analysis, "cautions", ())),
        falling=falling_sentence(analysis, units),
    )


def _weights(bare: tuple[Falling, ...], units: UnitSystem) -> str:
    """Names of what is not protected, each with the weight of snow on it."""
    return ", ".join(f"{one.name} ({units.text(one.weight, 'force')})" for one in bare)


def shown_name(analysis: Analysis, limit: Limit) -> str:
    """Name of a limit for people; says where a demand is the equivalent of the test."""
    if limit.name == "clamp along the seam" and read_as_tested(analysis):
        return f"{limit.name}, as tested"
    return limit.name


def _hardest(over: list[LimitLine]) -> str:
    """Such as "seam 4 at roof array uses 130 % of the strength of a solar clamp (balanced)"."""
    line = max(over, key=lambda line: line.utilization)
    return f"{line.target} uses {percent(line.utilization)} of {_resistance_words(line.limit)} ({line.case})"


def _lead(analysis: Analysis, over: list[LimitLine]) -> str:
    """The attachment if it exceeds or nothing does, else the worst limit, as "R1-18 uses 94 % of ..."."""
    worst = analysis.attachment
    if over and (worst is None or worst.utilization <= 1.0):
        worst = analysis.governing
    if worst is None:
        worst = analysis.governing
    return "" if worst is None else governing_text(analysis, worst)


def _runner_up(analysis: Analysis) -> str:
    """The worst limit of all where it is no attachment, such as "; rail height: S-low uses 97 %"."""
    worst, attachment = analysis.governing, analysis.attachment
    if worst is None or attachment is None or worst.utilization <= attachment.utilization:
        return ", the most of all attachments" if attachment is not None else ""
    limit = analysis.limits[worst.limit]
    name = limit.target_name[worst.target]
    return f", the most of all attachments; {limit.name}, {name}, is at {percent(worst.utilization)}"


def governing_text(analysis: Analysis, worst: Governing) -> str:
    """Such as "R1-18 uses 166 % of its combined strength (unbalanced, wind toward S)"."""
    limit = analysis.limits[worst.limit]
    return (
        f"{limit.target_name[worst.target]} uses {percent(worst.utilization)} of {_resistance_words(limit)} "
        f"({analysis.snow.cases[worst.case].name})"
    )


def _resistance_words(limit: Limit) -> str:
    return {
        "clamp along the seam": "its strength along the seam",
        "clamp across the seam": "its strength across the seam",
        "clamp pull-off": "its pull-off strength",
        "clamp push": "its strength against push",
        "clamp roll moment": "its roll strength",
        "clamp twist moment": "its twist strength",
        "clamp combined": "its strength, all directions together",
        "rail stress": "the rail's yield resistance",
        "rail local buckling": "what local buckling leaves of the rail",
        "rail lateral buckling": "the rail's strength between clamps",
        "rail at holes": "the rail's strength at its holes",
        "rail at welds": "the rail's strength at its welds",
        "rail crushing": "the strength of the rail's walls on the clamp",
        "rail deflection": "the deflection allowed",
        "panel anchorage": "the panel anchorage",
        "rail height": "the height of its rail",
        "solar clamp": "the strength of a solar clamp",
        "panel anchorage at arrays": "the panel anchorage",
        "screw shear": "the shear strength of its screws",
        "screw pull-out": "the pull-out strength of its screws",
        "screw pull-over": "the pull-over strength of its screws",
        "screw tension": "the tension strength of its screws",
        "screw shear and pull": "the strength of its screws, shear and pull together",
    }.get(limit.name, f"the limit {limit.name}")


def _over_text(line: LimitLine) -> str:
    count = int((line.limit.utilization > 1.0).any(axis=0).sum())
    total = len(line.limit.target_name)
    return (
        f"{_capital(line.limit.name)}: {count} of {total} exceed, worst {line.target} at "
        f"{percent(line.utilization)} ({line.case})."
    )


def _open_text(line: LimitLine, units: UnitSystem, screws: Screws | None) -> str:
    limit = line.limit
    if limit.name == "clamp combined":
        return "Clamp combined: not verified while one of its loaded directions is not."
    demand, where = open_demand(limit)
    if screws is not None and math.isnan(demand):
        why = f"a moment at {where} finds no lever; give {' and '.join(no_lever(screws))}"
        return f"{_capital(limit.name)}: not verified, {why}."
    if limit.name == BOTH:
        return f"{_capital(BOTH)}: not verified, {_MISSING_FIELD[BOTH]} is not given."
    field = _MISSING_FIELD.get(limit.name, "its resistance")
    # Without the asked ratio the demand on the rail's height is the snow depth itself.
    what = "snow depth square to the roof" if limit.name == "rail height" else "largest demand"
    return (
        f"{_capital(limit.name)}: not verified, {field} is not given; {what} "
        f"{quantity(demand, limit.quantity, units)} at {where}."
    )


def with_field(limit: str) -> str:
    """Name of a limit, and the field of the project file that it waits for in brackets."""
    field = _MISSING_FIELD.get(limit, " ")
    return limit if " " in field else f"{limit} ({field})"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def clamp_states(analysis: Analysis) -> tuple[str, ...]:
    """Status of each clamp over all cases and directions, in the words of the limits, (c,)."""
    use = clamp_utilization(analysis)
    return tuple(
        NOT_VERIFIED if math.isnan(u) else EXCEEDED if u > 1.0 else KEPT if u > 0.0 else NOT_LOADED
        for u in use.tolist()
    )


def limit_lines(analysis: Analysis) -> tuple[LimitLine, ...]:
    """Worst target and case of every limit, in the order of the limits."""
    return tuple(_limit_line(analysis, limit) for limit in analysis.limits)


def _limit_line(analysis: Analysis, limit: Limit) -> LimitLine:
    cases = analysis.snow.cases
    known = np.nan_to_num(limit.utilization, nan=0.0)
    case, target = np.unravel_index(first_largest(known), known.shape)
    use = float(known[case, target])
    open_ = np.isnan(limit.utilization)
    if use > 1.0:
        status = EXCEEDED
    elif open_.any():
        status, use = NOT_VERIFIED, math.nan
        loaded = np.where(open_, np.nan_to_num(limit.demand, nan=0.0), -np.inf)
        case, target = np.unravel_index(first_largest(loaded), loaded.shape)
    else:
        stress = next(one for one in analysis.limits if one.name == "rail stress")
        stocky = limit.name == LATERAL and bool(stress.demand.any())  # is bent and uses nothing of it
        status = KEPT if use > 0.0 or stocky else NOT_LOADED
    return LimitLine(
        limit=limit,
        target=limit.target_name[target],
        case=cases[case].name,
        demand=float(limit.demand[case, target]),
        resistance=float(limit.resistance[target]),
        utilization=use,
        status=status,
    )


def reserve_sentence(analysis: Analysis, case: int) -> str:
    """Reserve of a case on factored snow and on snow before factors, dead load and temperature held."""
    factor = float(analysis.reserve[case])
    snow = analysis.factors[case]
    name = analysis.snow.cases[case].name
    if math.isinf(factor):
        return f"No amount of snow of the case “{name}” reaches a strength limit that has a resistance."
    if factor == 0.0:
        return f"Dead load and temperature alone exceed a strength limit in the case “{name}”."
    level = level_words(analysis.snow.cases[case].level, "snow")
    return (
        f"In the case “{name}” the first strength limit is reached at {significant(factor)} times the "
        f"factored snow, which is {significant(factor * snow.snow)} times the {level} ({snow.snow:g} S in "
        f"{combination(analysis, case)}). Dead load and temperature are held; limits without a resistance "
        "cannot count."
    )


def least_reserve(analysis: Analysis) -> int:
    """Case with the smallest reserve."""
    return int(np.argmin(analysis.reserve))
