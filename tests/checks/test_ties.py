"""Which of alike attachments governs does not hang on rounding."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fea.checks.ties import first_largest


@given(st.integers(0, 5), st.lists(st.floats(-1e-12, 1e-12), min_size=6, max_size=6))
def test_rounding_does_not_choose(first, noise):
    values = 0.3 + 0.5 * (np.arange(6) >= first)
    assert first_largest(values * (1.0 + np.array(noise))) == first


@pytest.mark.parametrize(
    ("values", "place"),
    [([0.0, 0.0], 0), ([1.0, np.inf, np.inf], 1), ([-np.inf, -np.inf], 0), ([-2.0, -1.0], 1)],
)
def test_any_numbers(values, place):
    assert first_largest(np.array(values)) == place


def test_places_count_through_the_rows():
    assert first_largest(np.array([[0.1, 0.2], [0.7, 0.7]])) == 2
