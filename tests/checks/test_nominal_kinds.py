"""EN wants characteristic strengths; "nominal" ones are taken as such, and that is told."""

import pytest
from projects import GABLE_EN, project

from fea.analysis import analyze
from fea.doubts import project_doubts


def told(folder, kind):
    text = GABLE_EN.replace('strength_kind = "design"', f'strength_kind = "{kind}"')
    if kind != "design":
        text = text.replace(f'strength_kind = "{kind}"', f'strength_kind = "{kind}"\nfactor = 1.33')
    analysis = analyze(project(folder, text))
    return analysis, [
        line for line in project_doubts(analysis.project, analysis.limits) if '"nominal"' in line
    ]


def test_nominal_is_counted_as_characteristic_and_not_verified(tmp_path):
    nominal, words = told(tmp_path, "nominal")
    characteristic, silent = told(tmp_path, "characteristic")
    assert nominal.attachment.utilization == pytest.approx(characteristic.attachment.utilization)
    assert any("clamp.strength_kind" in line for line in words)
    assert not nominal.passed
    assert silent == []
    assert told(tmp_path, "design")[1] == []
