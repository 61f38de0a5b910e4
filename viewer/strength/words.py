"""What a campaign says, in words and tables, for page and terminal alike."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from fea.strength_tests.curve_notes import hidden_words, lower_by_proof
from fea.strength_tests.notes import ASKED, D7_3_BELOW
from fea.strength_tests.record_notes import raised_words
from fea.strength_tests.resistance import LEAST_PROFESSIONAL, correction_factor
from fea.strength_tests.results import CampaignResult, Justified
from fea.strength_tests.unit_notes import largest_forces
from roofmodel.project.starting import example_words
from roofmodel.project.tested import sheet_text
from roofmodel.units import UnitSystem
from viewer.quantities import quantity, significant, span_of_forces, system
from viewer.report.tables import Table

SUSPECT = "may not belong"
D2_FIRST = 4  # tests of unknown scatter from which Table D2 has a number (from memory)
WORDS = {"peak": "largest force", "slip": "force at first slip", "proof": "proof load"}


def units_of(found: CampaignResult) -> UnitSystem:
    """Unit system of the campaign."""
    return system(found.campaign.table.campaign.units)


def valid_for(found: CampaignResult) -> str:
    """What the strength may be used on."""
    one, units = found.campaign.table.specimen, units_of(found)
    sheet = f"{one.metal} {sheet_text(one.thickness, units)}"
    height = f", load {sheet_text(one.load_height, units)} above the grip" if one.load_height else ""
    if one.load_height is None and one.direction == "along":
        height = ", load at the grip (specimen.load_height is not given)"
    return (
        f"{one.clamp}, {one.direction}, on {one.seam} {sheet_text(one.seam_height, units)} high, "
        f"{sheet}, on {one.substrate}, screws at {quantity(one.screw_torque, 'grip moment', units)}{height}"
    )


def answer(found: CampaignResult) -> str:
    """What the tests justify, in a sentence."""
    one, units = found.justified, units_of(found)
    method = found.campaign.table.method
    own = one.scatter == one.sample.scatter
    measured = float(found.measured[found.counted].mean())
    down = (
        ""
        if measured < 1.001 * one.sample.mean
        else (f" at nominal sheet and metal ({quantity(measured, 'force', units)} as measured)")
    )
    text = (
        f"{one.sample.count} tests, mean {quantity(one.sample.mean, 'force', units)}{down}, scatter "
        f"{100.0 * one.scatter:.1f} %{'' if own else ' (not from them)'}: characteristic strength "
        f"{quantity(one.characteristic, 'force', units)}, design strength "
        f"{quantity(one.design, 'force', units)} with the factor {method.partial_factor:g}"
    )
    text += f"; straight from the tests (EN 1990 D7.3) {quantity(one.direct, 'force', units)}"
    if one.direct < D7_3_BELOW * one.design:
        text += ", less, as so few tests of unknown scatter say little of the design level"
    if one.factor is not None:
        text += (
            f"; by AISI S100 K2 allowable {quantity(one.asd, 'force', units)} (ASD) and "
            f"{quantity(one.lrfd, 'force', units)} (LRFD)"
        )
    hidden = hidden_words(found)
    text += f". {hidden}" if hidden else ""
    if (lower := lower_by_proof(found)) is not None:
        text += (
            f". The clamp gives way before its peaks: {quantity(lower, 'force', units)} is characteristic by "
            'proof loads (take = "proof", the safe reading; see the notes)'
        )
    example = example_words("campaign", found.campaign.table.campaign.name)
    doubt = "".join(f"{one} " for one in (*example, raised_words(found)) if one)
    return f"{doubt}{text}. Valid for: {valid_for(found)}."


def headline(found: CampaignResult) -> str:
    """The answer without the strengths, for a screen whose table has them."""
    one, units = found.justified, units_of(found)
    hidden, lower, doubt = hidden_words(found), lower_by_proof(found), raised_words(found)
    parts = [
        *([doubt] if doubt else []),
        f"{one.sample.count} tests, mean {quantity(one.sample.mean, 'force', units)}, scatter "
        f"{100.0 * one.scatter:.1f} %{'' if one.scatter == one.sample.scatter else ' (not from them)'}.",
        *([f"{hidden}."] if hidden else []),
    ]
    if lower is not None:
        parts.append(
            f"The clamp gives way before its peaks: {quantity(lower, 'force', units)} is characteristic by "
            'proof loads (take = "proof", the safe reading).'
        )
    return " ".join([*parts, f"Valid for: {valid_for(found)}."])


def formats_table(found: CampaignResult) -> Table:
    """Strengths of the three formats, and what they would be from other tests."""
    units, method = units_of(found), found.campaign.table.method
    shown = _sets(found)
    lines = (
        ("EN: characteristic, 5 %", "characteristic"),
        (f"EN: design, factor {method.partial_factor:g} (D7.2)", "design"),
        ("EN: design straight from the tests (D7.3)", "direct"),
        ("ASD: allowable (AISI S100 K2)", "asd"),
        ("LRFD: design (AISI S100 K2)", "lrfd"),
    )
    rows = tuple((words, *(_value(one, what, units) for _, one in shown)) for words, what in lines)
    heads = ("Strength", *(name for name, _ in shown))
    note = "Only the first column may be used." if len(shown) > 1 else ""
    return Table("What the tests justify", heads, "t" + "n" * len(shown), rows, note=note)


def _sets(found: CampaignResult) -> list[tuple[str, Justified]]:
    """Strengths from the counted tests, and from others."""
    sets = [
        ("tests that count", found.justified),
        ("all tests", found.all_tests),
        ("without the suspect", found.without),
    ]
    return [(name, one) for name, one in sets if one is not None]


def largest_words(found: CampaignResult) -> str:
    """The largest forces of the records in terms that show a wrong unit at once."""
    low, high = largest_forces(found)
    words = span_of_forces(low, high, units_of(found))
    return f"Largest forces of the records: {words}: as the load cell showed?"


def tests_table(found: CampaignResult) -> Table:
    """Every test, whether it counts or not."""
    units, rows, marks = units_of(found), [], []
    for i, test in enumerate(found.campaign.tests):
        reading = found.readings[i]
        status = "counts" if found.counted[i] else f"does not count: {test.excluded.strip().rstrip('.')}"
        status += f"; failed: {test.failure.strip()}" if test.failure.strip() else ""
        if i == found.suspect:
            status += f"; {SUSPECT}"
        rows.append(
            (
                test.name,
                quantity(found.measured[i], "force", units),
                "–" if test.thickness is None else sheet_text(test.thickness, units),
                quantity(found.nominal[i], "force", units),
                "–" if np.isnan(found.distance[i]) else significant(found.distance[i]),
                "–" if reading is None else quantity(reading.stiffness, "stiffness", units),
                "–" if reading is None else quantity(reading.slip, "force", units),
                "–" if reading is None else quantity(reading.proof, "force", units),
                status,
            )
        )
        marks.append("open" if i == found.suspect or not found.counted[i] else "")
    heads = (
        "Test",
        "Strength",
        "Sheet",
        "At nominal sheet",
        "Deviations from mean",
        "Stiffness",
        "First slip",
        "Proof load",
        "Status",
    )
    method = found.campaign.table.method
    bare = method.take != "peak" and any(reading is None for reading in found.readings)
    given = ", as given where there is no curve" if bare else ""
    note = (
        f"Strength: {WORDS[method.take]}{given}. At nominal sheet: times (nominal / measured thickness)^"
        f"{method.thickness_power:g} and the same of yield strength, never raised. Suspect above "
        f"{significant(found.limit)} deviations (Grubbs's test, 5 %)."
    )
    if found.share != 1.0:
        note = (
            f"Strength: of one clamp, {found.share:.3f} of the force on the rig; stiffness, slip and proof "
            f"load are the rig's. {note}"
        )
    return Table("Tests", heads, "tnnnnnnnt", tuple(rows), tuple(marks), note)


def strengths_table(found: CampaignResult) -> Table:
    """Every strength from the counted tests, and what it would be from others."""
    shown = _sets(found)
    units, method = units_of(found), found.campaign.table.method

    def line(name: str, value: str, source: str) -> tuple[str, ...]:
        return (name, *(_value(one, value, units) for _, one in shown), source)

    spread = "normal" if method.distribution == "normal" else "lognormal"
    bare = any(one.sample.count < D2_FIRST and method.known_scatter is None for _, one in shown)
    direct = "EN 1990 D7.3, "
    direct += f"its formula (Table D2 begins at {D2_FIRST} tests)" if bare else "Table D2"
    own = "; ".join(dict.fromkeys(_scatter_source(one, method.known_scatter) for _, one in shown))
    held = any(one.fractile > one.characteristic for _, one in shown)
    uncut = [line("5 % fractile, not held to the lowest test", "fractile", f"EN 1990 D7.2, {spread}")]
    rows = [
        line("Tests", "count", ""),
        line("Mean", "mean", ""),
        line("Scatter (coefficient of variation)", "scatter", own),
        line("Factor k of the characteristic strength", "k", "EN 1990 D7.2, Table D1"),
        *(uncut if held else ()),
        line(
            "Characteristic strength, 5 %",
            "characteristic",
            "the least of it and the lowest test (judgment)" if held else f"EN 1990 D7.2, {spread}",
        ),
        line(
            "Design strength",
            "design",
            f"EN 1990 D7.2: {method.conversion:g} / {method.partial_factor:g} of it",
        ),
        line("Factor k of the direct design value", "k_design", direct),
        line("Design strength straight from the tests", "direct", "EN 1990 D7.3"),
        line(
            "95 % lie above, with 75 % confidence",
            "tolerance",
            "ISO 16269-6 as if unknown, with this scatter",
        ),
        line("Resistance factor phi on the mean", "phi", "AISI S100 K2.1.1, from memory"),
        line("LRFD strength", "lrfd", "phi times mean"),
        line("Safety factor Omega on the mean", "omega", "AISI S100 K2.1.2, from memory"),
        line("ASD strength", "asd", "mean over Omega"),
    ]
    if method.safety_factor is not None:
        rows.append(line(f"Mean over {method.safety_factor:g}", "over_factor", "the rule asked for"))
    heads = ("Strength", *(name for name, _ in shown), "Source")
    note = (
        "" if len(shown) == 1 else "Only the first column may be used; the others show what leaving out does."
    )
    return Table("What the tests justify", heads, "t" + "n" * len(shown) + "t", tuple(rows), note=note)


def _scatter_source(one: Justified, known: float | None) -> str:
    """Where the scatter comes from that was used."""
    if one.scatter == one.sample.scatter:
        return "from the tests"
    own = f"the tests show {100.0 * one.sample.scatter:.2f} %"
    return f"known; {own}" if one.scatter == known else f"taken (judgment); {own}"


def _value(one: Justified, what: str, units: UnitSystem) -> str:
    if what == "count":
        return str(one.sample.count)
    if what in ("scatter",):
        return f"{100.0 * one.scatter:.2f} %"
    if what in ("k", "k_design"):
        return significant(getattr(one, what))
    if what in ("phi", "omega"):
        return "–" if one.factor is None else significant(getattr(one.factor, what))
    value = one.sample.mean if what == "mean" else getattr(one, what)
    return "–" if np.isnan(value) else quantity(value, "force", units)


LOT = (
    "k: EN 1990 Table D1 with so many tests. Same mean and scatter: as if nothing but the number of tests "
    "changed, held to the lowest test of today. Median and range: if further specimens come from the same "
    "lot. Mean and scatter are drawn from what these tests say of them; 20,000 draws, the same in "
    "every run. A wide range says that the scatter is not known yet."
)


def no_gain(found: CampaignResult) -> list[str]:
    """For each standard by which no number of further tests changes the strength: that in one line."""
    one, more, lines = found.justified, found.more, []
    if found.more_without is not None:
        return []
    for name, value, (middle, low) in (
        ("characteristic strength", one.characteristic, (more.middle, more.low)),
        ("strengths of ASD and LRFD", one.asd, more.factored[:2]),
    ):
        if np.isnan(value) or not _unchanged(middle):
            continue
        least = quantity(value * float(low.min()), "force", units_of(found))
        is_asd = name.startswith("strengths")
        lines.append(
            f"{more.added[0]} to {more.added[-1]} more tests would not change the {name}: the median stays "
            f"what it is today, and one campaign in ten ends at {least}{' (ASD)' if is_asd else ''} or below."
        )
    return lines


def _unchanged(shares: Iterable[float]) -> bool:
    return {_gain(one) for one in shares} <= {"+0.0 %"}


def more_tables(found: CampaignResult) -> tuple[Table, ...]:
    """What more tests would buy by EN 1990 and by AISI S100; beside it, as if the suspect were not there.

    None of a standard by which they change nothing (`no_gain`).
    """
    units, more, other = units_of(found), found.more, found.more_without
    today, alone = found.justified, found.without

    def force(value: float) -> str:
        return quantity(value, "force", units)

    def suspect(what: str, share: Iterable[float]) -> list[tuple[str, ...]]:
        if other is None or alone is None:
            return [() for _ in more.added]
        return [(force(getattr(alone, what) * one),) for one in share]

    without = suspect("characteristic", () if other is None else other.middle)
    rows = tuple(
        (
            f"{added} more",
            significant(k),
            force(today.characteristic * same),
            force(today.characteristic * middle),
            _gain(middle),
            f"{force(today.characteristic * low)} to {force(today.characteristic * high)}",
            *rest,
        )
        for added, k, same, middle, low, high, rest in zip(
            more.added, more.k, more.same, more.middle, more.low, more.high, without, strict=True
        )
    )
    last = () if other is None else ("median without the suspect",)
    heads = (
        "Tests", "k", "Characteristic strength, same mean and scatter", "median", "against today",
        "8 in 10 campaigns end in", *last,
    )  # fmt: skip
    by_en = Table("What more tests would buy", heads, "t" + "n" * (len(heads) - 1), rows, note=LOT)
    without = suspect("asd", () if other is None else other.factored[0])
    correction = correction_factor(today.sample.count + more.added)
    rows = tuple(
        (
            f"{added} more",
            f"{c:.2f}",
            force(today.asd * middle),
            force(today.lrfd * middle),
            _gain(middle),
            f"{force(today.asd * low)} to {force(today.asd * high)}",
            *rest,
        )
        for added, c, middle, low, high, rest in zip(
            more.added, correction, *more.factored, without, strict=True
        )
    )
    heads = (
        "Tests", "C_P", "ASD strength, median", "LRFD strength, median", "against today",
        "ASD: 8 in 10 end in", *(("ASD without the suspect",) if last else ()),
    )  # fmt: skip
    note = (
        f"AISI S100 K2.1.1 (from memory): C_P is {float(correction_factor(today.sample.count)):.2f} today, "
    )
    note += f"and V_P at least {LEAST_PROFESSIONAL:g} however many tests there are."
    if found.far_off:
        note += f" One test is so far off the mean that K2.1.1 asks for {ASKED} more tests anyway."
    by_aisi = Table(
        "What more tests would buy in ASD and LRFD", heads, "t" + "n" * (len(heads) - 1), rows, note=note
    )
    some = ((by_en, more.middle), (by_aisi, more.factored[0]))
    return tuple(one for one, middle in some if other is not None or not _unchanged(middle))


def _gain(share: float) -> str:
    return f"{round(100.0 * (share - 1.0), 1) + 0.0:+.1f} %".replace("-", "−")


def model_words(found: CampaignResult) -> str:
    """Tests against calculation; empty without."""
    model = found.model
    if model is None:
        return ""
    return (
        f"Tests are {model.slope:.3f} times the calculated strengths on average, with a scatter of "
        f"{100.0 * model.scatter:.1f} %; {model.characteristic:.3f} times a calculated strength may be taken "
        f"as characteristic, {model.design:.3f} times as design value (EN 1990 D8.2.2, {len(model.errors)} "
        "tests)."
    )
