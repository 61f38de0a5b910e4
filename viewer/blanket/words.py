"""Findings of the layer in words and rows of tables."""

from __future__ import annotations

import numpy as np

from fea.blanket.answers import Answer
from fea.blanket.study import BALANCED, SETTLED, BlanketStudy
from fea.verdict import Finding, code
from roofmodel.units import UnitSystem
from viewer.quantities import system

CAUTIONS = (
    "Results need review by a licensed engineer; local code governs. This does not replace the check: the "
    "larger of its force and the tributary one counts.",
    "Falling snow and work at height kill.",
)


def units_of(study: BlanketStudy) -> UnitSystem:
    """Units of the project."""
    return system(study.project.table.project.units)


def verdict(study: BlanketStudy) -> str:
    """One of "kept", "exceeded", "not verified", "self-check failed"."""
    if not study.findings:
        return "kept"
    return "self-check failed" if study.findings[0] is Finding.AUDIT_FAILED else code(study.findings)


def shown(study: BlanketStudy) -> tuple[Answer, ...]:
    """The views that tables have room for: two, and the one of the others that brings most."""
    if len(study.answers) <= 3:
        return study.answers
    most = max(study.answers[2:], key=lambda a: a.balance.rows + a.balance.stops)
    return (*study.answers[:2], most)


def headline(study: BlanketStudy) -> str:
    """What the layer changes, in one sentence."""
    units = units_of(study)
    if len(study.worst_use):
        known = np.nan_to_num(study.worst_use, nan=np.inf)
        worst = int(np.argmax(known))
        name = study.project.layout.clamp_name[worst]
        use = study.worst_use[worst]
        words = "without a strength" if np.isnan(use) else f"uses {use:.2f} of its strength"
        return (
            f"{name} carries {units.text(study.most[worst], 'force')} along its seam, "
            f"{units.text(study.tributary_clamp[worst], 'force')} by tributary width, and {words}."
        )
    worst = int(np.argmax(np.nan_to_num(study.worst_stop, nan=np.inf)))
    force = max(float(a.stop[worst]) for a in study.answers)
    return (
        f"Stop {study.setting.stops.name[worst]} carries {units.text(force, 'force')} along its seam, "
        f"{study.worst_stop[worst]:.2f} of its strength."
    )


def leaving(study: BlanketStudy) -> str:
    """What no row holds, or nothing to say."""
    units = units_of(study)
    worst = max(study.answers, key=lambda a: a.balance.leaves)
    share = worst.balance.leaves / max(worst.balance.driving, 1e-9)
    if share < 1e-3:
        return ""
    return (
        f"{100.0 * share:.0f} % of the driving force ({units.text(worst.balance.leaves, 'force')}, "
        f"{worst.view.name}) is held by nothing: that snow leaves the roof."
    )


def row_lines(study: BlanketStudy) -> list[tuple[str, ...]]:
    """Every row: name, tributary force, force in every view, largest line load, limits of the layer."""
    units, stations = units_of(study), study.setting.stations
    width = np.diff(stations.span, axis=1)[:, 0]
    lines = []
    for r, name in enumerate(study.project.layout.row_name):
        on = stations.row == r
        tributary = float((study.tributary_line[on] * width[on]).sum())
        peak = max(float(a.line[on].max()) for a in study.answers)
        limits = [
            max(float(getattr(a, kind)[r]) for a in study.answers) for kind in ("bearing", "over", "under")
        ]
        lines.append(
            (
                name,
                units.text(tributary, "force"),
                *(units.text(float(a.row[r]), "force") for a in shown(study)),
                units.text(peak, "line"),
                *(f"{limit:.2f}" for limit in limits),
            )
        )
    return lines


def row_heads(study: BlanketStudy) -> tuple[str, ...]:
    """Heads of `row_lines`."""
    return (
        "row",
        "tributary",
        *(a.view.name for a in shown(study)),
        "largest line load",
        "bearing",
        "over",
        "below",
    )


def clamp_lines(study: BlanketStudy, most: int) -> list[tuple[str, ...]]:
    """Clamps whose force differs most from the tributary one, the largest rise first."""
    units, layout = units_of(study), study.project.layout
    rise = study.most - study.tributary_clamp
    order = np.argsort(-rise, kind="stable")[:most]
    return [
        (
            layout.clamp_name[c],
            units.text(float(study.tributary_clamp[c]), "force"),
            *(units.text(float(a.clamp[c]), "force") for a in shown(study)),
            ratio(study, int(c)),
            "not verified" if np.isnan(study.worst_use[c]) else f"{study.worst_use[c]:.2f}",
        )
        for c in order
    ]


def clamp_heads(study: BlanketStudy) -> tuple[str, ...]:
    """Heads of `clamp_lines`."""
    return ("clamp", "tributary", *(a.view.name for a in shown(study)), "ratio", "use")


def ratio(study: BlanketStudy, clamp: int) -> str:
    """Largest force over the tributary one."""
    share = float(study.tributary_clamp[clamp])
    return f"{study.most[clamp] / share:.2f}" if share > 1.0 else "-"


def balance_lines(study: BlanketStudy) -> list[tuple[str, ...]]:
    """Where the driving force goes in every view."""
    units = units_of(study)
    kinds = ("driving", "rows", "stops", "friction", "bond", "valleys", "boxes", "leaves")
    names = ("driving", "rows", "stops", "friction", "bond", "valleys", "boxes", "leaves the roof")
    used = [
        (kind, name)
        for kind, name in zip(kinds, names, strict=True)
        if any(abs(getattr(a.balance, kind)) > 1e-6 * a.balance.driving for a in study.answers)
    ]
    return [
        (name, *(units.text(getattr(a.balance, kind), "force") for a in shown(study))) for kind, name in used
    ]


def proof_line(study: BlanketStudy) -> str:
    """The self-check in one line."""
    error = max(max(a.balance.error, a.balance.sideways) for a in study.answers)
    shift = max(a.view.state.unsettled for a in study.answers)
    met = "met" if study.proven else "NOT MET"
    return (
        f"Self-check {met}: forces balance to {error:.1e} of the driving force (bar {BALANCED:g}); the laws "
        f"of the snow are met but for {shift:.1e} of it (bar {SETTLED:g})."
    )


HOLDING = (
    ("clamps", "clamps"),
    ("held", "driving force held"),
    ("largest", "largest force along a seam"),
    ("scatter", "scatter of forces (deviation / mean)"),
    ("utilization", "largest utilization"),
    ("capacity", "snow at the first clamp's strength (times)"),
    ("after", "largest force, most used clamp missing (times)"),
    ("lost", "driving force lost with it"),
    ("softer", "largest force, snow a third as stiff (times)"),
)


def comparison_lines(study: BlanketStudy) -> list[tuple[str, ...]]:
    """Single stops beside a row on the same seams; empty without stops."""
    if study.comparison is None:
        return []
    units = units_of(study)

    def cell(kind: str, value: float) -> str:
        if kind == "clamps":
            return f"{value:.0f}"
        if kind == "largest":
            return units.text(value, "force")
        if kind in ("held", "lost"):
            return f"{100.0 * value:.0f} %"
        return "not verified" if np.isnan(value) else f"{value:.2f}"

    both = (study.comparison.stops, study.comparison.row)
    return [(words, *(cell(kind, getattr(one, kind)) for one in both)) for kind, words in HOLDING]


def layer_lines(study: BlanketStudy) -> tuple[str, ...]:
    """What the layer itself may not bear at the rows, in sentences."""
    found = []
    kinds = (
        (
            "bearing",
            "the largest pressure on the face of the rail is {0:.1f} times the snow's strength: it packs or "
            "yields there first, and may flow around or over",
        ),
        ("over", "the snow above the rail's top pulls {0:.1f} times what a weak layer holds: it may go over"),
        ("under", "the snow below the rail pulls {0:.1f} times what a weak layer holds: it may go below"),
    )
    for kind, words in kinds:
        use = np.max([getattr(answer, kind) for answer in study.answers], axis=0)
        rows = [study.project.layout.row_name[r] for r in np.flatnonzero(use > 1.0)]
        if rows:
            found.append(f"At {', '.join(rows)} {words.format(float(use.max()))} (judgment).")
    return tuple(found)


def by_check(study: BlanketStudy) -> str:
    """What `check` says of the same case; it counts with a bound at the ends of partial rows."""
    if study.analysis is None:
        return ""
    use = study.check_use
    if np.isnan(use).any():
        return "By `check`, clamps are not verified in this case."
    worst = int(np.argmax(use))
    name = study.project.layout.clamp_name[worst]
    words = f"By `check` the most used clamp of this case is {name}, {use[worst]:.2f}"
    return words + (": exceeded, whatever the layer says." if use[worst] > 1.0 else ".")
