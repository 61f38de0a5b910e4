"""tests.html: the campaign on one page that stands alone."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from markupsafe import Markup

from fea.strength_tests.results import CampaignResult
from viewer.files import write_text
from viewer.picture.drawing import drawing_svg
from viewer.report.page import page_environment
from viewer.strength.chart import campaign_drawing
from viewer.strength.rig_chart import rig_drawing
from viewer.strength.rig_words import rig_answer, rig_remedy, rig_table, rig_verdict
from viewer.strength.words import (
    answer,
    largest_words,
    model_words,
    more_tables,
    no_gain,
    strengths_table,
    tests_table,
    units_of,
    valid_for,
)
from viewer.typeface import page_css
from viewer.version import version

CAUTIONS = (
    "A licensed engineer must review these strengths; the local code governs how they may be used.",
    "They hold for the clamp, seam, sheet, substrate and tightening that were tested, and for no other.",
    "Tests of short duration say nothing about years of load, heat, frost and wet.",
    "Falling snow and ice can kill. Work at height can kill.",
)


def write_campaign_page(found: CampaignResult, path: Path) -> None:
    """Write the page, whole or not at all."""
    table, units = found.campaign.table, units_of(found)
    title = (
        ("Campaign", table.campaign.name),
        ("Report", table.campaign.report or "not given"),
        ("Printed", date.today().isoformat()),
        ("Program", f"eavewright {version()}"),
        ("Input", f"{found.campaign.path.name}, SHA-256 {found.campaign.digest}"),
    )
    text = (
        page_environment()
        .get_template("tests.html.j2")
        .render(
            name=table.campaign.name,
            css=page_css(),
            title=title,
            answer=answer(found),
            largest=largest_words(found),
            valid=valid_for(found),
            chart=Markup(drawing_svg(campaign_drawing(found), f"Strengths of {table.campaign.name}")),
            strengths=strengths_table(found),
            tests=tests_table(found),
            more=more_tables(found),
            no_gain=no_gain(found),
            rig=rig_table(found, units),
            rig_answer=rig_answer(found, units),
            rig_verdict=""
            if found.calibration is None
            else f"{rig_verdict(found.calibration)} {rig_remedy(found)}".strip(),
            rig_chart=""
            if found.calibration is None
            else Markup(
                drawing_svg(rig_drawing(found, words=False), "Measured curves and the model of the rig")
            ),
            model=model_words(found),
            notes=found.notes,
            cautions=CAUTIONS,
        )
    )
    write_text(path, text)
