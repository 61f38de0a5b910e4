"""Values of the verification page stay within their bars."""

from collections.abc import Callable

import pytest

from benchmarks.verification.findings import Finding
from benchmarks.verification.flow import flow_findings, mark_findings
from benchmarks.verification.profiles import section_findings, span_findings, statistics_findings
from benchmarks.verification.reliability import cascade_findings, chance_findings
from benchmarks.verification.screws import screw_findings
from benchmarks.verification.snow_layer import layer_findings


@pytest.mark.parametrize(
    ("findings", "count"),
    [
        (section_findings, 18),
        (span_findings, 8),
        (screw_findings, 13),
        (statistics_findings, 41),
        (mark_findings, 10),
        (layer_findings, 8),
        pytest.param(flow_findings, 11, marks=pytest.mark.slow),
        pytest.param(lambda: chance_findings(quick=True), 15, marks=pytest.mark.slow),
        pytest.param(lambda: cascade_findings(quick=True), 3, marks=pytest.mark.slow),
    ],
)
def test_every_value_keeps_its_bar(findings: Callable[[], list[Finding]], count: int) -> None:
    found = findings()
    assert len(found) == count
    assert not [(one.problem, one.value, one.reference) for one in found if not one.kept]
