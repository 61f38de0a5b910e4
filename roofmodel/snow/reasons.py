"""Words for why planes hold their snow, told together where planes share them."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

RUNS_ONTO = re.compile(r"its snow runs onto .*?, which")
FEW = 3  # planes of one reason whose neighbors are named


def any_below(reason: str) -> str:
    """A reason without the name of the plane below, so that facets share it."""
    return RUNS_ONTO.sub("its snow runs onto a plane below, which", reason)


def grouped_reasons(names: Sequence[str], why: Mapping[int, str]) -> list[tuple[str, str]]:
    """Names of planes that share a reason, and the reason; many that run onto others are told together."""
    groups: dict[str, list[int]] = {}
    for plane, reason in sorted(why.items()):
        groups.setdefault(any_below(reason), []).append(plane)
    found = []
    for reason, planes in groups.items():
        single = len(planes) <= FEW or why[planes[0]] == reason
        parts = {why[plane]: [p for p in planes if why[p] == why[plane]] for plane in planes}
        told = parts.items() if single else [(reason, planes)]
        found += [(", ".join(names[plane] for plane in own), text) for text, own in told]
    return found
