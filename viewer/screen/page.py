"""The page about a screening: one HTML file that stands alone."""

from __future__ import annotations

from pathlib import Path

from viewer.files import write_text
from viewer.picture.drawing import Drawing, drawing_svg
from viewer.quantities import column, quantity, significant
from viewer.report.page import page_environment
from viewer.report.tables import Table
from viewer.screen.export import energy_label
from viewer.screen.findings import (
    BASIS,
    CAUTIONS,
    NO_EDGE,
    RANK,
    ScreenFindings,
    leaves_inside,
    named,
    summary_words,
)
from viewer.typeface import page_css
from viewer.version import version

LISTED, FAILED = 100, 500


def write_screen_page(findings: ScreenFindings, sheet: Drawing, path: Path) -> None:
    """Write the page with the map, whole or not at all."""
    write_text(path, screen_html(findings, sheet))


def screen_html(findings: ScreenFindings, sheet: Drawing) -> str:
    """Text of the page."""
    from markupsafe import Markup

    plan = findings.plan
    return (
        page_environment()
        .get_template("screen.html.j2")
        .render(
            css=page_css(),
            name=str(plan.said["file"]),
            title=[
                ("Standard", str(plan.said["standard"])),
                ("Ground snow", _ground_snow(findings)),
                ("Friction", f"{plan.said['friction']:g}"),
                ("Eavewright", version()),
                *((f"SHA-256 of {name}", digest) for name, digest in plan.digests.items()),
            ],
            summary=summary_words(findings),
            basis=BASIS,
            rank=RANK,
            sheet=Markup(drawing_svg(sheet, f"Map of {plan.said['file']}")),
            top=ranking_table(findings, LISTED),
            failed=_failed_table(findings),
            cautions=CAUTIONS,
        )
    )


def _ground_snow(findings: ScreenFindings) -> str:
    value = findings.plan.said["site"].get("ground_snow")
    return "measured layers" if value is None else quantity(float(value), "pressure", findings.plan.units)


def ranking_table(findings: ScreenFindings, most: int) -> Table:
    """The first of the ranking."""
    units, places = findings.plan.units, findings.ranking[:most]
    edges = [findings.edge(place) for place in places]
    energy = [significant(units.convert(edge["energy"], "force")) for edge in edges]
    rows = zip(
        [str(n) for n in range(1, len(places) + 1)],
        [named(findings.buildings[b]) for b, _ in places],
        [edge["edge"] for edge in edges],
        energy,
        column([edge["force"] for edge in edges], "line", units),
        column([edge["weight"] for edge in edges], "line", units),
        column([edge["volume"] for edge in edges], "volume", units),
        [_or_dash(edge["fall"], findings) for edge in edges],
        [_or_dash(None if edge["kind"] == "none" else edge["throw"], findings) for edge in edges],
        strict=True,
    )
    line, length = units.label("line"), units.label("length")
    return Table(
        f"The first {len(places)} of {len(findings.ranking)} edges",
        (
            "",
            "Building",
            "Edge",
            f"Energy, {energy_label(units)}",
            f"Force, {line}",
            f"Weight, {line}",
            f"Snow, {units.label('volume')}",
            f"Fall, {length}",
            f"Throw, {length}",
        ),
        "nttnnnnnn",
        tuple(rows),
        note="Energy, force and weight over the worst meter; snow is all that can leave over the edge."
        + (f" {NO_EDGE}" if leaves_inside(findings, most) else ""),
    )


def _or_dash(value: float | None, findings: ScreenFindings) -> str:
    return "–" if value is None else column([value], "length", findings.plan.units)[0]


def _failed_table(findings: ScreenFindings) -> Table | None:
    if not findings.failed:
        return None
    rows = tuple((named(one), str(one["reason"])) for one in findings.failed[:FAILED])
    note = "" if len(rows) == len(findings.failed) else "The others stand in screen.csv."
    return Table("Not screened: look at these by hand", ("Building", "Why"), "tt", rows, note=note)
