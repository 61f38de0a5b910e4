"""Every line of the table of clamps holds numbers of one case, the same in report, package and file."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fea.analysis import Analysis
from roofmodel.units import SYSTEMS
from tests.demos import demo
from viewer.as_tested import signed_along
from viewer.clamp_table import clamp_columns
from viewer.quantities import system
from viewer.report.tables import clamps_table


def _of_other_cases(analysis: Analysis) -> Analysis:
    """The analysis as if each clamp were used most in the case that pulls least along its seam."""
    least = np.abs(signed_along(analysis)).argmin(axis=0)
    chosen = np.arange(len(analysis.snow.cases))[:, None] == least
    limits = [
        replace(one, utilization=np.where(chosen, 0.9, 0.1)) if one.target == "clamp" else one
        for one in analysis.limits
    ]
    return replace(analysis, limits=tuple(limits))


def test_numbers_of_a_line_are_of_the_case_it_names():
    analysis = _of_other_cases(demo("granary-door"))
    name = analysis.project.table.project.units
    table = clamps_table(analysis, system(name))
    kept = {column.head: list(column.values) for column in clamp_columns(analysis)}
    at = {head: number for number, head in enumerate(table.heads)}
    unit = SYSTEMS[name].label("force")
    apart = 0
    for row in table.rows:
        here = kept["Attachment"].index(row[at["Clamp"]])
        case = int(row[at["Case"]]) - 1
        assert analysis.snow.cases[case].name == kept["Worst case"][here]
        shown = float(row[at[f"F along the seam {unit}"]].replace("−", "-").replace(",", ""))
        every = SYSTEMS[name].convert(signed_along(analysis)[:, here], "force")
        digit = 10.0 ** -len(row[at[f"F along the seam {unit}"]].partition(".")[2])
        assert abs(shown - every[case]) <= 0.51 * digit
        assert np.isclose(every[case], SYSTEMS[name].convert(kept["Force along"][here], "force"))
        apart += np.abs(every).max() > np.abs(shown) + digit
        tributary = float(row[at[f"Tributary {unit}"]].replace(",", ""))
        digit = 10.0 ** -len(row[at[f"Tributary {unit}"]].partition(".")[2])
        own = SYSTEMS[name].convert(analysis.tributary[case, here], "force")
        assert abs(tributary - own) <= 0.51 * digit
    assert apart == len(table.rows)  # another case pulls harder along the seam though it uses the clamp less
