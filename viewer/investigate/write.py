"""The files of `eavewright investigate`; the same for the same inputs."""

from __future__ import annotations

import base64
from pathlib import Path
from typing import Any

import numpy as np

from fea.evidence.fit import Fit
from viewer.export import file_head
from viewer.files import csv_text, safe, write_json, write_text
from viewer.history.chart import history_drawing
from viewer.investigate.blocks import blocks
from viewer.investigate.case import CaseFindings
from viewer.investigate.course import before, differing, likeliest, nearest_told, sequence, torn
from viewer.investigate.families import families_data
from viewer.investigate.findings import answer, assumed, cautions, ranking, timeline, told, unexplained
from viewer.investigate.looks import MEASURE, changes, first_and_later
from viewer.investigate.picture import case_drawing, write_animation
from viewer.investigate.sizes import load_words, size_words, sizes_data, sizes_told
from viewer.investigate.verdict import verdict
from viewer.investigate.words import sentences
from viewer.picture.drawing import Drawing, drawing_svg, write_png
from viewer.plain import plain_data
from viewer.report.page import page_environment
from viewer.report.tables import Table
from viewer.typeface import page_css
from viewer.version import version


def write_case(found: CaseFindings, folder: Path) -> None:
    """Write every output into a folder that exists, each whole or not at all."""
    write_json(folder / "investigation.json", case_data(found), indent=1)
    write_text(folder / "sequence.csv", sequence_csv(found))
    drawing = case_drawing(found)
    write_png(drawing, folder / "investigation.png")
    write_animation(found, folder / "sequence.gif")
    picture = (folder / "sequence.gif").read_bytes()
    write_text(folder / "investigation.html", case_html(found, drawing, picture))


def case_data(found: CaseFindings) -> dict[str, Any]:
    """Everything as plain data, SI, after viewer/investigation.schema.json."""
    evidence, layout = found.evidence, found.evidence.project.layout
    best, order = likeliest(found)
    bank, p = found.bank(found.fits[0].cause), found.pressure
    cleaned: dict[str, Any] = plain_data(
        {
            **file_head("investigation", evidence.path.name, evidence.digest),
            "case": {
                "name": evidence.table.case.name,
                "day": None if evidence.table.case.day is None else evidence.table.case.day.isoformat(),
                "by": evidence.table.case.by,
                "snow_case": found.case_name,
                "snow_pressure": p,
            },
            "answer": answer(found),
            "answer_size": size_words(found),
            "answer_load": load_words(found),
            "verdict": verdict_data(found),
            "found": list(told(found)),
            "explanations": [
                {
                    "cause": one.cause,
                    "prior": one.prior,
                    "posterior": one.posterior,
                    "low": one.low,
                    "high": one.high,
                    "samples_near": one.near,
                    "samples_telling": one.tells,
                    "snow_pressure": {
                        "low": one.mass[0] * p if one.mass[0] > 0.0 else None,
                        "middle": one.mass[1] * p,
                        "high": one.mass[2] * p if np.isfinite(one.mass[2]) else None,
                    },
                    "sizes": sizes_data(found, one),
                    "unexplained": [
                        {
                            "what": miss.what,
                            "about": miss.about,
                            "found": miss.told,
                            "low": miss.low,
                            "high": miss.high,
                            "chance": miss.chance,
                        }
                        for miss in one.unexplained
                    ],
                }
                for one in found.fits
            ],
            "families": families_data(found),
            "left_unexplained": list(unexplained(found)),
            "not_possible": [{"cause": cause, "why": why} for cause, why in found.cannot],
            "measure_next": [
                {"sign": one.sign, "what": MEASURE[one.sign], "information": one.information}
                for one in found.further
            ],
            "clamps": [
                {
                    "name": name,
                    "known": bool(evidence.known[c]),
                    "gave_way": bool(evidence.gave_way[c]) if evidence.known[c] else None,
                    "gave_way_by_cause": {
                        one.cause: _share(found.bank(one.cause).gave_way[:, c], one.weight)
                        for one in found.fits
                    },
                }
                for c, name in enumerate(layout.clamp_name)
            ],
            "nearest_sample": {
                "cause": bank.cause,
                "snow_over_case": bank.mass[best],
                "fallen": bank.fallen[best],
                "sequence": [layout.clamp_name[c] for c in order],
                "bond_left": [found.course.bond_left(int(c)) for c in order],
                "splices_parted": [
                    {"near": layout.clamp_name[c], "clamps_before": earlier} for c, earlier in torn(found)
                ],
                "splices_parted_before": [layout.clamp_name[c] for c in before(found)],
                "hold_less": [layout.clamp_name[c] for c in np.flatnonzero(found.course.flawed)],
                "differs": list(differing(found)),
                "told": nearest_told(found),
            },
            "timeline": list(timeline(found)),
            "assumed": list(assumed(found)),
            "would_change_the_answer": list(changes(found)),
            "cautions": list(cautions(found)),
        }
    )
    return cleaned


def _share(gave_way: Any, weight: Any) -> float:
    total = float(weight.sum())
    return float(weight @ gave_way) / total if total > 0.0 else float("nan")


def sequence_csv(found: CaseFindings) -> str:
    """Clamps of the nearest sample in the order in which they give way."""
    rows = [
        (number, f"{left:.6g}", safe(clamp), safe(row), state)
        for number, left, clamp, row, state in sequence(found)
    ]
    return csv_text([("event", "bond left", "what", "row", "found"), *rows])


def verdict_data(found: CaseFindings) -> dict[str, object]:
    """The verdict as plain data."""
    said = verdict(found)
    causes = [] if said.of is None else [said.of.cause] if isinstance(said.of, Fit) else list(said.of.causes)
    return {"word": said.word.lower(), "text": said.text, "causes": causes}


def case_html(found: CaseFindings, drawing: Drawing, picture: bytes) -> str:
    """Text of the report: one page that stands alone."""
    from markupsafe import Markup

    evidence = found.evidence
    table = evidence.table.case
    events = Table(
        f'Sequence of the sample of "{found.fits[0].cause}" that is nearest to what was found, '
        "its snow lying still and its bond falling",
        ("event", "bond left", "clamp or splice", "row", "found"),
        "tnttt",
        tuple((str(number), f"{100.0 * left:.0f} %", *words) for number, left, *words in sequence(found)),
    )
    animation = f"data:image/gif;base64,{base64.b64encode(picture).decode()}"
    return (
        page_environment()
        .get_template("investigation.html.j2")
        .render(
            css=page_css(),
            name=table.name,
            title=[
                ("Day", table.day.isoformat() if table.day else "not given"),
                ("Looked at by", table.by or "not given"),
                ("Roof", evidence.project.table.project.name),
                ("Eavewright", version()),
                ("SHA-256 of the inputs", evidence.digest),
            ],
            answer=sentences(answer(found)),
            size=size_words(found),
            load=load_words(found),
            blocks=blocks(found),
            sizes=sizes_told(found),
            nearest=nearest_told(found),
            told=told(found),
            sheet=Markup(drawing_svg(drawing, table.name)),
            animation=animation,
            ranking=ranking(found),
            unexplained=unexplained(found),
            first=first_and_later(found)[0],
            later=first_and_later(found)[1],
            timeline=timeline(found),
            weather=Markup(drawing_svg(history_drawing(found.history, table.day), "Snow by the weather"))
            if found.history
            else "",
            assumed=assumed(found),
            events=events,
            cautions=cautions(found),
        )
    )
