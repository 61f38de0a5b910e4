"""tests.json: the campaign as plain data, SI."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from fea.strength_tests.notes import more_relied_on
from fea.strength_tests.record_notes import doubts
from fea.strength_tests.results import CampaignResult, Justified
from roofmodel.project.record_prints import record_print
from viewer.export import file_head
from viewer.files import write_json
from viewer.plain import plain_data
from viewer.strength.rig_words import rig_data
from viewer.strength.words import valid_for


def campaign_data(found: CampaignResult) -> dict[str, Any]:
    """Everything, after viewer/tests.schema.json; null stands for "not given"."""
    campaign = found.campaign
    return dict(
        plain_data(
            {
                **file_head("tests", campaign.path.name, campaign.digest),
                "campaign": campaign.table.campaign.name,
                "report": campaign.table.campaign.report,
                "specimen": campaign.table.specimen.model_dump(),
                "valid_for": valid_for(found),
                "method": campaign.table.method.model_dump(),
                "share": found.share,
                "justified": _justified(found.justified),
                "all_tests": None if found.all_tests is None else _justified(found.all_tests),
                "without_suspect": None if found.without is None else _justified(found.without),
                "model_factor": None
                if found.model is None
                else {
                    "slope": found.model.slope,
                    "scatter": found.model.scatter,
                    "characteristic": found.model.characteristic,
                    "design": found.model.design,
                },
                "more_tests": _more(found),
                "suspect_above": found.limit,
                "tests": [_test(found, i) for i in range(len(campaign.tests))],
                "rig": rig_data(found),
                "doubts": doubts(found),
                "notes": found.notes,
            }
        )
    )


def _justified(one: Justified) -> dict[str, Any]:
    return {
        "count": one.sample.count,
        "mean": one.sample.mean,
        "scatter": one.scatter,
        "k": one.k,
        "fractile": one.fractile,
        "characteristic": one.characteristic,
        "design": one.design,
        "k_design": one.k_design,
        "design_direct": one.direct,
        "tolerance": one.tolerance,
        "phi": None if one.factor is None else one.factor.phi,
        "omega": None if one.factor is None else one.factor.omega,
        "lrfd": one.lrfd,
        "asd": one.asd,
        "mean_over_factor": one.over_factor,
    }


def _more(found: CampaignResult) -> dict[str, Any]:
    more, other = found.more, found.more_without
    return {
        "added": more.added,
        "median": more.middle,
        "low": more.low,
        "high": more.high,
        "k": more.k,
        "same": more.same,
        "relied_on": more_relied_on(found),
        "median_without_suspect": None if other is None else other.middle,
        "factored": {
            "median": more.factored[0],
            "low": more.factored[1],
            "high": more.factored[2],
            "median_without_suspect": None if other is None else other.factored[0],
        },
    }


def _test(found: CampaignResult, i: int) -> dict[str, Any]:
    test, reading, curve = found.campaign.tests[i], found.readings[i], found.campaign.curves[i]
    return {
        "name": test.name,
        "strength": found.measured[i],
        "at_nominal": found.nominal[i],
        "counts": bool(found.counted[i]),
        "excluded": test.excluded,
        "failure": test.failure,
        "deviations": found.distance[i],
        "suspect": i == found.suspect,
        "curve": None if reading is None else dict(reading.__dict__),
        "record": None if curve is None else {"file": test.curve, **record_print(*curve)},
    }


def write_campaign(found: CampaignResult, path: Path) -> None:
    """Write tests.json."""
    write_json(path, campaign_data(found))
