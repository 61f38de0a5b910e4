"""Records of one campaign that look like copies of each other: smoothed, thinned out, cut off or rescaled."""

from __future__ import annotations

import re

from fea.strength_tests.results import CampaignResult
from roofmodel.project.record_prints import NEARLY, is_same_record, record_print

NAMED = 0.05  # of the largest force, up to which a name with a suffix is doubted too (judgment) [-]


def copied(found: CampaignResult) -> list[tuple[int, int]]:
    """Tests that count named like another with a suffix, and that other, where the records are alike."""
    return [(i, j) for i, j in _alike(found, NAMED) if _suffixed(_name(found, i), _name(found, j))]


def copy_notes(found: CampaignResult) -> list[str]:
    """Pairs whose records are nearly one."""
    loud = copied(found)
    pairs = [*loud, *(pair for pair in _alike(found, NEARLY) if pair not in loud and pair[::-1] not in loud)]
    if not pairs:
        return []
    return [
        f"CHECK THE RECORDS of {_pairs(found, pairs)}: so alike as no two specimens are. A copy that was "
        "smoothed, thinned out, cut off or scaled looks so; as a test of its own it hides scatter, and the "
        "strengths are TOO HIGH. Take the copy out of the folder, or exclude it with a reason."
    ]


def copy_words(found: CampaignResult) -> list[str]:
    """Why copies that are named like one keep `clamp.toml` back; empty without any."""
    pairs = copied(found)
    if not pairs:
        return []
    return [
        f"copies that count as tests of their own: {_pairs(found, pairs)}; take them out of the folder, "
        "exclude them with a reason, or rename them if they are other specimens"
    ]


def _alike(found: CampaignResult, within: float) -> list[tuple[int, int]]:
    some = [
        (i, record_print(*curve))
        for i, (curve, on) in enumerate(zip(found.campaign.curves, found.counted, strict=True))
        if on and curve is not None
    ]
    pairs = [
        (i, j)
        for at, (i, one) in enumerate(some)
        for j, other in some[:at]
        if is_same_record(one, other, within)
    ]
    return [
        (j, i) if _suffixed(_name(found, j), _name(found, i)) else (i, j) for i, j in pairs
    ]  # the copy first


def _suffixed(name: str, other: str) -> bool:
    """Whether a name is another plus a word: "A1_smooth" or "A1 (2)" of "A1", but not "A10"."""
    rest = name.lower().removeprefix(other.lower())
    return rest != name.lower() and re.match(r"[\s_.\-(+~]|[a-z]{2}", rest) is not None


def _name(found: CampaignResult, test: int) -> str:
    return found.campaign.tests[test].name


def _pairs(found: CampaignResult, pairs: list[tuple[int, int]]) -> str:
    return ", ".join(f"{_name(found, i)} and {_name(found, j)}" for i, j in pairs)
