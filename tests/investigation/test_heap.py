"""The heap against the roof's snow: weights against closed forms, and what cannot both be true."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from fea.analysis import analyze
from fea.evidence.entered import alike, depth_along, snow_above, too_heavy
from fea.evidence.explanations import load_by_heap
from fea.evidence.fit import Fit
from fea.evidence.roof import evidence_roof
from fea.evidence.unexplained import Miss
from fea.failure.roof_case import Laws, mean_pressure
from roofmodel.project.evidence import load_evidence
from roofmodel.project.load import load_project
from roofmodel.units import SYSTEMS
from viewer.investigate.findings import answer
from viewer.investigate.heap import heap_caution, heap_told

MODEL = Path(__file__).parents[2] / "models" / "alder-barn"


@pytest.fixture(scope="module")
def made():
    analysis = analyze(load_project(MODEL / "project.toml"))
    roof, chosen = evidence_roof(analysis, None, Laws(mean_strength=1.2))
    return roof, mean_pressure(analysis.snow.cases[chosen.case], roof.plane)


def found_with(made, folder, old="", new=""):
    """Findings of alder-barn's file with a change, two explanations that many samples tell of."""
    text = (MODEL / "found.toml").read_text().replace("project.toml", str(MODEL / "project.toml"))
    assert old in text
    (folder / "found.toml").write_text(text.replace(old, new))
    evidence = load_evidence(folder / "found.toml")
    fits = tuple(
        Fit(cause, 0.5, share, share - 0.02, share + 0.02, 500.0, np.ones(3), np.ones(4), tells=200.0)
        for cause, share in (("missing clamps", 0.97), ("weak batch", 0.03))
    )
    return SimpleNamespace(
        evidence=evidence,
        roof=made[0],
        pressure=made[1],
        units=SYSTEMS["SI"],
        bank=None,
        fits=fits,
        cannot=(),
        families=(),
        history=None,
        further=(),
    )


def test_depth_along_a_row_is_straight_between_readings_and_nothing_is_said_of_other_rows(made):
    layout = made[0].layout
    low = np.flatnonzero(layout.clamp_row == 0)
    over = depth_along(layout, ((int(low[10]), 1.0, 0.1), (int(low[20]), 2.0, 0.1)))
    between = np.interp(layout.clamp_s[low[15]], layout.clamp_s[low[[10, 20]]], [1.0, 2.0])
    assert over[low[[0, 10, 15, 20, 30]]] == pytest.approx([1.0, 1.0, between, 2.0, 2.0])
    assert np.isnan(over[layout.clamp_row != 0]).all()
    assert np.isnan(depth_along(layout, ())).all()
    shape = np.ones(len(layout.clamp_row))
    shape[low[12:19]] = 2.0  # a drift above the gap, with readings on both sides of it
    drifted = depth_along(layout, ((int(low[10]), 1.1, 0.1), (int(low[20]), 1.1, 0.1)), shape)
    assert drifted[low[[10, 15, 20, 30]]] == pytest.approx([1.1, 2.2, 1.1, 1.1])


def test_snow_above_is_the_weight_by_which_samples_lose_it(made):
    """The snow by the heap (`load_by_heap`) is that of which the snow above weighs as much as the heap."""
    roof, _ = made
    gone = np.arange(len(roof.plane)) % 7 == 0
    mass = load_by_heap(roof, gone, (40e3, 4e3))[0]
    even = snow_above(roof, gone, mass, np.full(len(gone), np.nan))
    drift = float(
        (
            roof.case.weight[1][roof.layout.clamp_row]
            / np.bincount(roof.layout.clamp_row)[roof.layout.clamp_row]
        )[gone].sum()
    )
    assert even.even + mass * drift == pytest.approx(40e3)
    twice = snow_above(roof, gone, mass, np.full(len(gone), 2.0))
    assert twice.drifted == pytest.approx(2.0 * even.even)
    assert twice.even == pytest.approx(even.even)


def test_a_heap_is_too_heavy_beyond_twice_the_snow_and_the_doubt_of_both(made):
    above = snow_above(
        made[0], np.ones(len(made[0].plane), dtype=bool), 1.0, np.full(len(made[0].plane), np.nan)
    )
    whole = above.drifted
    assert too_heavy((6.4 * whole, 1.6 * whole), above, 0.12)
    assert not too_heavy((1.9 * whole, 0.01 * whole), above, 0.01)
    assert not too_heavy((2.5 * whole, whole), above, 0.12)  # told too roughly to contradict
    assert not too_heavy((0.2 * whole, 0.01 * whole), above, 0.12)  # some of it may lie on the roof still
    assert alike(0.9, 0.88)
    assert not alike(0.9, 0.8)


def test_a_file_that_can_be_true_is_told_both_weights_without_a_caution(made, tmp_path):
    found = found_with(made, tmp_path)
    assert heap_caution(found) == ""
    assert answer(found).startswith('"missing clamps" fits best')
    assert "97 % (95 to 99 % by chance of drawing alone); next" in answer(found)
    heap = 8.0 * 2.7 * 0.6 * 310.0 * 9.80665 / 1000.0
    assert f"The heap weighs {heap:.1f} kN" in heap_told(found)
    assert "even snow above the clamps that came off" in heap_told(found)


@pytest.mark.parametrize(("depth", "asked"), [("0.6 m", False), ("1.0 m", True)])
def test_a_heap_of_more_than_lay_above_asks_whether_its_crest_was_entered(made, tmp_path, depth, asked):
    """A ridge of snow is half as deep in its mean as at its crest."""
    found = found_with(made, tmp_path, 'depth = "0.6 m"', f'depth = "{depth}"')
    assert ("not the crest" in heap_told(found)) is asked
    assert heap_caution(found) == ""


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('length = "8 m"', 'length = "80 m"', "times all the snow above the clamps that came off"),
        (
            'depth = "0.44 m"\ndensity = "240 kg/m^3"',
            'depth = "0.6 m"\ndensity = "310 kg/m^3"',
            "are those of the heap",
        ),
        ('depth = "0.44 m"\ndensity = "240 kg/m^3"', 'load = "1.83 kN/m^2"', "are those of the heap"),
        (
            'depth = "0.44 m"\ndensity = "240 kg/m^3"',
            'depth = "0.9 m"\ndensity = "310 kg/m^3"',
            "can be those of the heap's crest",
        ),
        ('depth = "0.44 m"', 'depth = "1.8 m"', "times that of the case"),
    ],
)
def test_heap_and_roof_that_cannot_both_be_true_unsettle_the_headline(made, tmp_path, old, new, words):
    found = found_with(made, tmp_path, old, new)
    assert words in heap_caution(found)
    assert " Not settled: " in answer(found)
    assert words in answer(found)
    assert "fits best" not in answer(found)
    many = replace(found.fits[0], near=0.0)
    found.fits = (many, replace(found.fits[1], near=0.0))
    assert " Not settled: " in answer(found)


def test_deeper_snow_told_along_the_row_takes_the_contradiction_away(made, tmp_path):
    along = '[[snow.along]]\nnear = "low-35"\nover = 4.0\n\n[[rail]]'
    found = found_with(made, tmp_path, 'length = "8 m"', 'length = "30 m"')
    assert heap_caution(found)
    deep = (tmp_path / "found.toml").read_text().replace("[[rail]]", along, 1)
    (tmp_path / "found.toml").write_text(deep)
    found.evidence = load_evidence(tmp_path / "found.toml")
    assert heap_caution(found) == ""
    assert "with the snow entered along the rows" in heap_told(found)


@pytest.mark.parametrize(
    ("near", "tells", "words"),
    [
        (500.0, 5.0, '"missing clamps" stands on the weight of only 5 samples, too few to rank by'),
        (12.0, 9.0, 'only 12 samples of "missing clamps" come near what was found'),
    ],
)
def test_few_samples_settle_nothing_and_that_is_said_first(made, tmp_path, near, tells, words):
    found = found_with(made, tmp_path)
    miss = Miss("load", "", 2.0, 0.5, 1.0, 0.001)
    found.fits = (replace(found.fits[0], near=near, tells=tells, unexplained=(miss,)), found.fits[1])
    assert " Not settled: " in answer(found)
    assert words in answer(found)
    assert "fits best" not in answer(found)
    assert "It leaves unexplained: snow without drift" in answer(found)


def test_snow_many_times_the_case_is_doubted_unless_a_heap_bears_it_out(made, tmp_path):
    case = made[1] / (240.0 * 9.80665)  # depth of the case's snow [m]
    text = (MODEL / "found.toml").read_text()
    heap = next(line for line in text.splitlines() if line.startswith("heap = "))
    for times, words in ((2.3, False), (2.8, True)):
        found = found_with(made, tmp_path, heap, "")
        told = (tmp_path / "found.toml").read_text().replace('"0.44 m"', f'"{times * case:.3f} m"')
        (tmp_path / "found.toml").write_text(told)
        found.evidence = load_evidence(tmp_path / "found.toml")
        assert (f"{times:.1f} times that of the case" in heap_caution(found)) == words
        assert (" Not settled: the snow entered" in answer(found)) == words
        assert ("measured where it lies as it fell, not at the heap" in answer(found)) != words
    (tmp_path / "found.toml").write_text(told.replace("[snow]", f"[snow]\n{heap.replace('8 m', '40 m')}"))
    found.evidence = load_evidence(tmp_path / "found.toml")
    assert heap_caution(found) == ""
