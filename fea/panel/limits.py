"""What the panel allows: clips, fold, sheet and fixed point against their strengths."""

from __future__ import annotations

import numpy as np

from fea.checks.limits import Limit
from fea.panel.study import SeamStudy
from roofmodel.hardware import Panel, SeamDetail


def seam_limits(
    study: SeamStudy, panel: Panel, detail: SeamDetail, label: str, drag: float = 0.0
) -> tuple[Limit, ...]:
    """Limits of the panel around one clamp, each over a single case.

    A strength that nobody gave is NaN: where it is loaded the limit is not verified.

    Parameters
    ----------
    study : SeamStudy
    panel, detail
    label : str
        Name of the clamp.
    drag : float
        What the whole check brings to the strip's fixed point: all its clamps, own weight, friction and
        restrained warmth. [N]
    """
    over = "mean over the length of the grip"
    clip = (
        int(np.argmax(-study.path.clip_total[..., 2].min(axis=0, initial=0.0)))
        if len(study.path.clip_x)
        else 0
    )
    clip_name = f"clip at {-study.path.clip_x[clip]:.2f} m up the seam" if len(study.path.clip_x) else "clips"
    rows = [
        ("clip uplift", clip_name, study.path.clip_uplift, detail.clip_strength, "force", "one clip"),
        (
            "fold opening",
            f"seam at {label}",
            study.fold.peak_opening,
            detail.opening_strength,
            "line_load",
            f"force that opens the fold per length, {over}",
        ),
        *(
            (
                f"sheet stress, {name}",
                f"{name} at {-place[0]:.2f} m up the seam",
                stress,
                detail.sheet_strength,
                "stress",
                f"von Mises in the middle of an element, worse face; {detail.sheet_clause}",
            )
            for name, stress, place in zip(
                study.peaks.name, study.peaks.stress, study.peaks.place, strict=True
            )
        ),
        (
            "panel anchorage",
            f"fixed point of the strip of {label}",
            max(study.path.anchorage, drag),
            panel.anchorage,
            "force",
            "all drag of the strip: every clamp on its seam, own weight, friction, restrained warmth",
        ),
    ]
    return tuple(_limit(*row) for row in rows)


def _limit(name: str, target: str, demand: float, resistance: float, quantity: str, basis: str) -> Limit:
    use = demand / resistance if demand > 0.0 else 0.0
    return Limit(
        name=name,
        target="panel",
        target_name=(target,),
        demand=np.array([[demand]]),
        resistance=np.array([resistance]),
        utilization=np.array([[use]]),
        quantity=quantity,
        basis=basis,
    )
