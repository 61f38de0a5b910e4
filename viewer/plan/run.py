"""Planning for the command: the search, and writing what it found."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from fea.planning.plan import Plan, plan_rows
from roofmodel.errors import InputError
from roofmodel.project.load import Project
from viewer.places import out_of_place_words
from viewer.plan.export import write_plan_data, write_planned_project
from viewer.plan.words import Beside

if TYPE_CHECKING:
    from viewer.picture.render import Renderer


def planned(project: Project, tell: Callable[[str], None] | None = None) -> Plan:
    """Rows for a project; what cannot be planned is refused with the project's name.

    Raises
    ------
    InputError
    """
    return _named(project, lambda: plan_rows(project, tell))


def compare_spacings(
    project: Project, every: tuple[int, int], tell: Callable[[str], None] | None = None
) -> tuple[Beside, ...]:
    """Plans with one clamp spacing each; one that cannot be does not take away the other."""
    return tuple(_beside(project, n, tell) for n in dict.fromkeys(every))


def _beside(project: Project, every: int, tell: Callable[[str], None] | None) -> Beside:
    try:
        plan = plan_rows(project, tell, every=(every,))
    except InputError as error:
        return Beside(every, None, str(error).rstrip("."))
    return Beside(every, plan, plan.failure)


def _named(project: Project, work: Callable[[], Plan]) -> Plan:
    try:
        return work()
    except InputError as error:
        message = f"{project.path.name}: {str(error).removeprefix(f'{project.path.name}: ')}"
        raise InputError(message) from None


def write_plan(
    project: Project, plan: Plan, beside: tuple[Beside, ...], folder: Path, renderer: Renderer | None
) -> str:
    """Write every output; the reason why there is no picture, empty if there is one."""
    from viewer.picture.draw import Picture, finish_picture, start_picture
    from viewer.plan.map import draw_map

    started = start_picture(plan.analysis, renderer, out_of_place_words(plan.trouble)) if renderer else None
    write_planned_project(project, plan, folder / "planned.toml")
    write_plan_data(project, plan, beside, folder / "plan.json")
    result = Picture(None, "left out on request (--no-picture)")
    if started is not None:
        result = finish_picture(started, folder / "plan.png", draw_map(started.overlay, project, plan))
    if result.path is None:
        (folder / "plan.png").unlink(missing_ok=True)
    return result.reason
