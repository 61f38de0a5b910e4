"""Snow cases of a roof at every end of what nobody gave of its splices and clamps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fea.analysis import Analysis
from fea.failure.roof_case import Chosen, Laws, choose_cases
from fea.unknowns import SPLICES, ends_of, one_end_words, rocking_alone, worse_words


def choose_ends(analysis: Analysis, name: str | None, laws: Laws) -> tuple[Chosen, ...]:
    """As `choose_cases`, at every end; the one whose clamps are used most first.

    A sample is followed under all of them, so that its row lets go where it does at any end. Ends at which
    other splices can part do not go together in one sample: then those of splices that pass torsion on are
    taken alone, and said.
    """
    ends = ends_of(analysis)
    if len(ends) == 1:
        return choose_cases(analysis, name, laws)
    found = [
        tuple(replace(one, state=end.words) for one in choose_cases(end.analysis, name, laws)) for end in ends
    ]
    together = [cases for cases in found if _parts(cases[0]) == _parts(found[0][0])]
    together.sort(key=lambda cases: -float(np.max(cases[0].use)))
    first, *rest = (one for cases in together for one in cases)
    project, what = analysis.project, "are followed in every sample, which fails where any lets a row go"
    said = worse_words(project, what)
    if len(together) < len(found):
        tips = rocking_alone(project)
        said = (
            *one_end_words(project, "samples follow rows with", (SPLICES,)),
            *worse_words(project, what, tips),
        )
    return (replace(first, notes=(*said, *first.notes)), *rest)


def _parts(chosen: Chosen) -> tuple[int, ...]:
    """Splices that can part."""
    splices = chosen.roof.roof.splices
    return () if splices is None else tuple(splices.origin.tolist())
