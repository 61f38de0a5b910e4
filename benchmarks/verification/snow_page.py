"""Compare the program with the open check values of snow and write SNOW.md beside this file.

python benchmarks/verification/snow_page.py            writes SNOW.md
python benchmarks/verification/snow_page.py --quick    writes nothing: does everything still run?
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parents[1]))

from benchmarks.verification.open_asce import ASCE  # noqa: E402
from benchmarks.verification.open_checks import OpenRow, open_rows  # noqa: E402
from benchmarks.verification.open_mechanics import LISTED, MECHANICS  # noqa: E402
from benchmarks.verification.open_rest import REST  # noqa: E402
from benchmarks.verification.page import Sources, number, percent, table  # noqa: E402
from viewer.files import write_text  # noqa: E402

HEAD = """# Verification of snow

Written by `python benchmarks/verification/snow_page.py`; do not edit. Every row of the collected check values
(`tests/data/snow_checks.json`) through roofs, projects and rows of the program. Units stand at the end of
each name. The tolerance is the file's own; `tests/snow/test_open_checks.py` fails where a value leaves it,
and where a row of the file is neither here nor listed with a reason. Most sources are second hand: results
need review by a licensed engineer who has the standard at hand, and local code governs.
"""
MEDIUM = """Their references are from memory or by one route only (medium confidence). That ours agrees says
that two readings of the same memory agree, not that the standard says so: confirm them on a paper copy.
"""
NOT_GIVEN = """Rows for which the program has no value, or one that differs, and why.
"""
UNSURE = """Where the notes behind the file mark a clause as unsure, this is what the program does.
"""
# Clauses that the collected notes mark with (!), our reading, and on which side it errs.
READINGS = (
    ("ASCE 7.4.5", "ice at eaves 2 p_f on the overhang, to 5 ft from the eave", "from memory; loads no row"),
    ("ASCE 7-16 7.6.2", "curved roofs: C_s at 30 degrees and at the eave as O-38", "agrees with O-38 only"),
    ("ASCE 7-22 T 7.3-3", "C_t 1.14 at R-30 and 30 psf, bilinear", "another print has 1.17, 2.6% more"),
    ("ASCE 7-22 7.4", "slippery C_s without a bar on the R-value", "as transcribed; 7-16 keeps its bar"),
    (
        "ASCE 7-22 7.7.1",
        "windward drift cut at h_c, wider for the same area",
        "another print does not cut",
    ),
    ("EN 5.3.6", "mu_s as a triangle over l_s", "usual reading of Fig. 5.7; half of the slide load is kept"),
    ("EN B2", "whole roof length for b_3, valley from its lowest point", "safe"),
    ("EN B4", "no reduction by slope", "safe; B3 has one and B4 names none"),
    ("NBCC 4.1.6.9 to 4.1.6.12", "gable, arch, sliding and valley factors", "from memory"),
)


def all_rows() -> list[OpenRow]:
    """Every row of the file."""
    return open_rows(ASCE | REST | MECHANICS, LISTED)


def compared(rows: Sequence[OpenRow], sources: Sources) -> str:
    """Table of values beside their references."""
    cells = [
        [
            row.check,
            row.title,
            row.key,
            number(row.reference),
            "–" if row.value is None else number(row.value),
            percent(row.error) if row.kept else f"**miss** {percent(row.error)}",
            f"{100.0 * row.tolerance:g}%",
            sources.number(row.source),
        ]
        for row in rows
    ]
    return table(("id", "check", "output", "reference", "ours", "difference", "bar", "source"), cells)


def listed(rows: Sequence[OpenRow]) -> str:
    """Table of what is not given or differs, with the reason."""
    cells = [
        [
            row.check,
            row.title,
            row.key,
            number(row.reference),
            "–" if row.value is None else number(row.value),
            row.why,
        ]
        for row in rows
    ]
    return table(("id", "check", "output", "reference", "ours", "why"), cells)


def snow_page(rows: Sequence[OpenRow]) -> str:
    """The whole page."""
    given = [row for row in rows if not row.why]
    sure = [row for row in given if row.confidence == "high"]
    unsure = [row for row in given if row.confidence != "high"]
    other = [row for row in rows if row.why]
    misses = sum(not row.kept for row in given)
    counts = [
        ["checks in the file", str(len({row.check for row in rows}))],
        ["values compared", str(len(given))],
        ["beyond their bar", str(misses)],
        ["listed with a reason", str(len(other))],
    ]
    sources = Sources()
    notes = {row.check: row.notes for row in unsure if row.notes}
    said = "".join(f"- {name}: {words}\n" for name, words in notes.items())
    parts = [
        HEAD,
        table(("what", "number"), counts),
        "## Values that must agree\n\n" + compared(sure, sources),
        f"## Values of medium confidence\n\n{MEDIUM}\n" + compared(unsure, sources) + f"\n{said}",
        f"## Listed\n\n{NOT_GIVEN}\n" + listed(other),
        f"## Clauses marked as unsure\n\n{UNSURE}\n"
        + table(("clause", "what the program does", "side"), READINGS),
    ]
    return "\n".join([*parts, sources.text()])


def main() -> int:
    """Compare, write the page unless quick; misses are shown, the tests judge them."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--quick", action="store_true", help="write nothing")
    quick = parser.parse_args().quick
    clock = time.perf_counter()
    rows = all_rows()
    print(f"{len(rows)} values: {time.perf_counter() - clock:.1f} s")
    text = snow_page(rows)
    if not quick:
        write_text(HERE / "SNOW.md", text)
    missed = [f"miss: {r.check} {r.key}: {percent(r.error)}" for r in rows if not r.why and not r.kept]
    print("\n".join(missed) or "every value within its bar")
    return 0


if __name__ == "__main__":
    sys.exit(main())
