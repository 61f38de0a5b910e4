"""Results of a tile put in order: ranking of edges, worst of each building, totals."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from roofmodel.surface import STOREY
from viewer.screen.plan import ScreenPlan

RANK = (
    "Edges are ranked by energy over their worst meter, E = w (H + v²/(2 g)): w weight of the snow that can "
    "slide over that meter, H its fall to the ground, v its largest speed at the edge (work and energy, no "
    "loss). Equal energies go by force, then by the order of the file."
)
BASIS = (
    "No rows, every snow case of the standard, unfactored, as if something held the snow: no reduction for "
    "snow that slides off. Each number is the largest of all cases. Snow drifts against chimneys and "
    "parapets that the file shows; they hold nothing. Lower roofs in the way are not looked at."
)
NO_EDGE = (
    'Snow of "no edge" leaves where planes of the model do not meet: its fall is taken as the largest of the '
    "building's other edges, its throw is not known; look at the model there."
)
CAUTIONS = (
    "A screening finds where to look first; it proves nothing about a roof that ranks low.",
    "A licensed engineer must review this; local code governs, ground snow first of all.",
    "City models leave out dormers, parapets, rails that are there, and what people do below; capacities of "
    "attachments must come from tests.",
    "Falling snow and work at height can kill.",
)


@dataclass(frozen=True)
class ScreenFindings:
    """A tile that was screened.

    Attributes
    ----------
    plan : ScreenPlan
    buildings : tuple of dict
        Results in the order of the file; see viewer/screen.schema.json.
    ranking : tuple of (building, edge)
        Indices of all edges that snow slides over, the most dangerous first.
    """

    plan: ScreenPlan
    buildings: tuple[Mapping[str, Any], ...]
    ranking: tuple[tuple[int, int], ...]

    @property
    def failed(self) -> list[Mapping[str, Any]]:
        """Buildings that could not be screened."""
        return [one for one in self.buildings if one["status"] == "failed"]

    @property
    def assumed(self) -> int:
        """Buildings whose ground the file does not show."""
        return sum(one["status"] == "screened" and one["ground"]["assumed"] for one in self.buildings)

    def edge(self, place: tuple[int, int]) -> Mapping[str, Any]:
        """An edge of the ranking."""
        found: Mapping[str, Any] = self.buildings[place[0]]["edges"][place[1]]
        return found


def screen_findings(plan: ScreenPlan, results: list[dict[str, Any]]) -> ScreenFindings:
    """Rank the edges of all buildings."""
    places = [
        (b, e)
        for b, one in enumerate(results)
        for e, edge in enumerate(one.get("edges", ()))
        if edge["force"] > 0.0
    ]
    order = sorted(places, key=lambda p: (-_edge(results, p)["energy"], -_edge(results, p)["force"], p))
    return ScreenFindings(plan, tuple(results), tuple(order))


def _edge(results: list[dict[str, Any]], place: tuple[int, int]) -> Mapping[str, Any]:
    found: Mapping[str, Any] = results[place[0]]["edges"][place[1]]
    return found


def leaves_inside(findings: ScreenFindings, most: int) -> bool:
    """Whether snow of the first of the ranking leaves where the model has no edge."""
    return any(findings.edge(place)["kind"] == "none" for place in findings.ranking[:most])


def worst_force(building: Mapping[str, Any]) -> float:
    """Largest force over any meter of the building's edges; NaN where it could not be screened. [N/m]."""
    if building["status"] == "failed":
        return float("nan")
    return max((edge["force"] for edge in building["edges"]), default=0.0)


def named(building: Mapping[str, Any]) -> str:
    """Name of a building for people: its number in the file and its id, shortened in the middle."""
    return f"{building['number']} {short_id(str(building['id']))}"


def short_id(text: str, most: int = 24) -> str:
    """An id cut in the middle, so that head and tail still tell it from its neighbors."""
    if len(text) <= most:
        return text
    tail = (most - 1) // 3
    return f"{text[: most - 1 - tail]}…{text[-tail:]}"


def summary_words(findings: ScreenFindings) -> str:
    """One sentence: how many buildings, and how many need a look."""
    count, bad = len(findings.buildings), len(findings.failed)
    sliding = len({b for b, _ in findings.ranking})
    words = f"{count} buildings: snow can slide over {len(findings.ranking)} edges of {sliding}"
    words += (
        f"; {bad} could not be screened and must be looked at by hand." if bad else "; all were screened."
    )
    if findings.assumed:
        words += (
            f" Of {findings.assumed} the file shows nothing below the roof: their lowest point was taken"
            f" {STOREY:g} m above the ground."
        )
    return words


def shared_words(findings: ScreenFindings) -> str:
    """Edges between planes, as drawn and as recognized; nothing where no polygons are marked as roof."""
    seen = [one["shared_edges"] for one in findings.buildings if one["status"] == "screened"]
    drawn, ours = (
        [sum(one[which][kind] for one in seen) for kind in ("ridge", "hip", "valley")]
        for which in ("drawn", "recognized")
    )
    if not any(drawn):
        return ""
    return (
        f"As drawn the file's roof polygons share {drawn[0]} ridges, {drawn[1]} hips and {drawn[2]} valleys;"
        f" {ours[0]}, {ours[1]} and {ours[2]} were recognized, with dormers cut in and pieces joined."
    )
