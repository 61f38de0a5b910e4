"""What the snow page says of domes: one case for those that are turned, one working for facets alike."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from snow_projects import ASCE16, DOME, study_of, under_asce, under_nbcc, with_part, with_site

from viewer.snow.page import snow_html, zone_chapters
from viewer.snow.sheet import sheet_drawing, shown_cases
from viewer.snow.symmetry import stands_for, turned_words

ALL = [
    under_asce(),
    under_asce(ASCE16),
    under_nbcc(),
    with_site('standard = "EN 1991-1-3"\nground_snow = "1.5 kPa"'),
]


@pytest.mark.parametrize("text", ALL, ids=["ASCE/SEI 7-22", "ASCE/SEI 7-16", "NBCC", "EN"])
def test_turned_cases_are_told_as_one_that_is_no_lighter(text: str, tmp_path: Path) -> None:
    study = study_of(with_part(text, DOME), tmp_path)
    findings = study.findings
    groups = stands_for(findings)
    assert sorted(np.concatenate([[one, *rest] for one, rest in groups.items()])) == list(
        range(len(findings.cases))
    )
    assert max(len(rest) for rest in groups.values()) >= 3
    for one, rest in groups.items():
        for other in rest:
            assert findings.cases[one].total >= findings.cases[other].total - 1e-3
            assert findings.cases[one].largest == pytest.approx(findings.cases[other].largest, rel=0.01)
            wind = findings.cases[other].case.name.partition("wind toward ")[2].partition(",")[0]
            assert wind in turned_words(findings, rest)
    assert set(shown_cases(findings)) <= set(groups)
    page = snow_html(study, sheet_drawing(findings, study.scale, study.units))
    assert len(page) < 3e6
    for chapter in zone_chapters(study):
        for number in chapter["anchors"]:
            assert f'id="zone-{number}"' in page
    linked = set(re.findall(r'href="#(zone-\d+)"', page))
    assert all(f'id="{one}"' in page for one in linked)
