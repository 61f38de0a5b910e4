"""Nothing wrong as an explanation of its own, and explanations that a roof cannot have."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from fea.analysis import analyze
from fea.evidence.aim import aim_at
from fea.evidence.causes import AND, AS_DESIGNED, Strengths, pairs_of, possible
from fea.evidence.compare import Found
from fea.evidence.explanations import Looked, sample_bank
from fea.evidence.fit import Fit, Measurement, fit
from fea.evidence.roof import evidence_roof
from fea.failure.roof_case import Laws
from roofmodel.project.load import load_project
from tests.investigation.test_ends import found_with
from viewer.investigate.findings import answer
from viewer.investigate.looks import changes, open_looks

MODEL = Path(__file__).parents[2] / "models" / "alder-barn" / "project.toml"
NAN = (np.nan, np.nan)
FLAWS = ("weak batch", "missing clamps", "splice parted", AS_DESIGNED)


def ranked(mean: float, gone: slice, load: tuple[float, float], causes: tuple[str, ...]) -> dict[str, Fit]:
    roof = evidence_roof(analyze(load_project(MODEL)), None, Laws(mean_strength=mean))[0]
    off = np.zeros(roof.case.clamps, dtype=bool)
    off[gone] = True
    found = Found(np.ones_like(off), off, np.full(len(off), 0.005), load, NAN)
    aim = aim_at(off, roof.layout.clamp_row, load)
    looked = Looked(known=found.known, gave_way=off)
    banks = [sample_bank(roof, one, Strengths(0.15, 0.2), 2000, 3, aim, looked) for one in causes]
    return {one.cause: one for one in fit(roof.layout, found, banks, [1.0] * len(banks))}


def test_a_row_far_too_weak_as_drawn_needs_no_flaw():
    """All clamps lost at a twelfth of their strength: flaws are idle, and none fits better than none does."""
    every = ranked(0.1, slice(None), (0.6, 0.06), FLAWS)
    without = ranked(0.1, slice(None), (0.6, 0.06), FLAWS[:-1])
    none = every[AS_DESIGNED]
    assert none.posterior > 0.24
    for flaw in FLAWS[:-1]:
        assert every[flaw].posterior == pytest.approx(none.posterior, abs=0.02)
        assert every[flaw].posterior < 0.8 * without[flaw].posterior  # a quarter goes to nothing wrong


def test_a_row_strong_enough_as_drawn_lost_a_few_clamps_by_a_flaw():
    every = ranked(1.2, slice(10, 16), (0.5, 0.05), FLAWS)
    assert every[AS_DESIGNED].near == 0
    assert every[AS_DESIGNED].posterior < 0.01 < max(one.posterior for one in every.values())


def test_nothing_wrong_and_something_wrong_are_no_pair():
    names, weights = pairs_of(("drift", "loose clamps", AS_DESIGNED), (1.0, 1.0, 1.0))
    assert names == (f"drift{AND}loose clamps",)
    assert sum(weights) == pytest.approx(0.3)


def first_is(folder, cause, others=0.1):
    found = found_with(folder, "low-30..low-38")
    bank = found.bank("weak batch")
    fits = (replace(found.fits[0], cause=cause), replace(found.fits[1], posterior=others))
    looks = tuple(Measurement(sign, 0.5) for sign in ("standing", "splice", "snow", "loose", "wrong"))
    return SimpleNamespace(**(vars(found) | {"fits": fits, "bank": lambda _: bank, "further": looks}))


def test_no_flaw_is_looked_for_while_the_roof_as_drawn_ranks_first(tmp_path, monkeypatch):
    monkeypatch.setattr("viewer.investigate.looks.more_samples", lambda _: ())
    found = first_is(tmp_path, AS_DESIGNED)
    assert [one.sign for one in open_looks(found)] == ["snow"]
    assert "too weak for this snow, see eavewright check" in answer(found)
    lines = " ".join(changes(found))
    assert "flaws can be there too" in lines
    assert "On the first day" not in lines
    assert len(open_looks(first_is(tmp_path, "weak batch"))) == 5


def test_a_flaw_that_fits_no_better_than_none_is_told_so(tmp_path):
    found = first_is(tmp_path, "weak batch")
    level = replace(found.fits[0], cause=AS_DESIGNED, posterior=0.87, low=0.84, high=0.89)
    found.fits = (found.fits[0], level)
    assert 'what "weak batch" changes need not have done anything' in answer(found)
    found.fits = (replace(found.fits[0], cause="more snow"), level)
    assert "need not have done" not in answer(found)  # no flaw that anyone would look for
    found.fits = (
        replace(found.fits[0], cause="weak batch"),
        replace(level, posterior=0.1, low=0.08, high=0.12),
    )
    assert "need not have done" not in answer(found)


def test_rows_from_edge_to_edge_have_no_ends_even_where_a_box_sends_snow_aside(tmp_path):
    """A box above a row can send snow to stations beside its strip; that is no snow on the row's end."""
    vent = (
        '[[obstruction]]\nname = "vent"\nplane = "S1"\nacross = "18 m"\nup = "2.2 m"\nwidth = "3 m"\n'
        'depth = "1.5 m"\nheight = "1.2 m"\n\n[design]'
    )
    for more, partial in (("", False), ('start = "4 m"\n', True)):
        text = MODEL.read_text().replace("[design]", vent).replace('name = "low"\n', f'name = "low"\n{more}')
        (tmp_path / "project.toml").write_text(text)
        roof = evidence_roof(analyze(load_project(tmp_path / "project.toml")), None, Laws(mean_strength=1.2))
        assert (roof[0].case.ends > 1.0).any()
        assert ("row ends" in possible(roof[0])[0]) == partial
