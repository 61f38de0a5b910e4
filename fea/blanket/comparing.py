"""Single stops beside a continuous row: capacity, scatter and sensitivity on the same roof and snow.

The row stands on the lowest course of each table of stops, with a clamp on every seam that carries a stop, so
that both take the same clamps. Both hold coherent snow. What gives way is judged by the most used clamp, so
the capacity is the factor on the snow's force at which the first one reaches its strength, forces growing in
proportion.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fea.blanket.answers import Answer, answer_of
from fea.blanket.setting import layers, make_setting
from fea.blanket.snow import even_snow
from fea.blanket.views import make_mesh, solve_view
from fea.checks.combinations import project_factors
from roofmodel.layout import Layout, no_rows, without_clamps
from roofmodel.project.load import Project
from roofmodel.project.placement import place_rows
from roofmodel.project.schema import RowTable
from roofmodel.sliding.thrust import slide
from roofmodel.snow.cases import SnowCase
from roofmodel.stops import Stops, no_stops

Array = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True)
class Holding:
    """How one arrangement holds the layer.

    Attributes
    ----------
    name : str
    clamps : int
    held : float
        Part of the driving force that it holds. [-]
    largest : float
        Largest force along a seam. [N]
    scatter : float
        Standard deviation of these forces over their mean. [-]
    utilization : float
        Largest utilization, factored; NaN for not verified.
    capacity : float
        Factor on the snow's force at the first clamp's strength, forces growing in proportion. [-]
    after : float
        Largest force when the most used clamp is missing, over the largest before. [-]
    lost : float
        Part of the driving force that leaves in addition when it is missing. [-]
    softer : float
        Largest force with snow of a third of the stiffness, over the largest before. [-]
    """

    name: str
    clamps: int
    held: float
    largest: float
    scatter: float
    utilization: float
    capacity: float
    after: float
    lost: float
    softer: float


@dataclass(frozen=True)
class Comparison:
    """Stops and the row on the same seams; `words` says what the numbers mean for the layout."""

    stops: Holding
    row: Holding
    words: tuple[str, ...]


def compare(project: Project, case: SnowCase, step: float) -> Comparison:
    """Compare the single stops of a project with a row on the same seams.

    Parameters
    ----------
    project : Project
        With stops.
    case : SnowCase
    step : float
        Largest cell. [m]
    """
    alone = replace(project, layout=no_rows())
    row = replace(project, layout=same_seams(project), stops=no_stops())
    held = _holding(alone, case, step, "single stops"), _holding(row, case, step, "row on the same seams")
    return Comparison(*held, words=_words(*held))


def same_seams(project: Project) -> Layout:
    """Rows at the lowest course of every table of stops, clamped on the seams that carry stops."""
    stops, tables = project.stops, project.table.stops
    rows, wanted = [], []
    for number, table in enumerate(tables):
        seams = np.unique(stops.seam[stops.table == number])
        wanted.append(set(seams.tolist()))
        rows.append(
            RowTable.model_construct(
                name=f"row for {table.name}", plane=table.plane, up=table.up, start=table.start, end=table.end
            )
        )
    layout = place_rows(project.roof, rows, project.table.plane, project.panel)
    bare = [
        clamp
        for clamp, (row, seam) in enumerate(zip(layout.clamp_row, layout.clamp_seam, strict=True))
        if int(seam) not in wanted[int(row)]
    ]
    return without_clamps(layout, np.array(bare, dtype=np.int64))


def _holding(project: Project, case: SnowCase, step: float, name: str) -> Holding:
    found = _solved(project, case, step, 1.0)
    force, use = _forces(found)
    worst = int(np.argmax(np.nan_to_num(use, nan=0.0) + 1e-9 * force))
    missing = _solved(_without(project, worst), case, step, 1.0)
    soft = _solved(project, case, step, 1.0 / 3.0)
    driving = max(found.balance.driving, 1e-9)
    largest, most = float(force.max()), float(np.max(use))
    return Holding(
        name=name,
        clamps=len(force),
        held=1.0 - found.balance.leaves / driving,
        largest=largest,
        scatter=float(force.std() / max(force.mean(), 1e-9)),
        utilization=most,
        capacity=1.0 / most if most > 0.0 else np.inf,
        after=float(_forces(missing)[0].max() / largest),
        lost=max((missing.balance.leaves - found.balance.leaves) / driving, 0.0),
        softer=float(_forces(soft)[0].max() / largest),
    )


def _forces(found: Answer) -> tuple[Array, Array]:
    return np.concatenate([found.clamp, found.stop]), np.concatenate([found.use, found.stop_use])


def _without(project: Project, which: int) -> Project:
    if project.stops.count:
        kept = np.delete(np.arange(project.stops.count), which)
        return replace(project, stops=pick(project.stops, kept))
    return replace(project, layout=without_clamps(project.layout, np.array([which])))


def pick(stops: Stops, kept: IntArray) -> Stops:
    """Some of the stops."""
    return replace(
        stops,
        name=tuple(stops.name[i] for i in kept.tolist()),
        plane=stops.plane[kept],
        uv=stops.uv[kept],
        width=stops.width[kept],
        course=stops.course[kept],
        table=stops.table[kept],
        seam=stops.seam[kept],
    )


def _solved(project: Project, case: SnowCase, step: float, softness: float) -> Answer:
    table = project.table.blanket.model_copy(update={"mesh": step})
    project = replace(project, table=project.table.model_copy(update={"blanket": table}))
    flow = slide(project.roof, (case,), project.layout, project.slide)
    setting = make_setting(project, case, 0, flow)
    if softness != 1.0:
        young = float(even_snow(setting.choice).young[0])
        setting = replace(setting, choice=replace(setting.choice, young=softness * young))
    meshes = tuple(make_mesh(setting, layer) for layer in layers(setting))
    view = solve_view(setting, meshes, "coherent", "", cracked=False, bond=((), None))
    return answer_of(project, setting, None, view, project_factors(project, case))


def _words(stops: Holding, row: Holding) -> tuple[str, ...]:
    found = []
    if stops.held < 0.999:
        found.append(
            f"The stops hold {100.0 * stops.held:.0f} % of the driving force, the row "
            f"{100.0 * row.held:.0f} %: snow that slips between stops leaves the roof."
        )
    if stops.utilization > row.utilization:
        found.append(
            f"The first stop reaches its strength at {stops.capacity:.2f} times the snow's force, the row's "
            f"first clamp at {row.capacity:.2f} times."
        )
    found.append(
        f"Without its most used clamp the largest force rises to {stops.after:.2f} times on stops and to "
        f"{row.after:.2f} times on the row, which hands it on by bending."
    )
    return tuple(found)
