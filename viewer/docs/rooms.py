"""The rooms of the house, from what each module says of itself: `python -m viewer.docs.rooms`."""

from __future__ import annotations

import ast
from pathlib import Path

ROOT = Path(__file__).parents[2]
FLOORS = ("roofmodel", "fea", "viewer")


def rooms_page() -> str:
    """Every folder with its modules and the first line of each."""
    parts = [
        "# The rooms of the house",
        "Each module's own first line, folder by folder, from the lowest floor up. `DEVELOPERS.md` says how "
        "they belong together.",
    ]
    for folder in sorted(
        (path.parent for floor in FLOORS for path in (ROOT / floor).rglob("__init__.py")),
        key=lambda path: (FLOORS.index(path.relative_to(ROOT).parts[0]), path),
    ):
        rows = [f"| `{path.name}` | {_first(path)} |" for path in sorted(folder.glob("[a-z]*.py"))]
        table = "\n".join(["| module | what it is |", "| --- | --- |", *rows])
        parts.append(f"## {folder.relative_to(ROOT)}\n\n{_first(folder / '__init__.py')}\n\n{table}")
    return "\n\n".join(parts) + "\n"


def _first(path: Path) -> str:
    """The first sentence or line of a module."""
    words = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8"))) or ""
    return words.split("\n")[0].replace("|", "\\|").replace("<", "&lt;")


if __name__ == "__main__":
    import sys

    sys.stdout.write(rooms_page())
