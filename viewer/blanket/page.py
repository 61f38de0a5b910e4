"""blanket.html: what the layer brings to every attachment beside its tributary force; stands alone."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np

from fea.blanket.study import BlanketStudy
from viewer.blanket.picture import blanket_drawing
from viewer.blanket.words import (
    CAUTIONS,
    balance_lines,
    by_check,
    clamp_heads,
    clamp_lines,
    comparison_lines,
    headline,
    layer_lines,
    leaving,
    proof_line,
    row_heads,
    row_lines,
    shown,
    units_of,
    verdict,
)
from viewer.files import write_text
from viewer.picture.drawing import drawing_svg
from viewer.report.page import page_environment
from viewer.report.tables import Table
from viewer.typeface import page_css
from viewer.version import version

MOST = 400  # clamps of the table; blanket.csv has all
_MARK = {"kept": "kept", "not verified": "open"}


def write_blanket_page(study: BlanketStudy, path: Path) -> None:
    """Write the page, whole or not at all."""
    write_text(path, blanket_html(study))


def blanket_html(study: BlanketStudy, today: date | None = None) -> str:
    """Text of the page."""
    from markupsafe import Markup

    project, compared = study.project, study.comparison
    name = project.table.project.name
    return (
        page_environment()
        .get_template("blanket.html.j2")
        .render(
            css=page_css(),
            name=name,
            title=_title_block(study, today or date.today()),
            verdict=verdict(study),
            mark=_MARK.get(verdict(study), "exceeded"),
            headline=headline(study),
            more=[line.replace("`", "") for line in (leaving(study), by_check(study)) if line],
            picture=Markup(drawing_svg(blanket_drawing(study), f"Snow layer of {name}")),
            rows=_row_tables(study),
            layer=layer_lines(study),
            attachments=_attachment_tables(study),
            balance=_balance_table(study),
            proof=proof_line(study),
            snow=_snow_table(study),
            states=[f"{a.view.name}: {a.view.words}." for a in study.answers],
            notes=(*(() if compared is None else compared.words), *study.notes),
            cautions=CAUTIONS,
        )
    )


def _title_block(study: BlanketStudy, today: date) -> tuple[tuple[str, str], ...]:
    project, about = study.project, study.project.table.project
    return (
        ("Project", about.name),
        ("Revision", about.revision or "–"),
        ("Engineer", about.engineer or "not named"),
        ("Date", today.isoformat()),
        ("Case", study.setting.case.name),
        ("Load factor on snow for use", f"{study.factor:g}"),
        ("Input", project.source),
        ("Eavewright", version()),
        ("Input SHA-256", project.digest),
    )


def _row_tables(study: BlanketStudy) -> tuple[Table, ...]:
    found = []
    lines = row_lines(study)
    if lines:
        heads = row_heads(study)
        note = (
            "Forces down the slope as the snow lies, before load factors. Bearing, over and below: pull of "
            "the layer over what it bears at the rail; above 1 it packs, flows over or below (judgment)."
        )
        found.append(Table("Force on every row", heads, _kinds(heads), tuple(lines), note=note))
    if study.comparison is not None:
        heads = ("", "single stops", "row")
        caption = "Single stops beside a row on the same seams, coherent snow"
        found.append(Table(caption, heads, "tnn", tuple(comparison_lines(study))))
    return tuple(found)


def _attachment_tables(study: BlanketStudy) -> tuple[Table, ...]:
    units, found = units_of(study), []
    count = len(study.project.layout.clamp_name)
    if count:
        heads = clamp_heads(study)
        rest = f" The {MOST} that rise most of {count}; blanket.csv has all." if count > MOST else ""
        note = (
            "Along the seam, before load factors; tributary: from half span to half span. Ratio: largest "
            f"over tributary. Use: of the strength, factored, largest of all states.{rest}"
        )
        marks = tuple(_use_mark(study.worst_use[c]) for c in rising(study)[:MOST])
        caption = "Clamps, those that rise most over their tributary force first"
        found.append(Table(caption, heads, _kinds(heads), tuple(clamp_lines(study, MOST)), marks, note))
    stops = study.setting.stops
    if stops.count:
        heads = ("stop", *(a.view.name for a in shown(study)), "use")
        order = np.argsort(-np.nan_to_num(study.worst_stop, nan=np.inf), kind="stable")[:MOST]
        rows = tuple(
            (
                stops.name[s],
                *(units.text(float(a.stop[s]), "force") for a in shown(study)),
                "not verified" if np.isnan(study.worst_stop[s]) else f"{study.worst_stop[s]:.2f}",
            )
            for s in order
        )
        marks = tuple(_use_mark(study.worst_stop[s]) for s in order)
        found.append(Table("Single stops, most used first", heads, _kinds(heads), rows, marks))
    return tuple(found)


def rising(study: BlanketStudy) -> np.ndarray:
    """Clamps in the order of `clamp_lines`."""
    return np.argsort(-(study.most - study.tributary_clamp), kind="stable")


def _use_mark(use: float) -> str:
    return "open" if np.isnan(use) else "exceeded" if use > 1.0 else ""


def _kinds(heads: tuple[str, ...]) -> str:
    return "t" + "n" * (len(heads) - 1)


def _balance_table(study: BlanketStudy) -> Table:
    heads = ("", *(a.view.name for a in shown(study)))
    note = "What drives the layer down the slope, and what takes it."
    return Table("Where the driving force goes", heads, _kinds(heads), tuple(balance_lines(study)), note=note)


def _snow_table(study: BlanketStudy) -> Table:
    """Numbers of the layer, and who gave them."""
    units, table, choice = units_of(study), study.project.table.blanket, study.setting.choice
    first = study.answers[0].view
    strength = first.snow.strength

    def of(given: object) -> str:
        return "project" if given is not None else "fit to density and temperature, from memory"

    middle = [float(np.median(v)) for v in (first.snow.young, *_strengths(strength))]
    rows = (
        (
            "density",
            units.text(choice.density, "density"),
            "project" if table.density is not None else "the snow case, or settled snow where that is denser",
        ),
        ("stiffness", units.text(middle[0], "stress"), of(table.young)),
        ("tensile strength", units.text(middle[1], "pressure"), of(table.tensile_strength)),
        ("shear strength", units.text(middle[2], "pressure"), of(table.shear_strength)),
        ("compressive strength", units.text(middle[3], "pressure"), of(table.compressive_strength)),
        ("friction at the sheet", f"{study.setting.friction:g}", "project"),
        (
            "cells",
            f"{len(first.layer.corner):,} up to {units.text(study.setting.step, 'length')}",
            "blanket.mesh",
        ),
    )
    return Table("Numbers of the layer", ("", "value", "from"), "tnt", rows)


def _strengths(strength: object) -> tuple[np.ndarray, ...]:
    return tuple(getattr(strength, name) for name in ("tension", "shear", "compression"))
