"""What is settled of several explanations together, in words."""

from __future__ import annotations

from fea.evidence.families import SNOW_ALONE, Family
from viewer.investigate.case import CaseFindings
from viewer.investigate.shares import share

FIRM = 0.5  # lower end of an interval from which it is likelier than all else together
SETTLED = 0.8  # the same from which it is called settled (judgment)
KINDS = {
    SNOW_ALONE: "snow alone, no flaw had a part",
    "open splice": "a splice that was open before",
    "clamps": "clamps that held too little or were never there",
}
TOLD = 0.01  # least share of a family that is told


def family_words(one: Family) -> str:
    """What is settled, with its share."""
    if one.name in KINDS:
        return f"{KINDS[one.name]}, {share(one)}; not yet which"
    return f'"{one.name}", alone or with another flaw, {share(one)}'


def together(found: CaseFindings, told: Family | None = None) -> str:
    """Shares of kinds of explanations, but for one that is told; empty where there is no choice of kinds."""
    kinds = [one for one in found.families if one.name in KINDS and one.posterior >= TOLD]
    words = "; ".join(f"{KINDS[one.name]}, {share(one)}" for one in kinds if one is not told)
    return f"{'Else' if told in kinds else 'Taken together'}: {words}." if len(kinds) > 1 else ""


def families_data(found: CaseFindings) -> list[dict[str, object]]:
    """As plain data."""
    return [
        {
            "name": one.name,
            "causes": list(one.causes),
            "posterior": one.posterior,
            "low": one.low,
            "high": one.high,
        }
        for one in found.families
    ]
