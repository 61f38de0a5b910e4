"""A span table says which strength of the clamp it wants, and only what is loaded."""

import numpy as np
import pytest

from fea.spans.study import run_study
from roofmodel.project.span_study import load_study
from tests.checks.test_low_axis import FEWEST
from tests.spans.test_span_conditions import put

GIVEN = {"along": "6.8 kN", "across": "5 kN", "pull": "5.6 kN", "push": "7.5 kN"}
OLD = 'strength = { along = "6.8 kN", across = "5 kN", pull = "5.6 kN", push = "7.5 kN" }'


def found(folder, strength):
    words = ", ".join(f'{name} = "{value}"' for name, value in strength.items())
    return run_study(load_study(put(folder, *FEWEST, (OLD, f"strength = {{ {words} }}"))))


@pytest.mark.parametrize("missing", list(GIVEN)[1:])
def test_the_missing_strength_is_named_where_a_weak_one_would_govern(tmp_path, missing):
    """Loaded is what lowers the table when its strength is next to nothing."""
    rest = {name: value for name, value in GIVEN.items() if name != missing}
    open_, weak = found(tmp_path, rest), found(tmp_path, GIVEN | {missing: "0.011 kN"})
    low = weak.rails[0].low[0, 0] < 0.5 * found(tmp_path, GIVEN).rails[0].low[0, 0]
    notes = [note for note in open_.notes if note.startswith("Loaded there")]
    unknown = bool(np.isnan(open_.rails[0].low).any())
    assert notes == ([f"Loaded there, and not given: clamp.strength.{missing}."] if unknown else [])
    assert unknown or not low
