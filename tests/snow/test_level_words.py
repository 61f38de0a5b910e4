"""Every level of snow has its words, none of which says of factored snow that it is before factors."""

import pytest

from roofmodel.snow.cases import LoadLevel
from roofmodel.snow.level_words import CALLED, level_words


@pytest.mark.parametrize("level", LoadLevel)
def test_words_say_whether_factors_are_in_the_number(level):
    words = level_words(level, "snow")
    assert words.startswith(f"{CALLED[level]} snow, ")
    assert level_words(level) == words.replace(" snow", "", 1)
    assert ("before load factors" in words) == (level is LoadLevel.CHARACTERISTIC)
    assert ("already" in words) == (level is LoadLevel.STRENGTH)
