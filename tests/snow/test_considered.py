"""Every clause of a standard is in a case or listed with why not."""

from __future__ import annotations

import re

import pytest
from snow_roofs import court, folded, gable, hip, saw_tooth, step

from roofmodel.snow import Asce16Site, AsceSite, EnSite, NbccSite, snow_cases
from roofmodel.snow.considered import ASCE_16, ASCE_22, EN, NBCC, unnamed

ROOFS = {
    "gable": gable(),
    "hip": hip(),
    "step": step(),
    "gap": step(gap=1.0),
    "court": court(),
    "two": folded(2),
}
SITES = {
    "7-22": AsceSite(ground_snow=1400.0, risk_category="II", winter_wind=0.5, slippery=True),
    "7-16": Asce16Site(ground_snow=900.0, risk_category="II", slippery=True),
    "NBCC": NbccSite(ground_snow=2000.0, associated_rain=300.0, importance="normal", slippery=True),
    "EN": EnSite(ground_snow=1000.0),
}
# Numbers from memory, of NBCC to 4.1.6.13 from public reprints.
ARTICLES = {
    "7-22": [
        *(f"7.{n}" for n in range(2, 15)),
        *("7.3.3", "7.4.3", "7.4.4", "7.4.5", "7.6.1", "7.6.2", "7.6.3", "7.6.4", "7.7.1", "7.7.2", "7.7.3"),
    ],
    "NBCC": [
        *(f"4.1.6.{n}" for n in range(1, 17)),
        *("4.1.6.2.(8)", "4.1.6.10.(1)", *(f"4.1.6.10.({n})" for n in range(3, 8))),
    ],
    "EN": [
        *("4.1", "4.2", "4.3", "5.2(5)", "5.2(6)", *(f"5.3.{n}" for n in range(2, 7)), "6.2", "6.3", "6.4"),
        *("Annex A", "B2", "B3", "B4", "Annex C", "Annex D"),
    ],
}
ARTICLES["7-16"] = ["7.3.4" if one == "7.3.3" else one for one in ARTICLES["7-22"]]


@pytest.mark.parametrize("roof", ROOFS)
@pytest.mark.parametrize("name", SITES)
def test_every_article_is_in_a_case_or_listed(name: str, roof: str) -> None:
    snow = snow_cases(ROOFS[roof], SITES[name])
    zones = [zone for case in snow.cases for zone in case.zones]
    said = "\n".join(
        [
            *(zone.clause for zone in zones),
            *(value.note for zone in zones for value in zone.values),
            *(note for case in snow.cases for note in case.notes),
            *(" ".join(pair) for pair in snow.skipped),
        ]
    )
    for article in ARTICLES[name]:
        assert re.search(rf"(?<![\w.]){re.escape(article)}(?!\d)", said), article


@pytest.mark.parametrize("roof", ROOFS)
@pytest.mark.parametrize("name", SITES)
def test_no_clause_is_both_in_a_case_and_said_to_be_in_none(name: str, roof: str) -> None:
    snow = snow_cases(ROOFS[roof], SITES[name])
    used = {zone.clause.rpartition(" ")[2] for case in snow.cases for zone in case.zones}
    clauses = {"7-22": ASCE_22, "7-16": ASCE_16, "NBCC": NBCC, "EN": EN}[name]
    listed = {(subject, f"{why} ({clause})"): clause for clause, subject, why in clauses}
    assert not {listed[pair] for pair in snow.skipped if pair in listed} & used


def test_the_sentence_on_curved_roofs_with_a_sharp_peak_is_listed() -> None:
    """4.1.6.10.(6), by a public reprint: above 10 degrees at the peak as a gable of the mean slope."""
    snow = snow_cases(ROOFS["gable"], SITES["NBCC"])
    assert any("4.1.6.10.(6)" in why and "4.1.6.9" in why for _, why in snow.skipped)


def test_a_clause_that_is_named_is_not_listed_again() -> None:
    rows = (("7.6", "a", "b"), ("7.6.1", "c", "d"), ("7.61", "e", "f"))
    assert unnamed(rows, (), (("g", "as 7.6.1 says"),)) == [("a", "b (7.6)"), ("e", "f (7.61)")]


def test_annex_b_says_which_of_its_reasons_holds():
    """B2 on a roof without a valley: no word of annex_b where it is set; the upright valley is told apart."""
    said = {}
    for annex_b in (False, True):
        snow = snow_cases(saw_tooth(), EnSite(ground_snow=1500.0, annex_b=annex_b))
        said[annex_b] = [why for _, why in snow.skipped if re.search(r"\bB2\b", why)]
    assert len(said[True]) == len(said[False]) == 1
    assert said[False][0].startswith("annex_b is not set")
    assert "annex_b" not in said[True][0]
    assert "falls toward a wall is none" in said[True][0]
