"""What the study of a seam says, in words and short lines, for terminal, page and picture alike."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.checks.limits import Limit
from fea.clamp_detail import ClampDetail
from fea.panel.limits import number_of
from fea.panel.reading import PATCH, leg_overlap
from fea.panel.study import SeamStudy
from fea.verdict import Finding, code, ranked
from roofmodel.hardware import Bearing, SeamDetail
from roofmodel.units import UnitSystem
from viewer.quantities import brief, percent, quantity, signed, system
from viewer.summary import EXCEEDED, KEPT, NOT_LOADED, NOT_VERIFIED

Array = NDArray[np.float64]

MOTIONS = ("along", "across", "pull", "roll", "overturning", "twist")
OVERLAP = 0.25  # of the sheet's thickness by which legs may pass through each other unsaid [-]
COARSE = 0.10  # change by mesh refinement that deserves a word [-]
LARGE = 0.25  # of the seam height: movement that small displacements do not describe well [-]
SLIGHT = 0.05  # share of the force at the grip below which its pull is no measure of anything [-]
NOTHING = 1e-4  # share of the force at the grip that is printed as 0 [-]

_FIELD = {
    "clip uplift": "seam.clip_strength",
    "fold opening": "seam.opening_strength",
    "panel anchorage": "panel.anchorage",
    "sheet stress": "seam.yield_factor",
}


@dataclass(frozen=True)
class SeamLine:
    """One limit of the panel, SI; utilization NaN where not verified.

    `worst` is the state it comes from in words, `of_yield` a stress over the sheet's nominal yield strength
    (NaN for other limits), `field` where its strength is given.
    """

    limit: Limit
    kind: str
    place: float
    demand: float
    resistance: float
    utilization: float
    status: str
    change: float
    worst: str
    of_yield: float
    field: str

    @property
    def name(self) -> str:
        """Name of the limit."""
        return self.limit.name


@dataclass(frozen=True)
class PathLine:
    """Who takes how much of the clamp's force: forces (3,) on the panel, along, across, pull. [N]."""

    name: str
    force: Array


@dataclass(frozen=True)
class SeamVerdict:
    """The answer in words.

    Attributes
    ----------
    words : tuple of str
        EXCEEDED, NOT VERIFIED, a failed self-check, or that every limit is kept.
    sentence : str
    more : tuple of str
        What else exceeds or is not verified.
    cautions : tuple of str
    passed : bool
    """

    words: tuple[str, ...]
    sentence: str
    more: tuple[str, ...]
    cautions: tuple[str, ...]
    passed: bool


def seam_detail(analysis: Analysis) -> SeamDetail:
    """Table [seam] of the project, which every study has."""
    assert analysis.project.seam is not None
    return analysis.project.seam


def clamp_label(analysis: Analysis, detail: ClampDetail) -> str:
    """Name of the clamp."""
    return analysis.project.layout.clamp_name[detail.clamp]


def seam_lines(detail: ClampDetail) -> tuple[SeamLine, ...]:
    """Every limit, worst first: not verified, then by utilization."""
    lines = [_line(detail, limit) for limit in detail.limits]
    return tuple(sorted(lines, key=lambda line: (not math.isnan(line.utilization), -_known(line))))


def _known(line: SeamLine) -> float:
    use = line.of_yield if math.isnan(line.utilization) else line.utilization
    return 0.0 if math.isnan(use) else use


def _line(detail: ClampDetail, limit: Limit) -> SeamLine:
    study = detail.study_of(limit.name)
    use, demand = float(limit.utilization[0, 0]), float(limit.demand[0, 0])
    status = NOT_VERIFIED if math.isnan(use) else EXCEEDED if use > 1.0 else KEPT
    stressed = limit.quantity == "stress"
    return SeamLine(
        limit=limit,
        kind=limit.quantity,
        place=_place(study, limit.name),
        demand=demand,
        resistance=float(limit.resistance[0]),
        utilization=use,
        status=status if demand != 0.0 else NOT_LOADED,
        change=study.change[number_of(limit.name)] if demand > 0.0 else 0.0,
        worst=limit.basis.partition("; worst in: ")[2],
        of_yield=demand / study.field.detail.sheet.yield_strength if stressed else math.nan,
        field=_FIELD[limit.name.partition(",")[0]],
    )


def _place(study: SeamStudy, name: str) -> float:
    """Where a limit is worst, up the seam from its eave end. [m]."""
    from fea.panel.reading import peak_mean

    if name == "clip uplift" and len(study.path.clip_x):
        return float(-study.path.clip_x[np.argmin(study.path.clip_total[..., 2].min(axis=0))])
    if name == "fold opening":
        return -peak_mean(study.fold.x, np.maximum(study.fold.opening, 0.0), study.fold.over)[1]
    if name.startswith("sheet stress, "):
        part = study.peaks.name.index(name.removeprefix("sheet stress, "))
        return float(-study.peaks.place[part, 0])
    return math.nan


def place_words(line: SeamLine, units: UnitSystem) -> str:
    """Where a limit is worst, such as "at 0.94 ft up the seam"."""
    if math.isnan(line.demand):
        return "outside of what is meshed"
    return "at the fixed point" if math.isnan(line.place) else f"at {up(line.place, units)} up the seam"


def up(place: float, units: UnitSystem) -> str:
    """Place along the seam to a hundredth of the unit of length."""
    return f"{units.convert(max(place, 0.0) + 0.0, 'length'):.2f} {units.label('length')}"


def worst_line(detail: ClampDetail) -> SeamLine | None:
    """Limit with the largest known utilization; None where nothing is known."""
    known = [line for line in seam_lines(detail) if line.utilization > 0.0]
    return max(known, key=lambda line: line.utilization, default=None)


def line_words(line: SeamLine, units: UnitSystem) -> str:
    """Such as "sheet stress, fold, uses 51 % (±11 %) of its strength at 0.94 ft up the seam"."""
    return (
        f"{line.name} uses {percent(line.utilization)} of its strength {place_words(line, units)} "
        f"({quantity(line.demand, line.kind, units)} of {quantity(line.resistance, line.kind, units)}, "
        f"mesh {mesh_words(line.change)})"
    )


def mesh_words(change: float) -> str:
    """Change by mesh refinement, such as "±12 %"; what is next to nothing is "< 0.1 %"."""
    if change < 5e-4:
        return "< 0.1 %"
    return f"±{100.0 * change:.1f} %" if change < 0.0995 else f"±{100.0 * change:.0f} %"


def seam_verdict(analysis: Analysis, detail: ClampDetail, units: UnitSystem) -> SeamVerdict:
    """What is missing, what governs, and what to be careful with."""
    lines = seam_lines(detail)
    over = [line for line in lines if line.status == EXCEEDED]
    missing = [line for line in lines if line.status == NOT_VERIFIED]
    failed = [proof for proof in detail.proofs if not proof.met]
    words = [one.word for one in seam_findings(detail)]
    label, worst = clamp_label(analysis, detail), worst_line(detail)
    if missing:
        known = "" if worst is None else f" Of what has a strength, {line_words(worst, units)}."
        sentence = f"Seam at clamp {label}: {missing_words(missing)}.{known}"
    elif worst is None:
        sentence = f"Seam at clamp {label}: nothing in the panel is loaded."
    else:
        sentence = f"Seam at clamp {label}: {line_words(worst, units)}."
    more = [f"{line.name}: {line_words(line, units).removeprefix(line.name + ' ')}" for line in over[1:]]
    more += [unverified_words(line, units) for line in missing]
    more += [f"NOT VERIFIED: {words}." for words in detail.doubts]
    more += [f"self-check: {p.name}: {p.error:.1e}, bar {p.bar:.0e}" for p in failed]
    return SeamVerdict(
        words=tuple(words) or (f"every limit of the panel kept at {label}",),
        sentence=sentence,
        more=tuple(more),
        cautions=cautions(detail, analysis),
        passed=not words,
    )


def missing_words(missing: Sequence[SeamLine]) -> str:
    """Fields whose strengths are not given, and what cannot be judged without them."""
    found: dict[str, list[str]] = {}
    for line in missing:
        why = "no clip stands in what is meshed" if math.isnan(line.demand) else f"{line.field} is not given"
        found.setdefault(why, []).append(line.name.removeprefix("sheet stress, "))
    parts = [
        f"{why} ({'stress in ' if why.startswith('seam.yield') else ''}{', '.join(names)})"
        for why, names in found.items()
    ]
    return f"NOT VERIFIED: {'; '.join(parts)}"


def unverified_words(line: SeamLine, units: UnitSystem) -> str:
    """What loads a limit without a strength."""
    if math.isnan(line.demand):
        return f"{line.name}: not verified, no clip of this strip stands in the piece of seam that is meshed"
    yields = "" if math.isnan(line.of_yield) else f", {line.of_yield:.2f} of the nominal yield strength"
    return (
        f"{line.name}: not verified, {line.field} is not given; demand "
        f"{quantity(line.demand, line.kind, units)}{yields}, {place_words(line, units)}"
    )


def seam_findings(detail: ClampDetail) -> tuple[Finding, ...]:
    """What keeps the panel from passing, the worst first."""
    states = {line.status for line in seam_lines(detail)}
    return ranked(
        {
            Finding.EXCEEDED: EXCEEDED in states,
            Finding.NOT_VERIFIED: NOT_VERIFIED in states or bool(detail.doubts),
            Finding.AUDIT_FAILED: any(not proof.met for proof in detail.proofs),
        }
    )


def verdict_code(detail: ClampDetail) -> str:
    """One of "pass", "exceeded", "not verified", "audit failed"."""
    return code(seam_findings(detail))


def cautions(detail: ClampDetail, analysis: Analysis) -> tuple[str, ...]:
    """What the numbers cannot say by themselves."""
    seam = seam_detail(analysis)
    found = [
        "One clamp was studied. Another may be worse for the panel though it uses less of its own strength: "
        "run the ends and the middle of every row with --clamp."
    ]
    found += [
        f"{line.name} is kept by less than what the mesh is worth ({mesh_words(line.change)})."
        for line in seam_lines(detail)
        if line.status == KEPT and line.utilization * (1.0 + line.change) > 1.0
    ]
    rough = [line for line in seam_lines(detail) if line.change > COARSE and line.status != NOT_LOADED]
    if rough:
        names = ", ".join(f"{line.name} {mesh_words(line.change)}" for line in rough)
        found.append(
            f"Elements half as large still change: {names}. Peaks at corners and edges keep growing."
        )
    units = system(analysis.project.table.project.units)
    local = max(detail.states.study, key=lambda study: study.peaks.local.max()).peaks
    part = int(local.local.argmax())
    if local.local[part] > (1.0 + COARSE) * local.stress[part]:
        found.append(
            f"Stress is a mean within {quantity(PATCH, 'size', units)} (judgment). Beside a rigid grip the "
            f"{local.name[part]} reaches {quantity(float(local.local[part]), 'stress', units)} in one "
            "element, more with every finer mesh: what is so local the clamp's tests on this seam must hold."
        )
    overlap = max(leg_overlap(study.field, study.displacement) for study in detail.states.study)
    if overlap > OVERLAP * analysis.project.panel.thickness:
        found.append(
            f"The legs of a seam pass through each other by up to {quantity(overlap, 'size', units)}: the "
            "model has no contact between them and is too soft there."
        )
    wide = window_change(detail)
    if wide > 0.01:
        found.append(f"Meshing more of the seam changes a result by up to {percent(wide)}.")
    high = analysis.project.panel.seam_height
    way = largest_movement(detail)
    if way > LARGE * high:
        found.append(
            f"The sheet moves by up to {quantity(way, 'size', units)}, not little for a seam of "
            f"{quantity(high, 'size', units)}: the study is linear, and stresses of sheet that hangs between "
            "its supports come out too large or too small."
        )
    if seam.bearing is Bearing.NONE:
        found.append("The panel bears on nothing but its clips.")
    if seam.thermal:
        found.append("The change of the sheet's temperature is not part of this study.")
    found += detail.notes
    said_of = {"load case 0": "without the clamp's force", "load case 1": "with the clamp's force"}
    for study, source in zip(detail.states.study, detail.source, strict=True):
        for note in study.notes:
            case, _, words = note.partition(":")
            found.append(f"{source.words}, {said_of[case]}:{words}.")
    return tuple(found)


def number_kind(number: str) -> str:
    """Kind of one of `fea.panel.screening.NUMBERS`, for its unit."""
    return {"clip uplift": "force", "anchorage": "force", "fold opening": "line_load"}.get(number, "stress")


def worst_study(detail: ClampDetail, number: str) -> SeamStudy:
    """State that is worst for a number; the one that is shown for numbers without a limit."""
    return detail.states.study[detail.states.worst.get(number, detail.shown)]


def window_change(detail: ClampDetail) -> float:
    """Largest change of a number in any state when more of the seam is meshed. [-]."""
    return max((change for study in detail.states.study for change in study.window.values()), default=0.0)


def largest_movement(detail: ClampDetail) -> float:
    """Largest movement of the sheet square to the roof in any state. [m]."""
    moved = [study.displacement[2 : 6 * len(study.field.model.xyz) : 6] for study in detail.states.study]
    return max(float(np.abs(rise).max()) for rise in moved)


def path_lines(detail: ClampDetail) -> tuple[PathLine, ...]:
    """Reactions on the panel to the clamp's force, own strip and neighbors apart; they balance the force."""
    path, middle = detail.study.path, detail.study.field.strips // 2
    own = np.arange(len(path.fixed_more)) == middle
    clips = path.clip.sum(axis=1)
    up_slope = np.zeros((len(path.fixed_more), 3))
    up_slope[:, 0] = -path.fixed_more
    lines = [
        PathLine("clips of this seam", clips[own].sum(axis=0)),
        PathLine("fixed point of this strip", up_slope[own].sum(axis=0)),
        PathLine("bearing under the pan", np.array([0.0, 0.0, path.bearing])),
    ]
    if len(own) > 1:
        lines.append(PathLine("clips of neighbors", clips[~own].sum(axis=0)))
        lines.append(PathLine("fixed points of neighbors", up_slope[~own].sum(axis=0)))
    if np.any(path.fixings):
        lines.append(PathLine("through-fixings", np.asarray(path.fixings)))
    return tuple(lines)


def shares(force: Array, detail: ClampDetail) -> tuple[float, float]:
    """Share of the force along, and of the pull, that a reaction balances; NaN where that is next to none."""
    grip = detail.study.action.grip
    least = SLIGHT * float(np.linalg.norm(grip[:3]))
    along, pull = (-float(force[i]) / float(grip[i]) if abs(grip[i]) > least else math.nan for i in (0, 2))
    return along, pull


def share_text(part: float) -> str:
    """Share in whole percent without its sign; a dash where it means nothing."""
    return (
        "–" if math.isnan(part) else f"{abs(round(100.0 * part)) if part > -0.005 else round(100.0 * part)}"
    )


def force_words(force: Array, detail: ClampDetail, units: UnitSystem) -> tuple[str, ...]:
    """Force (3,) in words; what is below a ten-thousandth of the force at the grip is 0."""
    least = NOTHING * float(np.linalg.norm(detail.study.action.grip[:3]))
    return tuple(brief(float(f) if abs(f) > least else 0.0, "force", units) for f in force)


def force_columns(forces: Array, detail: ClampDetail, units: UnitSystem) -> tuple[Array, str]:
    """Forces (n, k) as text, all in one unit, and that unit; next to nothing is 0 as in `force_words`."""
    values = np.asarray(forces, dtype=float)
    least = NOTHING * float(np.linalg.norm(detail.study.action.grip[:3]))
    shown = units.convert(1.0, "force") * np.where(np.abs(values) > least, values, 0.0)
    unit, largest = units.label("force"), float(np.abs(shown).max(initial=0.0))
    if unit == "kN" and largest < 1.0:
        shown, unit, largest = 1e3 * shown, "N", 1e3 * largest
    places = max(0, 3 - math.floor(math.log10(largest))) if largest > 0.0 else 0
    places = min(places, 3 if unit == "kN" else 1)
    text = [[signed(f"{v:,.{places}f}") if v else "0" for v in row] for row in shown.tolist()]
    return np.array(text, dtype=object), unit


def bearing_push(detail: ClampDetail, displacement: Array) -> tuple[Array, Array]:
    """Push of deck or purlins on the strips at each line of the mesh under a displacement (d,).

    Returns
    -------
    x : (l,) float
        [m]
    push : (l,) float
        [N]
    """
    field = detail.study.field
    push = np.zeros(len(field.mesh.x))
    for group in field.model.contacts:
        if group.name == "bearing":
            u = displacement.reshape(-1)[: 6 * len(field.model.xyz)].reshape(-1, 6)[group.node, :3]
            depth = -np.sum(group.normal * u, axis=1) - group.gap
            np.add.at(push, group.node // field.width, group.stiffness * np.maximum(depth, 0.0))
    return field.mesh.x, push


def stiffness_rows(
    analysis: Analysis, detail: ClampDetail
) -> tuple[tuple[str, str, float, float, float], ...]:
    """Motion, kind, stiffness of panel, clamp, and both in series, other motions held. [N/m, N m/rad]."""
    panel, clamp = detail.study.stiffness, analysis.project.clamp.stiffness
    both = panel - panel @ np.linalg.solve(panel + clamp, panel)  # a clamp may be free in some motion
    return tuple(
        (
            name,
            "stiffness" if i < 3 else "rotation stiffness",
            float(panel[i, i]),
            float(clamp[i, i]),
            float(both[i, i]),
        )
        for i, name in enumerate(MOTIONS)
    )
