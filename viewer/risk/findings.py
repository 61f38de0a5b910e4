"""What the sampling of a roof says, in words and tables; one set for terminal, picture and files."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from fea.analysis import Analysis
from fea.failure.assembled import OPENS, PARTS
from fea.failure.cascade import COLLAPSED, COMPLETE, FailureSamples
from fea.failure.inputs import Uncertain, law_words
from fea.failure.jobs import REPEATS, TOP, Risk, Sampling
from fea.failure.roof_case import Chosen
from fea.failure.splices import nearest_clamps
from fea.failure.thaw import Thaw
from fea.sampling.chance import Chance
from fea.sampling.variables import Shape, Variable
from roofmodel.layout import Layout
from roofmodel.snow.level_words import level_words
from roofmodel.units import SYSTEMS
from viewer.report.tables import Table

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]

CAUTIONS = (
    "An aid to judgment, not a proof: the chance is no better than the distributions that were given.",
    "A licensed engineer must review this; local code governs; strengths must come from tests.",
    "Falling snow and ice can kill. Work at height can kill.",
)
FIRST_HEAD = "lets go first"
SHOWN = 12  # clamps of the table


@dataclass(frozen=True)
class RiskFindings:
    """All that `risk` found."""

    analysis: Analysis
    uncertain: Uncertain
    cases: tuple[Chosen, ...]
    sampling: Sampling
    risk: Risk
    course: FailureSamples
    thaw: Thaw

    @property
    def case_name(self) -> str:
        """Of the snow case that uses the clamps most."""
        return self.names[0]

    @property
    def names(self) -> tuple[str, ...]:
        """Of all snow cases that are sampled, each at every end of what nobody gave."""
        named = [(self.analysis.snow.cases[one.case].name, one.state) for one in self.cases]
        return tuple(f"{name} ({state})" if state else name for name, state in named)

    @property
    def use(self) -> Array:
        """Snow of the worst case over the mean strength, clamp by clamp, (c,). [-]."""
        return np.asarray(np.max([one.use for one in self.cases], axis=0))

    @property
    def worst_case(self) -> IntArray:
        """Which of the cases lets each row go most often, or uses it most, (r,); -1 where that is unknown."""
        layout = self.analysis.project.layout
        rows = range(len(layout.row_name))
        if not self.risk.case_row:
            return np.full(len(rows), -1)
        use = [[one.use[layout.clamp_row == r].max() for r in rows] for one in self.cases]
        value = [[one.value for one in row] for row in self.risk.case_row]
        return np.lexsort((use, value), axis=0)[-1]


def percent(value: float) -> str:
    """A chance in percent with two digits, or as 1 in so many where it is small."""
    if value >= 1.0:
        return "100 %"
    if value >= 1e-4:
        digits = max(1 - math.floor(math.log10(100.0 * value)), 0)
        return f"{100.0 * value:.{digits}f} %"
    if value <= 0.0:
        return "0"
    power = math.floor(math.log10(value))
    return f"{value / 10.0**power:.1f}e{power}"


def chance_words(chance: Chance) -> str:
    """A chance with its interval."""
    if chance.value == 0.0:
        return f"below {percent(chance.high)} (95 % confidence)"
    return f"{percent(chance.value)} (95 % interval {percent(chance.low)} to {percent(chance.high)})"


def answer(found: RiskFindings) -> str:
    """The main sentence."""
    return f"Chance that a row lets go: {chance_words(found.risk.chance)}"


def said(found: RiskFindings) -> tuple[str, ...]:
    """What stands beside the main sentence."""
    case = found.analysis.snow.cases[found.cases[0].case]
    risk, table = found.risk, found.uncertain.table
    counts = (
        f"{REPEATS} runs of subset sampling with {table.samples:,} samples a level"
        if table.method == "subset"
        else f"{risk.chance.calls:,} samples, {table.method}"
    )
    middle, low = np.quantile(risk.reserve, [0.5, 0.05])
    lines = [
        *_case_words(found, level_words(case.level)),
        f"{counts}, seed {table.seed}.",
        f"A row lets go at {times(middle)} a sample's own snow in the middle, at {times(low)} in the worst "
        "twentieth.",
        snow_words(found),
        course_words(found),
        thaw_words(found),
        f"A lost clamp lets its neighbors swing {table.release:g} times as far as a slow loss would"
        + (
            " (judgment)."
            if table.impact is None
            else f"; snow that runs onto a lower row pushes {table.impact:g} times as hard as at rest "
            "(uncertainty.impact)."
        ),
        *_reasons(found),
        *law_words(table, SYSTEMS[found.analysis.project.table.project.units]),
        *found.uncertain.notes,
        *dict.fromkeys(note for one in found.cases for note in one.notes),
    ]
    if risk.unanswered:
        lines.append(f"{risk.unanswered:,} samples gave no answer and count as failed.")
    if table.drift is not None and not any(np.any(one.roof.snow[:, 1] != 0.0) for one in found.cases):
        lines.append("Drift scatters, but no case here has any: that input does nothing.")
    if table.depth is None:
        lines.append("Depth does not scatter: the chance is that under the cases' snow, not of a year.")
    return tuple(lines)


def _case_words(found: RiskFindings, level: str) -> tuple[str, ...]:
    """Which snow is sampled, what each case gives alone, and the bound over all of them."""
    names, alone = found.names, found.risk.case_chance
    snow = list(dict.fromkeys(found.analysis.snow.cases[one.case].name for one in found.cases))
    one = f"Snow: {snow[0]} ({level}); depth, density and drift of 1 are this case's."
    if len(names) == 1:
        return (one,)
    lines = [
        one
        if len(snow) == 1
        else f"Snow: {len(snow)} cases ({level}); depth, density and drift of 1 are each case's own. Every "
        "sample is followed under all of them and fails if a row lets go under any, as if a winter's snow "
        "took each of these shapes in turn. Other cases use every row far less, or no clamp more than one of "
        "these.",
    ]
    if alone:
        order = sorted(range(len(names)), key=lambda k: (-alone[k].value, k))
        each = "; ".join(f"{names[k]}: {chance_words(alone[k])}" for k in order if alone[k].value > 0.0)
        none = [names[k] for k in order if alone[k].value == 0.0]
        each += f"{'; ' if each and none else ''}{', '.join(none)}{': none failed' if none else ''}"
        most = percent(min(sum(one.high for one in alone), 1.0))
        lines.append(
            f"Each case alone: {each}. However they go together, not above {most} (sum of all upper ends)."
        )
    return tuple(lines)


def _reasons(found: RiskFindings) -> tuple[str, ...]:
    """Why sudden losses and landing snow count as they do, in the user's words."""
    table = found.uncertain.table
    given = (
        ("Release", table.release_reason),
        ("Impact", table.impact_reason),
        ("Stopping distance", table.stopping_reason),
    )
    return tuple(f"{what}: {reason}" for what, reason in given if reason)


def snow_words(found: RiskFindings) -> str:
    """Snow at which one roof in twenty, and one in two, has lost a row."""
    low, middle = np.quantile(found.risk.fragility, [0.05, 0.5])
    return (
        f"With the snow of {found.case_name} growing and nothing of its bond left, one roof in twenty has "
        f"lost a row at {times(low)} the case, one in two at {times(middle)}."
    )


def times(value: float) -> str:
    """A factor, or that it lies beyond what was followed."""
    return f"more than {TOP:g} times" if value >= TOP else f"{value:.2f} times"


def inputs_table(found: RiskFindings) -> Table:
    """Every uncertain input with its distribution."""
    table, scatter = found.uncertain.table, found.sampling.scatter
    rows = [(v.name, _law(v)) for v in scatter.load.variables]
    if scatter.strength > 0.0:
        text = (
            f"lognormal, mean {found.uncertain.mean_strength:.3g} × nominal, scatter {scatter.strength:.3g}"
        )
        rows.append(
            ("strength", text + (f", together {scatter.together:g}" if scatter.together > 0.0 else ""))
        )
    rows += [("missing clamp", f"chance {percent(scatter.missing)} each")] if scatter.missing > 0.0 else []
    if scatter.loose > 0.0:
        rows.append(
            (
                "loose clamp",
                f"chance {percent(scatter.loose)} each, {scatter.loose_strength:g} of its strength",
            )
        )
    if scatter.place > 0.0:
        units = SYSTEMS[found.analysis.project.table.project.units]
        rows.append(("place of a clamp", f"normal, deviation {units.text(scatter.place, 'size')}"))
    if table.splice is not None:
        rows.append(("strength of a splice", f"lognormal, scatter {table.splice.scatter:g}"))
    for law in table.law:
        rest = f", {law.residual:g} of its strength left" if law.residual is not None else ""
        open_ = f", {law.unzip:g} of the seam's strength lost" if law.unzip else ""
        rows.append((f"law of {law.clamps}", f"{law.kind}{rest}{open_}"))
    rows += [(f"{' and '.join(p.of)}", f"correlation {p.value:g}") for p in table.correlation]
    return Table("What is uncertain", ("input", "distribution"), "tt", tuple(rows))


def _law(variable: Variable) -> str:
    what = {"depth": " × case", "density": " × case", "drift": " × case"}.get(variable.name, "")
    if variable.shape is Shape.UNIFORM:
        return f"uniform, {variable.first:g} to {variable.second:g}{what}"
    return f"{variable.shape}, mean {variable.first:g}{what}, deviation {variable.second:g}"


def splices_table(found: RiskFindings) -> tuple[Table, ...]:
    """Splices that part; none where the project does not say what they hold."""
    splices, layout, risk = found.cases[0].roof.roof.splices, found.analysis.project.layout, found.risk
    if splices is None:
        return ()
    near = nearest_clamps(layout, splices)
    order = np.argsort(-risk.splice_first, kind="stable")[:SHOWN]
    rows = tuple(
        (
            f"at {layout.clamp_name[near[s]]}",
            layout.row_name[splices.row[s]],
            f"{100.0 * risk.splice_first[s]:.0f} %",
            "" if math.isnan(risk.splice_parted[s]) else f"{100.0 * risk.splice_parted[s]:.0f} %",
        )
        for s in order
    )
    heads = ("splice", "row", "gives way first", "parted where a row let go")
    return (Table("Splices that give way", heads, "ttnn", rows),)


def shares_table(found: RiskFindings) -> Table:
    """What the scatter of the reserve comes from."""
    rows = tuple((one.name, f"{100.0 * one.value:.0f} %") for one in found.risk.shares)
    return Table(
        "Where the scatter of the reserve comes from, each input alone", ("input", "share"), "tn", rows
    )


def rows_table(found: RiskFindings) -> Table:
    """Every row's chance, and how often it is the first to let go."""
    names = found.analysis.project.layout.row_name
    risk = found.risk
    chances = [chance_words(one) for one in risk.row_chance] or ["not sampled"] * len(names)
    first = [f"{100.0 * share:.0f} %" for share in risk.first_row]
    if len(found.cases) == 1 or not risk.case_row:
        rows = tuple(zip(names, chances, first, strict=True))
        single = ("row", "chance that it lets go", FIRST_HEAD)
        return Table(f"Rows. {first_words(found)}", single, "ttn", rows)
    worst = []
    for r, k in enumerate(found.worst_case.tolist()):  # rows
        alone = risk.case_row[k][r].value
        worst.append(f"{found.names[k]}: {percent(alone) if alone else 'none failed'}")
    heads = ("row", "chance that it lets go, any case", "worst case alone", FIRST_HEAD)
    return Table(
        f"Rows. {first_words(found)}", heads, "tttn", tuple(zip(names, chances, worst, first, strict=True))
    )


def first_words(found: RiskFindings) -> str:
    """What the shares of first clamps and rows are of."""
    none = 1.0 - float(found.risk.first_row.sum())
    words = "First: of all samples, the snow of each grown until a row lets go"
    return (
        f"{words}; up to {TOP:g} times none does in {100.0 * none:.0f} %." if none >= 0.005 else f"{words}."
    )


def clamps_table(found: RiskFindings) -> Table:
    """Clamps that give way first most often."""
    layout, risk, use = found.analysis.project.layout, found.risk, found.use
    worst = [c for c in np.argsort(-risk.first, kind="stable")[:SHOWN] if risk.first[c] > 0.0]
    rows = tuple(
        (
            layout.clamp_name[c],
            f"{100.0 * risk.first[c]:.0f} %",
            "" if math.isnan(risk.gave_way[c]) else f"{100.0 * risk.gave_way[c]:.0f} %",
            f"{use[c]:.2f}",
        )
        for c in worst
    )
    return Table(
        "Clamps that give way first",
        ("clamp", "gives way first", "gone where a row let go", "snow over mean strength"),
        "tnnn",
        rows,
    )


def course_words(found: RiskFindings) -> str:
    """How the roof at mean strength goes as the snow of the case grows."""
    course = found.course
    events, last = int(course.events[0]), float(course.last[0])
    if not events:
        return f"At mean strengths nothing gives way up to {TOP:g} times the snow of {found.case_name}."
    first = float(course.first[0])
    end = {
        COLLAPSED: f"all rows have let go at {times(last)} it",
        COMPLETE: f"it still holds at {TOP:g} times it",
    }.get(int(course.outcome[0]), "then the calculation has no answer")
    gone = np.flatnonzero(np.isfinite(course.let_go[0]))
    names = found.analysis.project.layout.row_name
    order = gone[np.lexsort((_ended(found)[gone], course.let_go[0, gone]))]
    let_go = ", ".join(f"{names[r]} at {course.let_go[0, r]:.2f}" for r in order)
    rows = f"; rows let go: {let_go}" if len(gone) else ""
    case = found.case_name
    what = _gives_way(found, steps_of(found, course)[0])
    return f"At mean strengths the first {what} at {times(first)} the snow of {case}, {end}{rows}."


def _gives_way(found: RiskFindings, step: Step) -> str:
    """What an event is; of a splice that opens and parts later only the end is known."""
    law = found.analysis.project.table.uncertainty
    kind = "" if law is None or law.splice is None else law.splice.kind
    if step.what == "clamp" or (kind == "hinge" and step.state == PARTS):
        return f"{step.what} gives way"
    held = "slips" if kind == "slip" else "yields"
    way = {PARTS: "parts", OPENS: "opens"}.get(step.state, held)
    return f"splice {way}"


def _ended(found: RiskFindings) -> IntArray:
    """Place among the events at which each row lost its last clamp, (r,); -1 for none."""
    order, row = found.course.order[0].astype(np.int64), found.analysis.project.layout.clamp_row
    last = np.full(len(found.course.let_go[0]), -1)
    np.maximum.at(last, row, order)
    return last


def course_table(found: RiskFindings) -> Table:
    """Events in order, at mean strengths."""

    def snow(at: float) -> str:
        return f"{at:.3f}"

    return _events(found, found.course, "as the snow grows", ("snow over case", "n", snow))


@dataclass(frozen=True)
class Step:
    """One event of a course: a clamp that gives way, or a splice, told by the clamp nearest to it."""

    what: str
    clamp: int
    at: float
    state: int = 0  # of a splice in the end, as `fea.failure.cascade.FailureSamples`

    def name(self, layout: Layout) -> str:
        """Of the clamp, or of the splice beside it."""
        name = layout.clamp_name[self.clamp]
        return name if self.what == "clamp" else f"splice at {name}"


def steps_of(found: RiskFindings, course: FailureSamples) -> tuple[Step, ...]:
    """Events of a course in order."""
    splices = found.cases[0].roof.roof.splices
    near = [] if splices is None else nearest_clamps(found.analysis.project.layout, splices).tolist()
    return tuple(
        Step("clamp", k, float(course.at[0, k]))
        if what == "clamp"
        else Step("splice", near[k], float(course.splice_at[0, k]), int(course.splice_state[0, k]))
        for what, k in course.steps(0)
    )


def torn_of(steps: tuple[Step, ...]) -> tuple[tuple[int, int], ...]:
    """Clamp nearest to each splice that parts, and how many clamps gave way before it."""
    return tuple(
        (one.clamp, sum(other.what == "clamp" for other in steps[:i]))
        for i, one in enumerate(steps)
        if one.what == "splice" and one.state == PARTS
    )


def _events(
    found: RiskFindings, course: FailureSamples, words: str, said: tuple[str, str, Callable[[float], str]]
) -> Table:
    """The first events of a course, and what is said of each: head and side of the column, its words."""
    layout, steps = found.analysis.project.layout, steps_of(found, course)
    head, side, text = said
    rows = tuple(
        (str(i), text(one.at), one.name(layout), layout.row_name[layout.clamp_row[one.clamp]])
        for i, one in enumerate(steps[:SHOWN], 1)
    )
    more = f", the first {SHOWN} of {len(steps)}" if len(steps) > SHOWN else ""
    what = "clamp or splice" if any(one.what == "splice" for one in steps) else "clamp"
    return Table(f"At mean strengths, {words}{more}", ("event", head, what, "row"), f"n{side}tt", rows)


def thaw_words(found: RiskFindings) -> str:
    """How the roof at mean strength goes as the bond of snow that lies still falls."""
    thaw, names = found.thaw, found.analysis.project.layout.row_name
    course = thaw.course
    snow = f"{thaw.snow:g} times the snow of {found.case_name}" if thaw.snow != 1.0 else found.case_name
    start = found.uncertain.table.thaw.thaw_from
    front = "" if start is None else f" behind a front that moves from the {_start(start)}"
    still = f"With {snow} lying still and its bond falling from all to nothing{front}{_in_turn(thaw)}, "
    if not int(course.events[0]):
        return f"{still}nothing gives way at mean strengths."
    first = steps_of(found, course)[0]
    words = f"{first.name(found.analysis.project.layout)} gives way first, with {_left(thaw, first.at)}"
    gone = np.flatnonzero(np.isfinite(course.let_go[0]))
    let_go = [
        f"{names[r]} with {100.0 * thaw.bond_left(float(course.let_go[0, r]))[1]:.0f} %"
        for r in gone[np.argsort(course.let_go[0, gone], kind="stable")]
    ]
    if course.outcome[0] not in (COLLAPSED, COMPLETE):
        let_go.append("then the calculation has no answer")
    return f"{still}{words}; " + (f"rows let go: {', '.join(let_go)}." if let_go else "every row holds on.")


def _start(start: str) -> str:
    """Where a thaw front begins."""
    return f"{start} (looking up the slope)" if start in ("left", "right") else start


def _in_turn(thaw: Thaw) -> str:
    return f", plane after plane ({', '.join(thaw.planes)})" if thaw.planes else ""


def _left(thaw: Thaw, at: float) -> str:
    """What is left of the bond at a factor of the course."""
    part, left = thaw.bond_left(at)
    where = "" if not thaw.planes else " on " + (*thaw.planes, "the other planes")[part]
    return f"{100.0 * left:.0f} % of the bond left{where}"


def thaw_table(found: RiskFindings) -> Table:
    """Events in order, at mean strengths, as the bond falls."""
    thaw = found.thaw
    words = f"as the bond of {thaw.snow:g} times the case falls"
    return _events(found, thaw.course, words, ("bond", "t", partial(_left, thaw)))


def tables(found: RiskFindings) -> tuple[Table, ...]:
    """All tables, in the order in which they are read."""
    return (
        course_table(found),
        *([thaw_table(found)] if int(found.thaw.course.events[0]) else []),
        rows_table(found),
        clamps_table(found),
        *splices_table(found),
        shares_table(found),
        inputs_table(found),
    )
