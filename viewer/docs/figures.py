"""The figures of the documentation, computed by the tool itself.

`python -m viewer.docs.figures` writes them to `viewer/docs/pages/figures`. The roof is that of the tutorial.
Numbers that a page says are those that a figure returns; a test compares them.
"""

from __future__ import annotations

import copy
import re
import sys
import tempfile
import tomllib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

from fea.analysis import Analysis, analyze
from roofmodel.project.load import Project, edited_project, load_project
from viewer.docs.drawings_of_force import down_slope_force, sunny_frosty_day
from viewer.docs.drawings_of_structure import clamp_on_seam, ice_at_eaves, partial_row, where_the_weight_goes
from viewer.picture.drawing import Drawing, drawing_svg

HERE = Path(__file__).parent
FIGURES = HERE / "pages" / "figures"

Figure = tuple[Drawing, tuple[str, ...]]


@cache
def tutorial_project() -> dict[str, Any]:
    """The project file that the tutorial begins with."""
    page = (HERE / "pages" / "tutorial.md").read_text(encoding="utf-8")
    found = re.search(r"```toml\n(.*?)```", page, re.DOTALL)
    assert found is not None
    return tomllib.loads(found[1])


@cache
def _known() -> Project:
    from viewer.starter import starter_text

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bakery.toml"
        path.write_text(starter_text("gable", "SI"), encoding="utf-8")
        return load_project(path)


def bakery(
    change: Callable[[dict[str, Any]], None] = lambda data: None, *, door_only: bool = False
) -> Project:
    """The bakery of the tutorial, with one row over the whole plane or over the door only.

    Parameters
    ----------
    change : callable
        Changes the content of the project file.
    door_only : bool
    """
    data = copy.deepcopy(tutorial_project())
    if not door_only:
        for name in ("start", "end"):
            del data["row"][0][name]
        data["row"][0]["name"] = "low"
    change(data)
    return edited_project(_known(), data)


@cache
def checked(door_only: bool = False) -> Analysis:
    """The check of the bakery."""
    return analyze(bakery(door_only=door_only))


def figures() -> dict[str, Figure]:
    """Every figure: its drawing, and the numbers that the pages say of it."""
    return {
        "sunny-frosty-day": sunny_frosty_day(bakery),
        "down-slope-force": down_slope_force(bakery),
        "where-the-weight-goes": where_the_weight_goes(checked()),
        "partial-row": partial_row(checked(), checked(door_only=True)),
        "ice-at-eaves": ice_at_eaves(),
        "clamp-on-seam": clamp_on_seam(checked()),
    }


def main(folder: Path = FIGURES) -> None:
    """Write every figure as SVG."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, (drawing, numbers) in figures().items():
        title = drawing.texts[0].text
        (folder / f"{name}.svg").write_text(drawing_svg(drawing, title) + "\n", encoding="utf-8")
        sys.stdout.write(f"{name}: {'; '.join(numbers)}\n")


if __name__ == "__main__":
    main()
