"""One verdict for every answer, and none that gets weaker by evidence that agrees."""

from __future__ import annotations

import re
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fea.evidence.causes import AND, AS_DESIGNED, CHANGES
from fea.evidence.families import Family
from fea.evidence.fit import Measurement
from fea.evidence.unexplained import UNLIKELY, Miss
from roofmodel.project.evidence import load_evidence
from tests.investigation.test_heap import found_with, made  # noqa: F401
from viewer.investigate.findings import answer, cautions, not_tried
from viewer.investigate.heap import heap_caution, heap_question
from viewer.investigate.picture import bars
from viewer.investigate.places import drift_excluded
from viewer.investigate.run import case_findings, short_of
from viewer.investigate.verdict import NOT, POINTS, SERIOUS, SETTLED_, verdict
from viewer.investigate.words import sentences

MODEL = Path(__file__).parents[2] / "models" / "alder-barn"
RANK = {NOT: 0, POINTS: 1, SETTLED_: 2}
WORD = re.compile(rf"(?<!\w)({SETTLED_}|{POINTS}|{NOT})(?=: )|No explanation is settled")


def family(name, causes, posterior, low, **more):
    return Family(name, tuple(causes), posterior, low, min(1.0, 2.0 * posterior - low), 100.0, **more)


def made_up(rng, found):
    """Findings with shares, intervals, objections and looks drawn at random."""
    causes = [*rng.permutation(list(CHANGES))[:5].tolist(), f"loose clamps{AND}weak batch"]
    share = np.sort(rng.dirichlet(np.full(6, 10.0 ** rng.uniform(-1.5, 0.5))))[::-1]
    fits = []
    for cause, p in zip(causes, share.tolist(), strict=True):
        misses = (Miss("load", "", 2.0, 0.5, 1.0, float(10.0 ** rng.uniform(-5, -2))),)
        fits.append(
            replace(
                found.fits[0],
                cause=cause,
                posterior=p,
                low=p * rng.random(),
                high=p + (1.0 - p) * rng.random(),
                near=float(rng.choice([0.0, 5.0, 300.0])) if rng.random() < 0.3 else 300.0,
                tells=float(rng.choice([3.0, 200.0])),
                loose=float(rng.choice([1.0, 2.0])),
                unexplained=misses if rng.random() < 0.5 else (),
            )
        )
    first = causes[0]
    found.fits = tuple(fits)
    found.families = tuple(
        family(name, (first,), min(p, 1.0), min(p, 1.0) * rng.random(), tells=float(rng.choice([5.0, 90.0])))
        for name, p in (
            ("snow alone", share[0] + 0.01),
            ("clamps", share[0] + 0.02),
            (first, share[0] + 0.03),
        )
        if rng.random() < 0.6
    )
    found.further = (Measurement("standing", float(rng.random())),) if rng.random() < 0.5 else ()
    found.cannot = (("drift", "none"),) if rng.random() < 0.5 else ()
    return found


def test_every_answer_has_exactly_one_verdict_right_behind_its_headline(made, tmp_path):  # noqa: F811
    rng, words = np.random.default_rng(1), set()
    for load in ("0.44 m", "1.2 m", "1.8 m"):
        found = found_with(made, tmp_path, '"0.44 m"', f'"{load}"')
        for _ in range(150):
            text = answer(made_up(rng, found))
            assert len(WORD.findall(text)) == 1, text
            said = verdict(found)
            assert sentences(text)[1].startswith(f"{said.word}: "), text
            assert (said.of is None) == (said.word == NOT)
            words.add(said.word)
    assert words == set(RANK)


def test_a_kind_that_is_firmer_gives_the_verdict_with_its_share(made, tmp_path):  # noqa: F811
    found = found_with(made, tmp_path)
    found.fits = tuple(
        replace(found.fits[0], cause=cause, posterior=p, low=low, high=0.7, tells=25.0)
        for cause, p, low in (("more snow", 0.55, 0.24), (AS_DESIGNED, 0.25, 0.09), ("drift", 0.18, 0.04))
    )
    causes = [one.cause for one in found.fits]
    for low, word in ((0.86, SETTLED_), (0.56, POINTS), (0.3, NOT)):
        found.families = (family("snow alone", causes, 0.98, low),)
        said = verdict(found)
        assert said.word == word
        assert "snow alone, no flaw had a part, 98 %" in said.text
        assert set(short_of(found.fits, found.families)) == (set() if low > 0.8 else set(causes))


def test_no_splice_is_pointed_to_before_one_was_looked_at(made, tmp_path):  # noqa: F811
    """A loss that ends at splices lets one lead; with the screws told it is pointed to."""
    found = found_with(made, tmp_path)
    first = replace(found.fits[0], cause="splice never screwed", posterior=0.7, low=0.6, high=0.75)
    found.fits = (first, found.fits[1])
    assert verdict(found).word == NOT
    assert "blame nobody yet, look at the splice" in answer(found)
    text = (tmp_path / "found.toml").read_text()
    (tmp_path / "found.toml").write_text(text.replace('state = "bent"', 'state = "bent"\nscrews = false'))
    found.evidence = load_evidence(tmp_path / "found.toml")
    assert verdict(found).word == POINTS
    assert "blame nobody" not in answer(found)


def test_the_first_with_others_beside_it_stands_for_it_where_that_alone_is_firm(made, tmp_path):  # noqa: F811
    """Never "100 % (1 to 100 %)" in the headline, nor a full bar with a full whisker."""
    found = found_with(made, tmp_path)
    first, second = found.fits
    pair = f"more snow{AND}loose clamps"
    found.fits = (
        replace(first, cause="loose clamps", posterior=0.99, low=0.01, high=1.0),
        replace(second, cause=pair, posterior=0.006, low=0.0, high=0.6),
        replace(second, cause="weak batch", posterior=0.004, low=0.001, high=0.01),
    )
    own = family("loose clamps", ("loose clamps", pair), 0.996, 0.99)
    found.families = (own,)
    headline, said, *_ = sentences(answer(found))
    assert headline.startswith('"loose clamps", alone or with another flaw, fits best by far, above 99 %')
    assert '; next "weak batch"' in headline
    assert said.startswith(f"{SETTLED_}: ")
    assert "(1 to 100 %)" not in answer(found)
    assert bars(found)[0] == ("loose clamps, alone or not", own)
    assert [name for name, _ in bars(found)] == ["loose clamps, alone or not", "weak batch"]
    assert short_of(found.fits, found.families) == frozenset()


def test_an_objection_as_slight_as_chance_makes_one_unsettles_nothing(made, tmp_path):  # noqa: F811
    found = found_with(made, tmp_path)
    for chance, word in ((0.9 * UNLIKELY, SETTLED_), (0.9 * SERIOUS, POINTS)):
        miss = Miss("count", "low", 14.0, 1.0, 11.0, chance)
        found.fits = (replace(found.fits[0], unexplained=(miss,)), found.fits[1])
        assert verdict(found).word == word
        assert ("It leaves unexplained: " in answer(found)) == (word == POINTS)
    screws = Miss("screws", "0", np.nan, np.nan, np.nan, 0.05)  # its own flaw, told absent
    found.fits = (replace(found.fits[0], unexplained=(screws,)), found.fits[1])
    assert verdict(found).word == POINTS


def along(found, folder, over):
    """The same with depth along the row beside the loss."""
    text = (folder / "found.toml").read_text()
    tables = "".join(f'[[snow.along]]\nnear = "{near}"\nover = {over}\n\n' for near in ("low-27", "low-45"))
    (folder / "found.toml").write_text(text.replace("[[rail]]", f"{tables}[[rail]]", 1))
    found.evidence = load_evidence(folder / "found.toml")
    return found


@pytest.mark.parametrize(("over", "word"), [(None, POINTS), (1.3, POINTS), (1.0, SETTLED_)])
def test_without_drift_tried_nothing_is_settled_unless_the_snow_beside_lay_even(made, tmp_path, over, word):  # noqa: F811
    found = found_with(made, tmp_path)
    assert verdict(found).word == SETTLED_
    found.cannot = (("drift", "nothing on the roof"),)
    if over is not None:
        along(found, tmp_path, over)
    assert verdict(found).word == word
    assert drift_excluded(found.evidence) == (word == SETTLED_)
    lines = [line for line in sentences(answer(found))[:4] if line.startswith("Drift was not tried: ")]
    assert len(lines) == (word == POINTS)
    assert bool(not_tried(found)) == (word == POINTS)


def test_snow_well_beyond_the_case_is_asked_about_and_not_settled_unless_borne_out(made, tmp_path):  # noqa: F811
    case = made[1] / (240.0 * 9.80665)  # depth of the case's snow [m]
    text = (MODEL / "found.toml").read_text()
    heap = next(line for line in text.splitlines() if line.startswith("heap = "))
    for times, word in ((1.4, SETTLED_), (1.9, POINTS)):
        found = found_with(made, tmp_path, heap, "")
        told = (tmp_path / "found.toml").read_text().replace('"0.44 m"', f'"{times * case:.3f} m"')
        (tmp_path / "found.toml").write_text(told)
        found.evidence = load_evidence(tmp_path / "found.toml")
        assert heap_caution(found) == ""
        assert verdict(found).word == word
        assert bool(heap_question(found)) == (word == POINTS)
    (tmp_path / "found.toml").write_text(told.replace("[snow]", f"[snow]\n{heap.replace('8 m', '24 m')}"))
    found.evidence = load_evidence(tmp_path / "found.toml")
    assert heap_question(found) == ""
    assert verdict(found).word == SETTLED_


def test_loose_clamps_that_stand_are_named(made, tmp_path):  # noqa: F811
    found = found_with(made, tmp_path)
    text = (tmp_path / "found.toml").read_text()
    screws = '[[screws]]\nclamps = "low-20..low-29"\nloose = 1\n\n[[rail]]'
    (tmp_path / "found.toml").write_text(text.replace("[[rail]]", screws, 1))
    found.evidence = load_evidence(tmp_path / "found.toml")
    assert any("low-20..low-29" in line and "still stand" in line for line in cautions(found))


@pytest.mark.slow
def test_evidence_that_agrees_with_the_first_never_lowers_its_verdict(tmp_path):
    """Alder barn's hidden cause: six seams without a mark, then screws of a splice that are set."""
    shutil.copytree(MODEL, tmp_path / "alder")
    text = (MODEL / "found.toml").read_text() + "\n[sampling]\nsamples = 3000\n"
    tables = (
        "",
        '\n[[marks]]\nclamps = "low-34..low-39"\nnone = 6\n',
        '\n[[snow.along]]\nnear = "low-27"\nover = 1.0\n',
        '\n[[screws]]\nclamps = "low-20..low-29"\nloose = 0\n',
    )
    words, first = [], set()
    for k in range(1, len(tables) + 1):
        (tmp_path / "alder" / "found.toml").write_text(text + "".join(tables[:k]))
        found = case_findings(load_evidence(tmp_path / "alder" / "found.toml"), lambda _: None)
        words.append(RANK[verdict(found).word])
        first.add(found.fits[0].cause)
    assert first == {"missing clamps"}
    assert words == sorted(words)
    assert words[-1] == RANK[SETTLED_]
