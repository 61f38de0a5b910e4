"""Slices of a drift around a corner are told as one zone."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from snow_projects import study_of, under_asce, under_nbcc, with_obstacles

from roofmodel.snow.corners import AROUND
from viewer.picture.drawing import Drawing
from viewer.snow.families import families, told_number
from viewer.snow.page import snow_html

BOX = {'width = "2.5 m"': 'width = "6 m"', 'depth = "1.5 m"': 'depth = "4 m"', 'up = "3 m"': 'up = "2 m"'}


@pytest.mark.parametrize("text", [under_nbcc(), under_asce()], ids=["NBCC", "ASCE"])
def test_one_row_one_label_one_section_and_no_row_without_area(text: str, tmp_path: Path) -> None:
    text = with_obstacles(text)
    for old, new in BOX.items():
        text = text.replace(old, new)
    study = study_of(text, tmp_path)
    findings = study.findings
    slices = [i for i, patch in enumerate(findings.patches) if patch.zone.name.endswith(AROUND)]
    assert len(slices) > 8
    groups = [group for group in families(findings, range(len(findings.patches))) if group[0] in slices]
    assert len(groups) < 0.5 * len(slices)
    html = snow_html(study, Drawing((10.0, 10.0)))
    rows = re.findall(r"<tr>(.*?)</tr>", html, re.S)
    told = [row for row in rows if AROUND.strip(", ") in row and "slices" in row]
    several = [
        group
        for case in findings.cases
        for group in families(findings, case.patches)
        if group[0] in slices and len(group) > 1
    ]
    assert len(told) == len(several) > 0
    for row in told:
        cells = [re.sub(r"<[^>]+>", "", cell).strip() for cell in re.findall(r"<td.*?</td>", row, re.S)]
        assert float(cells[4].replace(",", "")) > 0.0
    cut = [study.section_of[i] for i in slices if i in study.section_of]
    assert 1 <= len(set(cut)) <= 2 * len({findings.patches[i].zone.name for i in slices}) < len(cut)
    for group in several:
        assert len({told_number(findings, i) for i in group}) == 1


def test_slices_of_one_drift_add_up_to_its_row(tmp_path: Path) -> None:
    text = with_obstacles(under_nbcc())
    for old, new in BOX.items():
        text = text.replace(old, new)
    findings = study_of(text, tmp_path).findings
    for case in findings.cases:
        total = sum(
            sum(findings.patches[i].force for i in group) for group in families(findings, case.patches)
        )
        assert total == pytest.approx(case.total, rel=1e-9)
