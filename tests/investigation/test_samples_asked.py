"""How many samples an investigation asks for: of those that were drawn, deviations shrink with their root."""

from types import SimpleNamespace

import numpy as np
import pytest

from fea.evidence.few import FEW
from viewer.investigate.looks import more_samples


def found(*, asked=1000, drawn=1000, tells=FEW, high=0.5, rounds=2):
    """Findings whose first explanation was drawn so often, with samples near what was found."""
    first = SimpleNamespace(cause="a", loose=1.0, strict=50.0, near=FEW, tells=tells, low=0.5, high=high)
    sampling = SimpleNamespace(samples=asked, interval=0.1)
    return SimpleNamespace(
        fits=[first],
        evidence=SimpleNamespace(table=SimpleNamespace(sampling=sampling)),
        bank=lambda _: SimpleNamespace(mass=np.zeros(drawn), rounds=((None, 0),) * rounds),
    )


@pytest.mark.parametrize("drawn", [1000, 4000])
def test_samples_are_counted_from_those_that_were_drawn(drawn):
    (few,) = more_samples(found(drawn=drawn, tells=FEW / 2.0))
    assert f"about {2 * drawn:,} of each" in few
    (wide,) = more_samples(found(drawn=drawn, high=0.7))  # twice as wide: four times as many
    assert f"about {4 * drawn:,} of each" in wide


def test_enough_asks_for_none():
    assert more_samples(found()) == ()


def test_what_is_asked_for_is_more_than_what_there_was():
    """All together ended the rounds at 9,000 of 30,000: twice as many tell with twice the number of all."""
    (few,) = more_samples(found(asked=30_000, drawn=9000, tells=FEW / 2.0))
    assert "about 60,000 of each" in few
    assert more_samples(found(high=0.62)) == ()  # near enough to what is wanted


def test_one_round_says_nothing_of_how_many_more_it_takes():
    """Later rounds are drawn where the first came near: its root would ask for far too many."""
    (few,) = more_samples(found(asked=3000, drawn=3000, tells=1.0, rounds=1))
    assert "more rounds" in few
    assert "30,000 of each explanation (sampling.samples, now 3,000)" in few
