"""What nobody gave of splices and clamps: an analysis at each end of it, and how that is said.

`rail.splice_torsion` may be passed or free, and a clamp may tip as softly as its default or not at all.
`check` and span tables take the worse for every limit; all that follows one structure at a time takes these
ends, or says which one it takes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from fea.analysis import Analysis
from fea.states import State, most_used
from fea.tipping import hardest_limits, stiff_end
from roofmodel.hardware import Clamp, SpliceTorsion
from roofmodel.layout import SpliceKind
from roofmodel.project.load import Project

SPLICES, ROCKING = "rail.splice_torsion", "clamp.stiffness.rocking"
STIFF_WORDS = "clamps do not tip"
OPEN = ("NOT GIVEN", "CONTRADICTED")  # how sentences on what nobody gave begin


@dataclass(frozen=True)
class End:
    """An analysis with one choice for all that nobody gave.

    Attributes
    ----------
    analysis : Analysis
        Its project, states, responses and forces at the grips are those of this end, and what its limits say
        of clamps and screws; all else is left as it was.
    words : str
        Such as "splices pass no torsion, clamps do not tip"; empty where everything is given.
    """

    analysis: Analysis
    words: str


def unknown_fields(project: Project) -> tuple[str, ...]:
    """Fields that nobody gave, or that contradict others, where the answer may hang on them."""
    hinged = any(kind is not SpliceKind.CONTINUOUS for kind in project.layout.splice_kind)
    found = [SPLICES] if hinged and project.rail.splice_torsion is SpliceTorsion.UNKNOWN else []
    loose = len(project.layout.clamp_s) + project.stops.count
    return (*found, *([ROCKING] if loose and stiff_end(project) is not None else []))


def rocking_alone(project: Project) -> tuple[str, ...]:
    """As `unknown_fields`, where the worse state of splices is taken and tipping is all that is open."""
    return tuple(field for field in unknown_fields(project) if field == ROCKING)


def hardest_state(analysis: Analysis) -> int:
    """The state in which the most used clamp is used most, for what can show only one."""
    each = np.split(analysis.clamp_force, len(analysis.states), axis=1)
    return int(np.argmax([most_used(analysis.project, force).max(initial=0.0) for force in each]))


def ends_of(analysis: Analysis) -> tuple[End, ...]:
    """The analysis at every end of what nobody gave; itself alone where all is given."""
    project, readings = analysis.project, len(analysis.basis.readings)
    rails = list(dict.fromkeys(state.project.rail.splice_torsion for state in analysis.states))
    of_state = [rails.index(state.project.rail.splice_torsion) for state in analysis.states]
    fields, firm, found = unknown_fields(project), stiff_end(project), []
    for number, _ in enumerate(rails):
        at = [i for i, own in enumerate(of_state) if own == number]
        states = tuple(analysis.states[i] for i in at)
        responses = tuple(analysis.responses[i] for i in at)
        own = states[0].project
        said = [states[0].splices] if SPLICES in fields else []
        soft = np.concatenate(
            [analysis.clamp_force[:, readings * i : readings * (i + 1)] for i in at], axis=1
        )
        soft_words = ", ".join([*said, *([_soft_words(project)] if firm is not None else [])])
        found.append(
            End(_at(analysis, own, soft, project.clamp, states=states, responses=responses), soft_words)
        )
        if firm is None or analysis.stiff_force is None:
            continue
        stiff = analysis.stiff_force[:, readings * number : readings * (number + 1)]
        one = replace(own, clamp=firm)
        rigid = replace(analysis.support, stiffness=())
        held = _at(
            analysis, one, stiff, firm, states=(State(one, 0, None),), responses=responses[:1], support=rigid
        )
        found.append(End(held, ", ".join([*said, STIFF_WORDS])))
    return tuple(found)


def _soft_words(project: Project) -> str:
    given = project.table.clamp.stiffness.rocking is not None
    return "clamps tip as given" if given else "clamps tip as by default"


def _at(analysis: Analysis, project: Project, force: np.ndarray, clamp: Clamp, **changes: object) -> Analysis:
    own = {limit.name: limit for limit in hardest_limits(project, force, clamp)}
    limits = tuple(own.get(limit.name, limit) for limit in analysis.limits)
    return replace(analysis, project=project, clamp_force=force, limits=limits, **changes)  # type: ignore[arg-type]


def worse_words(project: Project, what: str, fields: Sequence[str] | None = None) -> tuple[str, ...]:
    """That all ends of what nobody gave are followed, and `what` comes of it; none where all is given."""
    fields = unknown_fields(project) if fields is None else fields
    if not fields:
        return ()
    return (
        f"{_open(project, fields)}: {' and '.join(_both(project, fields))} {what}. Give "
        f"{'them' if len(fields) > 1 else 'it'} to know which.",
    )


def one_end_words(project: Project, what: str, fields: Sequence[str] | None = None) -> tuple[str, ...]:
    """That `what` takes one end alone of what nobody gave, and which; none where all is given."""
    fields = unknown_fields(project) if fields is None else fields
    if not fields:
        return ()
    taken = ["splices that pass torsion on"] if SPLICES in fields else []
    if ROCKING in fields:
        given = project.table.clamp.stiffness.rocking is not None
        taken.append(f"clamps that tip as {'given' if given else 'by default'}")
    return (
        f"{_open(project, fields)}: {what} {' and '.join(taken)} alone; `check` takes the worse of all that "
        f"may be. Give {'them' if len(fields) > 1 else 'it'}.",
    )


def _open(project: Project, fields: Sequence[str]) -> str:
    """Such as "NOT GIVEN: rail.splice_torsion, clamp.stiffness.rocking"."""
    if project.table.clamp.stiffness.rocking is not None and ROCKING in fields:
        rest = [field for field in fields if field != ROCKING]
        before = f"{OPEN[0]}: {', '.join(rest)}; " if rest else ""
        return f"{before}{OPEN[1]} by clamp.stiffness.along: {ROCKING}"
    return f"{OPEN[0]}: {', '.join(fields)}"


def _both(project: Project, fields: Sequence[str]) -> list[str]:
    found = ["splices that pass torsion on and that do not"] if SPLICES in fields else []
    if ROCKING in fields:
        given = project.table.clamp.stiffness.rocking is not None
        found.append(f"clamps that tip as {'given' if given else 'by default'} and not at all")
    return found
