"""Words for how loads are combined."""

from __future__ import annotations

import re

from fea.analysis import Analysis
from fea.rails.actions import GIVEN

# The last sum of a clause, such as "1.35 G + 1.5 S" or "G + S_d".
_SUM = re.compile(r"\b(?:[\d.]+ )?[DG] \+ (?:[\d.]+ )?[SA](?:_d)?\b")


def combination(analysis: Analysis, case: int) -> str:
    """Clause and sum of a case's strength combination, with temperature both ways where it is in it."""
    factors = analysis.factors[case]
    if factors.thermal == 0.0 or analysis.basis.readings == GIVEN:
        return factors.clause
    term = f" ± {factors.thermal:g} T"
    found = list(_SUM.finditer(factors.clause))
    if not found:
        return f"{factors.clause},{term}"
    end = found[-1].end()
    return factors.clause[:end] + term + factors.clause[end:]
