"""What the panel allows: clips, fold, sheet and fixed point against their strengths."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from fea.checks.limits import Limit
from fea.panel.mesh import clip_places
from fea.panel.reading import PATCH
from fea.panel.study import SeamStates
from roofmodel.hardware import Panel, SeamDetail


def number_of(limit: str) -> str:
    """Number of the study behind a limit, as `fea.panel.screening.NUMBERS` calls it."""
    part = limit.removeprefix("sheet stress, ")
    return f"stress in the {part}" if part != limit else limit.removeprefix("panel ")


def seam_limits(
    states: SeamStates,
    words: Sequence[str],
    panel: Panel,
    detail: SeamDetail,
    label: str,
    drag: tuple[float, str] = (0.0, ""),
) -> tuple[Limit, ...]:
    """Limits of the panel around one clamp, each in the state that is worst for it.

    A strength that nobody gave is NaN: where it is loaded the limit is not verified. Neither are clips of
    which none stands in the meshed window.

    Parameters
    ----------
    states : SeamStates
    words : sequence of str
        Of every studied state; the worst one's stand in the basis of the limit.
    panel, detail
    label : str
        Name of the clamp.
    drag : (float, str)
        The most that the whole check brings to the strip's fixed point in any case (all its clamps, own
        weight, friction and restrained warmth), and which case that is. [N]
    """
    over = "mean over the length of the grip"
    pull, opening, anchorage = (
        states.study[states.worst[name]] for name in ("clip uplift", "fold opening", "anchorage")
    )
    clips = pull.path.clip_x
    clip, clip_basis = "clips", "one clip"
    if len(clips):
        worst = int(np.argmin(pull.path.clip_total[..., 2].min(axis=0)))
        clip = f"clip at {-clips[worst]:.2f} m up the seam"
    missed = not len(clips) and len(clip_places(detail, -float(pull.field.length.max()), 0.0)) > 0
    if missed:
        clip_basis = "no clip of this strip stands in the piece of seam that is meshed, so none is studied"
    rows = [
        (
            "clip uplift",
            clip,
            math.nan if missed else pull.path.clip_uplift,
            detail.clip_strength,
            "force",
            clip_basis,
        ),
        (
            "fold opening",
            f"seam at {label}",
            opening.fold.peak_opening,
            detail.opening_strength,
            "line_load",
            f"force that opens the fold per length, {over}",
        ),
        *(_sheet(states, part, detail) for part in pull.peaks.name),
        (
            "panel anchorage",
            f"fixed point of the strip of {label}",
            float(np.maximum(anchorage.path.anchorage, drag[0])),
            panel.anchorage,
            "force",
            "all drag of the strip: every clamp on its seam, own weight, friction, restrained warmth",
        ),
    ]
    by_check = drag[0] > anchorage.path.anchorage
    return tuple(
        _limit(
            *row,
            drag[1] if by_check and row[0] == "panel anchorage" else words[states.worst[number_of(row[0])]],
        )
        for row in rows
    )


def _sheet(states: SeamStates, part: str, detail: SeamDetail) -> tuple[str, str, float, float, str, str]:
    peaks = states.study[states.worst[f"stress in the {part}"]].peaks
    own = peaks.name.index(part)
    return (
        f"sheet stress, {part}",
        f"{part} at {-peaks.place[own, 0]:.2f} m up the seam",
        float(peaks.stress[own]),
        detail.sheet_strength,
        "stress",
        f"von Mises, mean within {PATCH * 1000:g} mm, worse face; {detail.sheet_clause}",
    )


def _limit(
    name: str, target: str, demand: float, resistance: float, quantity: str, basis: str, worst: str
) -> Limit:
    use = 0.0 if demand == 0.0 else demand / resistance
    return Limit(
        name=name,
        target="panel",
        target_name=(target,),
        demand=np.array([[demand]]),
        resistance=np.array([resistance]),
        utilization=np.array([[use]]),
        quantity=quantity,
        basis=f"{basis}; worst in: {worst}" if worst else basis,
    )
