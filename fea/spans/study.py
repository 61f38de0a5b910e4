"""A whole span study: tables of every rail, as bands where inputs are ranges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fea.checks.combinations import strength_factors
from fea.checks.member_strength import LOCAL
from fea.doubts import A_GUESS, may_hold
from fea.sections.lost_walls import lost_words
from fea.spans.bench import ANCHORAGE, CLAMP, DEFLECTION, LIMITS
from fea.spans.capacity import Capacity, Choices, largest_spans, span_tables
from fea.spans.lines import Arrangement
from fea.spans.missing import DIRECTIONS, WANTED, direction_demand, missing_directions
from fea.spans.more_tests import Gains, gains, more_factors, more_words, three_more
from fea.spans.notes import Note, needed
from fea.spans.rows import Hardware
from fea.spans.table_notes import rail_notes, study_screw_notes, uncounted
from fea.typed_stiffness import typed_stiffness
from roofmodel.hardware import DesignFormat, SpliceTorsion
from roofmodel.layout import SpliceKind
from roofmodel.project.base import Table
from roofmodel.project.low_axis import crossing_words, low_axis_words, sunk
from roofmodel.project.moment_doubts import moment_notes
from roofmodel.project.part_schema import BuiltRoof
from roofmodel.project.part_tables import built_roof
from roofmodel.project.rocking import default_words, least_rocking, rocking_words
from roofmodel.project.span_study import SpanStudy, Variant
from roofmodel.project.starting import example_words
from roofmodel.project.strength_doubts import least_tested, stiff_notes, untested, untested_words
from roofmodel.project.tested import bare_notes, bond_notes, height_notes, tested_notes, untold_notes
from roofmodel.snow.cases import LoadLevel
from roofmodel.snow.level_words import level_words
from roofmodel.surface import RoofSurface
from roofmodel.units import SYSTEMS, UnitSystem

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class RailTableau:
    """Span table of one rail on one seam spacing.

    Attributes
    ----------
    name : str
        Of the rail, with the seam spacing where the study has several.
    rail : int
        Its number in the study.
    seam : float
        Seam spacing. [m]
    spans : (n,) float
        Rising, whole multiples of the seam spacing. [m]
    low, high : (n, a) float
        Largest line load by span and arrangement, least and most of all variants; NaN where not verified.
        [N/m]
    governing : (n, a) int
        Limit that is reached first in the variant of the least load, -1 for none.
    by_limit : (n, a, l) float
        Least largest load of every limit; NaN where it was not given. [N/m]
    use : (n, a, m, l) float
        Most utilization of every limit at each load.
    span : (m, a) float
        Largest span of the study that carries each load, by `low`; NaN for none. [m]
    tipping : (n, a) float
        As `low`, of the variants whose clamps tip as given or by default alone. [N/m]
    more : Gains or None
        What three more tests of the clamp would make of `low`; None where nobody said.
    guess : (n, a) bool
        Where more of `low` hangs on a direction that nobody tested than a guess may hold.
    """

    name: str
    rail: int
    seam: float
    spans: Array
    low: Array
    high: Array
    governing: IntArray
    by_limit: Array
    use: Array
    span: Array
    tipping: Array
    guess: Bools
    more: Gains | None = None


@dataclass(frozen=True)
class StudyResult:
    """All that a span study says."""

    study: SpanStudy
    choices: Choices
    rails: tuple[RailTableau, ...]
    told: tuple[Note, ...]
    doubts: tuple[str, ...] = ()
    untested: tuple[str, ...] = ()

    @property
    def notes(self) -> tuple[str, ...]:
        """What the tables must be read with."""
        return tuple(note.words for note in self.told)

    @property
    def not_given(self) -> tuple[str, ...]:
        """Limits that no load was held against, as `check` would miss them."""
        study = self.study
        found = ["panel.anchorage"] if study.table.panel.anchorage is None else []
        return (
            *found,
            *(
                f"deflection_ratio of {rail.name}"
                for rail in study.table.rail
                if rail.deflection_ratio is None
            ),
        )

    def verified_rail(self, rail: int) -> bool:
        """Whether nothing that limits this rail is missing from its tables."""
        table = self.study.table
        given = table.panel.anchorage is not None and table.rail[rail].deflection_ratio is not None
        return given and not self.doubts

    def verified_cells(self, rail: RailTableau) -> Bools:
        """Which loads of a table are verified, (n, a)."""
        return self.verified_rail(rail.rail) & ~np.isnan(rail.low) & ~rail.guess

    @property
    def verified(self) -> bool:
        """Whether all that is loaded has a strength or limit, and every rail's walls are known."""
        return not self.not_given and all(self.verified_cells(rail).all() for rail in self.rails)


def study_roof(study: SpanStudy) -> RoofSurface:
    """One plane of the study's slope."""
    pitch = f"{float(np.degrees(study.table.study.slope))!r} deg"
    part = {
        "shape": "shed", "footprint": "0 0, 10 0, 10 8, 0 8 m", "pitch": pitch, "fall": "180 deg",
        "eave_height": "3 m",
    }  # fmt: skip
    return built_roof(BuiltRoof.model_validate({"part": [part]}))


def study_choices(study: SpanStudy, seam: float | None = None) -> Choices:
    """What its tables hold on one seam spacing [m]; with the spans of all of them for None."""
    table = study.table.study
    seams = study.seams if seam is None else (seam,)
    return Choices(
        spans=np.unique(np.concatenate([study.spans(one) for one in seams])),
        loads=np.unique(table.loads),
        arrangements=tuple(Arrangement(name) for name in dict.fromkeys(table.arrangements)),
        many=table.many,
        overhang=table.overhang,
        unloaded=table.unloaded_share,
        splice=None if table.splice == "none" else SpliceKind(table.splice),
    )


def study_hardware(study: SpanStudy, variant: Variant, rail: int, seam: float | None = None) -> Hardware:
    """Hardware of one rail within one variant, on one of the study's seam spacings, or on its first."""
    design = study.table.design
    return Hardware(
        rail=variant.rails[rail],
        clamp=variant.clamp,
        panel=variant.panels[0 if seam is None else study.seams.index(seam)],
        form=DesignFormat(design.format),
        level=LoadLevel(study.table.study.level),
        snow_factor=design.snow_factor,
        thermal_factor=design.thermal_factor,
        panel_length=study.table.study.panel_length,
    )


def run_study(study: SpanStudy) -> StudyResult:
    """Tables of all rails and variants.

    Raises
    ------
    InputError
        A rail that can move freely.
    """
    roof, size, rails = study_roof(study), len(study.variants), range(len(study.table.rail))
    shares, ends = (
        three_more(study.table.clamp, study.table.design.format, low=low) for low in (False, True)
    )
    factors = more_factors(shares, ends)
    of_seam = []
    for seam in study.seams:
        choices = study_choices(study, seam)
        hardware = tuple(
            study_hardware(study, variant, rail, seam) for rail in rails for variant in study.variants
        )
        found = span_tables(roof, hardware, choices, factors)
        of_rail = [found[rail * size : (rail + 1) * size] for rail in rails]
        tableaus = [_tableau(study, rail, seam, some, choices) for rail, some in enumerate(of_rail)]
        if shares:
            clamps = [np.min([one.clamp for one in some], axis=0) for some in of_rail]
            tableaus = [
                replace(one, more=gains(load, shares, ends, one.low, one.by_limit))
                for load, one in zip(clamps, tableaus, strict=True)
            ]
        of_seam.append(tableaus)
    tables = tuple(tableaus[rail] for rail in rails for tableaus in of_seam)
    choices = study_choices(study)
    tables, untested_ = _untested(study, tables)
    units = SYSTEMS[study.table.study.units]
    told = (
        *(Note(f"NOT VERIFIED: {one}.") for one in study.doubts),
        *(Note(f"NOT VERIFIED: {one}.") for one in guessed(choices, tables, untested_, units)),
        *_notes(study, choices, tables),
    )
    return StudyResult(study, choices, tables, told, study.doubts, untested_)


def guessed(
    choices: Choices, tables: Sequence[RailTableau], untested_: Sequence[str], units: UnitSystem
) -> list[str]:
    """Where loads hang on directions that nobody tested, and on which; nothing for nowhere."""
    if not untested_:
        return []
    cells = sum(table.guess.size for table in tables)
    if sum(int(table.guess.sum()) for table in tables) == cells:
        return list(untested_)
    where = "; ".join(
        f"{name}: {', '.join(parts)}" for name, parts in _places(choices, tables, units).items()
    )
    return [f"{'; '.join(untested_)}. It is so of {where}, marked ? in the tables; no other load hangs on it"]


def _listed(spans: Array, units: UnitSystem) -> str:
    first, last = (f"{units.convert(float(x), 'length'):.4g}" for x in (spans[0], spans[-1]))
    many = first if len(spans) == 1 else f"{first} {'and' if len(spans) == 2 else 'to'} {last}"
    return f"{many} {units.label('length')}"


def _places(choices: Choices, tables: Sequence[RailTableau], units: UnitSystem) -> dict[str, list[str]]:
    """Arrangements of each table with loads that hang on a guess, and their spans where not all do."""
    found: dict[str, list[str]] = {}
    for table in tables:
        for a, arrangement in enumerate(choices.arrangements):
            on = table.guess[:, a]
            if not on.any():
                continue
            spans = "" if on.all() else f" at {_listed(table.spans[on], units)}"
            found.setdefault(table.name, []).append(f"{arrangement}{spans}")
    return found


def tableau_name(study: SpanStudy, rail: int, seam: float, system: str | None = None) -> str:
    """Name of the table of a rail on a seam spacing [m], which stands in it where there are several.

    In a unit system, "SI" or "US"; that of the study for None.
    """
    name = study.table.rail[rail].name
    if len(study.seams) < 2:
        return name
    metric = (system or study.table.study.units) == "SI"
    size = f"{1e3 * seam:.5g} mm" if metric else f"{seam / 0.0254:.4g} in"
    return f"{name} on {size} seams"


def _tableau(
    study: SpanStudy, rail: int, seam: float, found: list[Capacity], choices: Choices
) -> RailTableau:
    own, panel = study.table.rail[rail], study.table.panel
    largest = np.stack([one.largest for one in found])
    unknown = np.isnan(largest).any(axis=0)
    low, high = np.where(unknown, np.nan, np.stack([largest.min(axis=0), largest.max(axis=0)]))
    least = np.argmin(np.nan_to_num(largest, nan=-1.0), axis=0)
    governing = np.take_along_axis(np.stack([one.governing for one in found]), least[None], 0)[0]
    by_limit = np.stack([one.load for one in found]).min(axis=0)
    if panel.anchorage is None:
        by_limit[..., ANCHORAGE] = np.nan
    if own.deflection_ratio is None:
        by_limit[..., DEFLECTION] = np.nan
    return RailTableau(
        name=tableau_name(study, rail, seam),
        rail=rail,
        seam=seam,
        spans=choices.spans,
        low=low,
        high=high,
        governing=np.where(unknown, -1, governing),
        by_limit=by_limit,
        use=np.stack([one.use for one in found]).max(axis=0),
        span=largest_spans(choices.spans, np.nan_to_num(low, nan=-1.0), choices.loads),
        tipping=np.where(unknown, np.nan, largest[: study.given].min(axis=0)),
        guess=np.zeros(low.shape, dtype=bool),
    )


def _notes(study: SpanStudy, choices: Choices, tables: tuple[RailTableau, ...]) -> tuple[Note, ...]:
    table, variant = study.table, study.variants[0]
    clamp, design, form = table.clamp, table.design, DesignFormat(table.design.format)
    units, rails = SYSTEMS[table.study.units], tuple(zip(table.rail, variant.rails, strict=True))
    factors = strength_factors(form, LoadLevel(table.study.level), design.snow_factor, design.thermal_factor)
    at_lowest = min(study.variants, key=lambda one: one.clamp.height)
    lowest, of_name = at_lowest.clamp.height, {rail.name: given for rail, given in rails}
    tables_of: dict[str, Table | None] = {"clamp": clamp, "clamp.screws": clamp.screws, "panel": table.panel}
    tables_of |= {f"rail ({rail.name})": rail for rail in table.rail}
    tested = tested_notes(clamp, table.panel, units, design.format)
    notes = [
        *needed(example_words("study", table.study.name)),
        *(
            Note(f"NOT VERIFIED: {words}: {wanted}; no load is given there.", True, at)
            for words, wanted, at in _open(study, tables)
        ),
    ]
    notes += needed(_missing(study, tables))
    if np.isnan(variant.panel.anchorage):
        notes += needed(("Panel anchorage is NOT in the table: panel.anchorage is not given.",))
    for i, (rail, given) in enumerate(rails):
        told = [
            *moment_notes(rail.name, rail, given, design.format, units),
            *rail_notes(rail.name, given, rail.alloy, form, units),
            *_lost(study, tables, i),
        ]
        notes += needed(told, i)
    notes += [
        *needed(() if table.study.level == "measured" else bare_notes(design.format, tables_of)),
        *needed(
            []  # else it is a doubt
            if sunk(lowest, (given for _, given in rails))
            else low_axis_words(lowest, of_name, units)
        ),
        *map(Note, crossing_words(at_lowest.clamp, of_name, table.panel.seam_height, units)),
        *needed(stiff_notes(clamp, units)),
        *needed(typed_stiffness(clamp, units, study.stiffness_ends)),
        *needed(untold_notes(clamp)),
        *needed(uncounted(clamp)),
        *map(Note, height_notes(clamp)),
        *map(Note, tested[:1]),  # the facts say what was tested
        *needed(tested[1:]),
        *needed(bond_notes(clamp)),
        *needed(study_screw_notes(study)),
        Note(
            "Loads are those of snow down the slope per length of rail, "
            f"{level_words(LoadLevel(table.study.level))}; the limits take "
            f"{factors.dead:g} D + {factors.snow:g} S of them ({factors.clause}), with the "
            "rail's own weight as D and the worse of force on the axis and at the top."
        ),
        *needed(
            (
                "Seams and sheet count as rigid; the clamps give way as their stiffness says.",
                "Rail height against snow depth, snow from beyond the ends of partial rows, and what the "
                "roof carries are no part of a span table: check the project.",
            )
        ),
        Note("A longer span never gets a larger load than a shorter one."),
    ]
    if Arrangement.INNER in choices.arrangements:
        notes += needed(
            (
                "An inner span lies two spans or more from its row's ends, here the middle of "
                f"{choices.many}; no row has inner spans alone: take it only where the ends are made "
                "stronger or shorter.",
            )
        )
    if choices.unloaded < 1.0:
        words = f"Patterns of load leave {100 * choices.unloaded:g} % of it on the spans they unload."
        notes.append(Note(words))
    if choices.splice is None:
        notes += needed(
            ("Rails without splices: a splice may lower what they carry; ask with study.splice.",)
        )
    else:
        words = f"With one {choices.splice} splice a row, at the worst of eight places in any span."
        notes.append(Note(words))
        if any(rail.splice_torsion is SpliceTorsion.UNKNOWN for rail in variant.rails):
            words = (
                "Nothing says whether it passes torsion on (rail.splice_torsion): the worse of both counts."
            )
            notes.append(Note(words))
    if study.ranges:
        words = f"Ranges ({'; '.join(study.ranges)}): every corner and the middle; the table is the low end."
        notes += needed((words,))
    notes += [Note(words, not study.rocking_open) for words in _rocking_words(study, tables)]
    more = [(one.low, one.governing, one.more) for one in tables]
    if any((one.governing >= 0).any() for one in tables):  # else there is no load that could gain
        notes += map(Note, more_words(clamp, design.format, more))
    if any(np.isinf(one.low).any() for one in tables):
        notes += needed(("Unlimited: no limit that was given is ever reached.",))
    return tuple(notes)


def _rocking_words(study: SpanStudy, tables: tuple[RailTableau, ...]) -> list[str]:
    """What it costs that a clamp may be stiffer against tipping, and what would narrow it."""
    if study.given == len(study.variants):
        return []
    units, clamps = SYSTEMS[study.table.study.units], [one.clamp for one in study.variants[: study.given]]
    with np.errstate(divide="ignore", invalid="ignore"):
        lost = np.concatenate([(1.0 - one.low / one.tipping).ravel() for one in tables])
    most = 100.0 * float(np.nanmax(np.where(np.isfinite(lost), lost, 0.0), initial=0.0))
    if not study.rocking_open:
        worst = min(clamps, key=lambda one: float(one.stiffness[4, 4]) / max(least_rocking(one), 1e-9))
        return [
            f"{rocking_words(worst, units)} Every load is the least of that with the number given and of "
            f"that with clamps that do not tip at all; the second takes up to {most:.0f} % off. DO NOT RELY "
            "ON THEM before both are measured again; then give them."
        ]
    soft = sorted(clamps, key=lambda one: float(one.stiffness[4, 4]))
    by_default = " to ".join(
        dict.fromkeys(units.text(one.stiffness[4, 4], "rotation stiffness") for one in (soft[0], soft[-1]))
    )
    return [
        "clamp.stiffness.rocking (against tipping down the slope) is not given. A clamp that tips easily "
        "hands its moment on to others, a stiff one keeps it: every load is the least of that with the "
        f"default, {default_words(soft[0])} = {by_default}, and of that with clamps that do not tip at all; "
        f"the second takes up to {most:.0f} % off. Tests that measure it narrow this: give the number, or a "
        "range."
    ]


def _untested(
    study: SpanStudy, tables: tuple[RailTableau, ...]
) -> tuple[tuple[RailTableau, ...], tuple[str, ...]]:
    """Tables with the loads of which more hangs on a direction that nobody tested than a guess may hold.

    And these directions with what hangs on them, in words.
    """
    directions, clamp = untested(study.table.clamp), study.table.clamp
    if not directions:
        return tables, ()
    roof, found, marked = study_roof(study), dict[int, float](), []
    for one in tables:
        choices, guess = study_choices(study, one.seam), one.guess.copy()
        for variant in study.variants:
            hardware, own = study_hardware(study, variant, one.rail, one.seam), variant.clamp
            demand = direction_demand(roof, hardware, choices, one.low)
            least = A_GUESS * least_tested(clamp, own.strength.tolist())
            for i in directions:
                over = demand[..., i] > may_hold(i, own, least)
                guess |= over
                if over.any():
                    found[i] = max(found.get(i, 0.0), float(demand[..., i].max()))
        marked.append(replace(one, guess=guess))
    units = SYSTEMS[study.table.study.units]
    return tuple(marked), tuple(untested_words(i, most, units) for i, most in found.items())


def _missing(study: SpanStudy, tables: tuple[RailTableau, ...]) -> list[str]:
    """Which strengths of the clamp would fill the cells that are not verified for want of them."""
    found, roof = set[str](), study_roof(study)
    for one in tables:
        open_ = np.isnan(one.by_limit[..., CLAMP]) & np.isnan(one.low)
        if not open_.any():
            continue
        choices = study_choices(study, one.seam)
        cells = [
            (kind, one.spans[open_[:, a]]) for a, kind in enumerate(choices.arrangements) if open_[:, a].any()
        ]
        hardware = study_hardware(study, study.variants[0], one.rail, one.seam)
        found |= missing_directions(roof, hardware, choices, cells)
    names = [f"clamp.strength.{name}" for name in DIRECTIONS if name in found]
    return [f"Loaded there, and not given: {', '.join(names)}."] if names else []


def open_words(study: SpanStudy, tables: tuple[RailTableau, ...]) -> list[str]:
    """For each limit that keeps cells from being verified: of which rails."""
    return [words for words, _, _ in _open(study, tables)]


def _open(study: SpanStudy, tables: tuple[RailTableau, ...]) -> list[tuple[str, str, tuple[int, ...]]]:
    """Each limit that keeps cells from being verified, what would give it, and numbers of its rails."""
    found = []
    for limit, wanted in WANTED.items():
        at = tuple(
            dict.fromkeys(
                one.rail for one in tables if (np.isnan(one.by_limit[..., limit]) & np.isnan(one.low)).any()
            )
        )
        if at:
            names = ", ".join(study.table.rail[rail].name for rail in at)
            found.append((f"{LIMITS[limit]} of {names} is not known everywhere", wanted, at))
    return found


def _lost(study: SpanStudy, tables: tuple[RailTableau, ...], rail: int) -> list[str]:
    """Where walls of a rail were not recognized."""
    at, one = LIMITS.index(LOCAL), study.variants[0].rails[rail]
    open_ = any(np.isnan(t.by_limit[..., at]).any() for t in tables if t.rail == rail)
    if one.profile is None or not (open_ or not one.profile.section.round):
        return []
    words = lost_words(
        one.profile, SYSTEMS[study.table.study.units], not open_ and not np.isnan(one.moment).any()
    )
    return [f"{study.table.rail[rail].name}: {sentence}" for sentence in words]
