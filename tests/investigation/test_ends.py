"""Where the loss ends: splices that are looked at first, and old breaks that no explanation accounts for."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from fea.evidence.fit import Fit, Measurement
from roofmodel.project.evidence import load_evidence
from roofmodel.units import SYSTEMS
from viewer.investigate.ends import breaks_left, end_splices, old_breaks, stretches
from viewer.investigate.findings import answer, unexplained
from viewer.investigate.looks import changes, first_and_later, splices_told, unsettled
from viewer.investigate.places import depth_places
from viewer.investigate.words import sentences

MODEL = Path(__file__).parents[2] / "models" / "alder-barn"
FOUND = """
[case]
name = "Ends"
project = "{project}"

[[found]]
clamps = "row low, row high"
state = "stands"

[[found]]
clamps = "{off}"
state = "off"
"""


def found_with(folder, off, rails=(), along=()):
    """Findings of a stretch that came off: weak clamps first, then the splice at low-38 parted."""
    text = FOUND.format(project=MODEL / "project.toml", off=off)
    for near, words in rails:
        text += f'\n[[rail]]\nnear = "{near}"\n{words}\n'
    for near in along:
        text += f'\n[[snow.along]]\nnear = "{near}"\nover = 1.0\n'
    (folder / "found.toml").write_text(text)
    evidence = load_evidence(folder / "found.toml")
    at = evidence.project.layout.clamp_name.index("low-38")
    banks = {
        "weak batch": SimpleNamespace(parted=np.full(40, -1), mass=np.ones(40)),
        "splice parted": SimpleNamespace(parted=np.full(40, at), mass=np.ones(40)),
    }
    fits = tuple(
        Fit(cause, 0.5, share, share - 0.02, share + 0.02, 500.0, np.ones(3), np.ones(40), tells=200.0)
        for cause, share in (("weak batch", 0.9), ("splice parted", 0.1))
    )
    return SimpleNamespace(
        evidence=evidence,
        fits=fits,
        bank=banks.__getitem__,
        cannot=(),
        further=(),
        families=(),
        history=None,
        units=SYSTEMS["SI"],
    )


OLD = 'state = "parted"\nfresh = false'


def test_an_old_break_where_the_loss_ends_is_told_where_the_first_does_not_account_for_it(tmp_path):
    found = found_with(tmp_path, "low-30..low-38", [("low-38", OLD)])
    (line,) = old_breaks(found)
    assert "the splice at low-38 lies where the loss ends" in line
    assert '"weak batch" does not account for it, another does' in line
    assert breaks_left(found.evidence, found.fits, found.bank) == ()
    assert line in answer(found)
    assert f"{line}." in unexplained(found)
    found.fits = (found.fits[0], replace(found.fits[1], near=3.0))
    assert "nor does any other that counts" in old_breaks(found)[0]
    assert len(breaks_left(found.evidence, found.fits, found.bank)) == 1  # two at once are tried then
    found.fits = (found.fits[1], found.fits[0])  # the first has it parted before
    assert old_breaks(found) == ()


@pytest.mark.parametrize(
    ("off", "words"),
    [
        ("low-30..low-38", 'state = "parted"\nfresh = true'),
        ("low-30..low-38", 'state = "parted"'),
        ("low-20..low-30", OLD),  # an old break elsewhere
    ],
)
def test_no_other_break_is(tmp_path, off, words):
    assert old_breaks(found_with(tmp_path, off, [("low-38", words)])) == ()


def test_splices_nearest_to_the_ends_of_the_loss_are_looked_at_first_until_they_are_told(tmp_path):
    found = found_with(tmp_path, "low-30..low-38")
    layout = found.evidence.project.layout
    (part,) = stretches(found.evidence)
    assert [layout.clamp_name[c] for c in part[[0, -1]]] == ["low-30", "low-38"]
    splices = layout.splice_s[layout.splice_row == 0]
    for at in end_splices(found.evidence):
        apart = np.abs(splices[:, None] - layout.clamp_s[part[[0, -1]]])
        nearest = splices[apart.argmin(axis=0)]
        assert np.abs(nearest - layout.clamp_s[at]).min() <= np.diff(layout.clamp_s).max()
    names = [layout.clamp_name[at] for at in end_splices(found.evidence)]
    assert "low-38" in names
    (line,) = [line for line in changes(found) if line.startswith("On the first day")]
    assert all(name in line for name in names)
    told = found_with(tmp_path, "low-30..low-38", [(name, 'state = "whole"') for name in names])
    assert not [line for line in changes(told) if line.startswith("On the first day")]


def test_depth_is_asked_for_by_name_beside_the_loss_until_it_is_told_on_both_sides(tmp_path):
    """At standing clamps, never where snow has slid off; a gap of a clamp or two is no other loss."""
    off, both = "low-22, low-24..low-32", ["low-19", "low-35"]
    further = (Measurement("uneven", 0.9),)
    for along, asked in (((), both), (("low-20",), both[1:]), (("low-28",), both)):
        found = found_with(tmp_path, off, along=along)
        assert list(depth_places(found.evidence)) == asked
        found.further = further
        look = unsettled(found, firm=True)
        assert f"beside the loss, {', '.join(asked)} (0.90 bit, [[snow.along]])" in look
        assert any("has slid off above the clamps that came off" in line for line in changes(found))
    found = found_with(tmp_path, off, along=("low-20", "low-38"))
    found.further = further
    assert unsettled(found, firm=True) == ""
    assert not any("[[snow.along]]" in line for line in changes(found))


def test_the_drift_is_asked_for_at_the_standing_clamp_that_has_most_of_it_until_it_is_told_there(tmp_path):
    found = found_with(tmp_path, "low-30..low-38")
    name = found.evidence.project.layout.clamp_name
    deeper = np.zeros((2, len(name)))
    deeper[1, [name.index(one) for one in ("low-30", "low-40", "low-44")]] = (0.9, 0.6, 0.2)
    found.roof, found.further = SimpleNamespace(deeper=deeper), (Measurement("drift", 0.5),)
    assert "depth in the drift, at low-40, against" in unsettled(found, firm=True)
    for near, told in (("low-44", False), ("low-40", True)):
        found.evidence = found_with(tmp_path, "low-30..low-38", along=(near,)).evidence
        assert (unsettled(found, firm=True) == "") is told
    found.evidence = found_with(tmp_path, "low-20..low-45").evidence
    assert "snow has slid off there" in changes(found)[1]


def test_depth_is_not_asked_for_at_clamps_of_which_nothing_is_known(tmp_path):
    evidence = found_with(tmp_path, "low-22..low-32").evidence
    known = evidence.known.copy()
    known[[evidence.project.layout.clamp_name.index(f"low-{k}") for k in range(33, 37)]] = False
    assert depth_places(replace(evidence, known=known)) == ("low-19", "low-39")


def test_a_splice_told_never_screwed_is_told_in_full_without_a_break(tmp_path):
    found = found_with(tmp_path, "low-30..low-38", [("low-38", 'state = "parted"\nscrews = false')])
    at = found.evidence.project.layout.clamp_name.index("low-38")
    assert splices_told(found.evidence) == ((at,), (at,))
    found = found_with(tmp_path, "low-30..low-38", [("low-38", 'state = "parted"\nscrews = true')])
    assert splices_told(found.evidence) == ((), (at,))  # whether it tore with the row is open


def test_few_looks_come_first_and_none_is_lost(tmp_path, monkeypatch):
    monkeypatch.setattr("viewer.investigate.looks.more_samples", lambda _: ("more samples",))
    found = found_with(tmp_path, "low-30..low-38")
    found.further = tuple(Measurement(sign, 0.5) for sign in ("standing", "snow", "loose", "wrong"))
    first, later = first_and_later(found)
    assert len(first) == 3
    assert first[0].startswith("On the first day")
    assert sorted((*first, *later)) == sorted(changes(found))
    told = sentences('Not settled: 0.4 m. It leaves 2.1 kN. "drift" is next.')
    assert told == ("Not settled: 0.4 m.", "It leaves 2.1 kN.", '"drift" is next.')
