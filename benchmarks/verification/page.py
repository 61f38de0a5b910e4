"""Run every verification problem and write the verification page beside this file.

python benchmarks/verification/page.py            writes README.md and its drawings
python benchmarks/verification/page.py --quick    coarse meshes, writes nothing: does everything still run?
"""

from __future__ import annotations

import argparse
import math
import re
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parents[1]))

from benchmarks.verification.beams import beam_findings  # noqa: E402
from benchmarks.verification.contacts import contact_findings  # noqa: E402
from benchmarks.verification.course import Course, Run, run_course  # noqa: E402
from benchmarks.verification.findings import Finding  # noqa: E402
from benchmarks.verification.flow import flow_findings, mark_findings  # noqa: E402
from benchmarks.verification.panel import panel_findings  # noqa: E402
from benchmarks.verification.patches import patch_findings  # noqa: E402
from benchmarks.verification.plots import Panel, convergence_svg  # noqa: E402
from benchmarks.verification.profiles import (  # noqa: E402
    section_findings,
    span_findings,
    statistics_findings,
)
from benchmarks.verification.rails import rail_findings  # noqa: E402
from benchmarks.verification.reliability import cascade_findings, chance_findings  # noqa: E402
from benchmarks.verification.screws import screw_findings  # noqa: E402
from benchmarks.verification.snow_layer import layer_findings  # noqa: E402
from viewer.files import write_text  # noqa: E402

NUMERIC = re.compile(r"[\W\d]*(miss\W*)?([+-]?\d|–|below |no answer)")
EXACT = 1e-6  # smaller errors are rounding or the digits of the reference, and printed as such

HEAD = """# Verification

Written by `python benchmarks/verification/page.py`; do not edit. Each value is held against a published one,
a closed form or another program; numbers lead to the sources, "from memory" where a text was not at hand.
Errors are relative to the reference. The bar is what we ask of ourselves; a value beyond it is a **miss**.
"""

SHELLS = """## Shells: the obstacle course

Error for the four-node (quads) and the three-node (triangles) shell at so many elements along a side. A dash:
that mesh was not run; bold: outside the bar, which names its mesh. Problems without a bar are shown only.
Errors settle above zero where a reference comes from another theory (beams for the strips) or has few digits.
Rigid hubs stand for a grip on its sheet. They are round, because at the corners of a rectangular grip elastic
stress has no limit: there the study of a seam gives means over a patch of sheet of fixed size, and its mesh
estimate speaks of these means, not of a peak.
"""
TABLES = (("Surfaces and plates", False), ("Strips, by elements along their length", True))
NOT_DRAWN = ("Thin plate 1 x 2", "Supported plate", "Slender strip pulled", "Slender strip bent out")


class Sources:
    """Numbers of sources in the order of their first use."""

    def __init__(self) -> None:
        self.words: list[str] = []

    def number(self, words: str) -> str:
        """Mark of a source."""
        if words not in self.words:
            self.words.append(words)
        return f"[{self.words.index(words) + 1}]"

    def text(self) -> str:
        """The list."""
        lines = [f"{i}. {words}" for i, words in enumerate(self.words, 1)]
        return "## Sources\n\n" + "\n".join(lines) + "\n"


def number(value: float) -> str:
    """Five significant digits."""
    return f"{value:.5g}"


def percent(error: float) -> str:
    """Relative error in words."""
    if error != error:
        return "no answer"
    if abs(error) < EXACT:
        return f"below 1e{max(math.ceil(math.log10(abs(error) + 1e-16)), -12)}"
    return f"{100.0 * error:+.2g}%"


def table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """A Markdown table, text left and numbers right."""
    right = [all(NUMERIC.match(row[k]) for row in rows) for k in range(len(head))]
    lines = [
        "| " + " | ".join(head) + " |",
        "| " + " | ".join("---:" if r and k else "---" for k, r in enumerate(right)) + " |",
    ]
    lines += ["| " + " | ".join(row) + " |" for row in rows]
    return "\n".join(lines) + "\n"


def finding_row(finding: Finding, sources: Sources) -> list[str]:
    """Cells of one finding."""
    error = percent(finding.error)
    return [
        finding.problem[0].upper() + finding.problem[1:],
        f"{number(finding.reference)} {finding.unit}".strip(),
        f"{number(finding.value)} {finding.unit}".strip(),
        error if finding.kept else f"**miss** {error}",
        f"{100.0 * finding.bar:g}%" if finding.bar > EXACT else f"{finding.bar:g}",
        finding.mesh,
        sources.number(finding.source),
    ]


def section(title: str, words: str, findings: Sequence[Finding], sources: Sources) -> str:
    """One section of single values."""
    head = ("problem", "reference", "found", "error", "bar", "mesh", "source")
    return f"## {title}\n\n{words}\n\n{table(head, [finding_row(f, sources) for f in findings])}"


SECTIONS: tuple[tuple[str, str, Callable[[bool], list[Finding]]], ...] = (
    (
        "Patch tests",
        "Fields that a mesh of any shape must give back exactly; the error is the largest of all "
        "displacements and stresses.",
        lambda quick: patch_findings(),
    ),
    ("Beams", "Exact elements: one is enough, so these ask for digits.", lambda quick: beam_findings()),
    (
        "Rails on clamps",
        "Largest clamp force and largest moment of each table.",
        lambda quick: rail_findings(),
    ),
    (
        "One-way supports",
        "The set of supports that push must be the right one, or the value counts as a miss.",
        lambda quick: contact_findings(),
    ),
    (
        "A clamp on a panel",
        "One sheet with two standing legs, 3 m long, pulled by a clamp on one of them. A check of the "
        "solver, not of a roof: all clips hold along the seam and nothing bears on a deck. Other programs "
        "differ among themselves by 1 to 2% on the fine mesh.",
        lambda quick: panel_findings(quick=quick),
    ),
    (
        "Rail sections",
        "What a section is worth, from its outline alone.",
        lambda quick: section_findings(),
    ),
    (
        "Span tables",
        "The rows that span tables are made of, on clamps that do not give way.",
        lambda quick: span_findings(),
    ),
    (
        "Screws",
        "Strengths of one screw and what a group shares out; no published example could be read.",
        lambda quick: screw_findings(),
    ),
    (
        "What few tests justify",
        "Factors on the scatter of tests; the tables round to two digits.",
        lambda quick: statistics_findings(),
    ),
    (
        "Sliding force",
        "Strips over planes are exact; facets of curved roofs converge.",
        lambda quick: flow_findings(),
    ),
    (
        "Roofs of city models",
        "Roof told from walls and floors by sight alone, the marks of the file set aside; shares of area.",
        lambda quick: mark_findings(),
    ),
    (
        "The layer of snow",
        "Plain layers of the blanket.",
        lambda quick: layer_findings(),
    ),
    (
        "Rare failures",
        "Means over seeds show whether a sampler is biased, intervals that hold the true value whether it "
        "says its doubt rightly.",
        chance_findings,
    ),
    (
        "Failures in order",
        "Brittle links that share alike.",
        cascade_findings,
    ),
)


def course_table(runs: Sequence[Run], sources: Sources) -> str:
    """Table of problems, one row a problem and element."""
    sides, rows = sorted({n for run in runs for n in run.side}), []
    for run in runs:
        error, missed = dict(zip(run.side, run.error, strict=True)), [n for n, _ in run.missed]
        cells = [percent(error[n]) if n in error else "–" for n in sides]
        cells = [f"**{cell}**" if n in missed else cell for n, cell in zip(sides, cells, strict=True)]
        reference = f"{number(run.reference)} {run.unit}".strip()
        rows.append(
            [run.problem, run.kind, reference, *cells, run.verdict, run.mesh, sources.number(run.source)]
        )
    return table(("problem", "element", "reference", *(f"{n}" for n in sides), "bar", "mesh", "source"), rows)


def drawn(course: Course) -> list[Panel]:
    """Drawings of the problems that say something of their own."""
    return [panel for panel in course.panels if not panel.title.startswith(NOT_DRAWN)]


def page(course: Course, found: Sequence[tuple[str, str, list[Finding]]]) -> str:
    """The whole page."""
    bars = sum(n in run.side for run in course.runs for n, _ in run.bar)
    counts = [("Shells", bars, sum(len(run.missed) for run in course.runs))]
    counts += [(title, len(many), sum(not one.kept for one in many)) for title, _, many in found]
    summary = table(("part", "checks", "misses"), [[t, str(n), str(m)] for t, n, m in counts])
    sources = Sources()
    parts = [HEAD, summary, SHELLS, "![Convergence of the shells](convergence.svg)\n"]
    for title, strip in TABLES:
        runs = [run for run in course.runs if (run.side[0] % 3 == 0) == strip]
        parts.append(f"### {title}\n\n{course_table(runs, sources)}")
    parts += [section(*one, sources) for one in found]
    return "\n".join([*parts, sources.text()])


def main() -> int:
    """Run everything, write the page unless quick; misses are shown, they are no failure of the program."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--quick", action="store_true", help="coarse meshes, write nothing")
    quick = parser.parse_args().quick
    clock = time.perf_counter()
    course = run_course(quick=quick)
    print(f"shells: {time.perf_counter() - clock:.1f} s")
    found = []
    for title, words, run in SECTIONS:
        clock = time.perf_counter()
        found.append((title, words, run(quick)))
        print(f"{title.lower()}: {time.perf_counter() - clock:.1f} s")
    text = page(course, found)
    drawing = convergence_svg("Convergence of the shells", drawn(course)) if not quick else ""
    if drawing:
        write_text(HERE / "README.md", text)
        write_text(HERE / "convergence.svg", drawing)
    misses = [f"{one.problem}: {percent(one.error)}" for _, _, many in found for one in many if not one.kept]
    misses += [f"{run.problem}, {run.kind}, at {n}" for run in course.runs for n, _ in run.missed]
    print("\n".join(f"miss: {words}" for words in misses) or "every value within its bar")
    return 0


if __name__ == "__main__":
    sys.exit(main())
