"""What in the clamp's numbers of a project keeps its check from passing, whatever the limits say."""

from __future__ import annotations

from collections.abc import Sequence

from fea.checks.limits import Limit
from roofmodel.hardware import Clamp
from roofmodel.project.base import Table
from roofmodel.project.load import Project
from roofmodel.project.moment_doubts import moment_doubts
from roofmodel.project.strength_doubts import FORCES, clamp_doubts, least_tested, untested, untested_words
from roofmodel.project.tested import nominal_doubts
from roofmodel.snow.cases import LoadLevel
from roofmodel.snow.inputs import DirectSite
from roofmodel.units import SYSTEMS

# Share of the least strength that was tested up to which a guess may hold a load in another direction: the
# guess may then be wrong by a factor of several before it tells (judgment). [-]
A_GUESS = 0.1
_LIMITS = ("along the seam", "across the seam", "pull-off", "push", "roll moment", "twist moment")


def project_doubts(project: Project, limits: Sequence[Limit]) -> tuple[str, ...]:
    """Doubts about strengths, height of the load in the tests, stiffness; directions loaded without tests."""
    table = project.table
    units = SYSTEMS[table.project.units]
    found = list(clamp_doubts(table.clamp, table.design.format, (project.rail,), units).values())
    found += moment_doubts("the rail", table.rail, project.rail, table.design.format, units).values()
    found += kind_doubts(project)
    least = A_GUESS * least_tested(table.clamp, project.clamp.strength.tolist())
    for direction in untested(table.clamp):
        name = f"clamp {_LIMITS[direction]}"
        demand = max((float(one.demand.max(initial=0.0)) for one in limits if one.name == name), default=0.0)
        if loaded(demand, direction, project.clamp, least):
            found.append(untested_words(direction, demand, units))
    return tuple(found)


def kind_doubts(project: Project) -> tuple[str, ...]:
    """Strengths whose kind is not one of the format's, of all that a check counts with.

    Snow that was measured meets strengths as they are: an investigation is no design.
    """
    table = project.table
    if isinstance(project.site, DirectSite) and project.site.level is LoadLevel.MEASURED:
        return ()
    given: dict[str, Table | None] = {
        "clamp": table.clamp, "clamp.screws": table.clamp.screws, "panel": table.panel, "rail": table.rail,
    }  # fmt: skip
    given |= {f"framing[{number}]": one for number, one in enumerate(table.framing, 1)}
    return tuple(nominal_doubts(table.design.format, given).values())


def seam_doubts(project: Project) -> tuple[str, ...]:
    """Likewise of the strengths of the seam and its clips, which the study of a seam counts with."""
    return tuple(nominal_doubts(project.table.design.format, {"seam": project.table.seam}).values())


def loaded(demand: float, direction: int, clamp: Clamp, least: float) -> bool:
    """Whether more hangs on a direction than a guess may hold: `least`, of moments on the length of the grip.

    Never a share of the guess itself: a bold one would hide what hangs on it. A low guess is safer than a
    high one, and its use counts in the limits as it is.
    """
    return demand > may_hold(direction, clamp, least)


def may_hold(direction: int, clamp: Clamp, least: float) -> float:
    """What a guess may hold in a direction, from `least` of forces. [N, N m]."""
    return least * (1.0 if direction < FORCES else clamp.grip_length)
