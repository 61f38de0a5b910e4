"""What a search for rows found, as the browser shows it before it is taken."""

from __future__ import annotations

from typing import Any

from fea.planning.plan import Plan
from viewer.places import place_line
from viewer.plan.terminal import material_words
from viewer.plan.words import ends_in_words, nth_seam, row_lines, threats_in_words, verdict_words
from viewer.quantities import percent, system


def plan_answer(plan: Plan) -> dict[str, Any]:
    """Rows, material and verdict of a plan, numbers as text in the project's units."""
    units = system(plan.analysis.project.table.project.units)
    return {
        "passed": plan.passed,
        "found": not plan.failure,
        "sentence": verdict_words(plan),
        "material": material_words(plan, units),
        "threats": threats_in_words(plan),
        "rows": [
            {
                "name": line.name,
                "plane": line.plane,
                "up": units.text(line.up, "length"),
                "length": units.text(line.length, "length"),
                "every": nth_seam(line.every),
                "clamps": line.clamps,
                "percent": percent(line.utilization),
                "use": min(line.utilization, 1e6),
                "limit": line.limit,
            }
            for line in row_lines(plan)
        ],
        "notes": [
            *filter(
                None, [plan.advice, place_line(plan.place, plan.analysis, units), ends_in_words(plan, units)]
            ),
            *plan.cautions,
            *plan.notes,
            *plan.analysis.cautions,
        ],
    }
