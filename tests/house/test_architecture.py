"""The house stands as DEVELOPERS.md draws it: floors, no cycles, light help, nothing that nobody uses."""

import ast
import graphlib
import re
import subprocess
import sys
from collections import Counter
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FLOORS = ("roofmodel", "fea", "viewer")  # from below; each knows only what is under it
LONGEST = 500
HEAVY = {
    *("cvxopt", "ezdxf", "gmsh", "ifcopenshell", "jinja2", "lxml", "matplotlib", "meshio", "numba", "numpy"),
    *("openpyxl", "PIL", "pint", "pydantic", "pyvista", "rich", "scipy", "shapely", "starlette", "tomlkit"),
    *("trimesh", "typst", "uvicorn", "vtk", "vtkmodules"),
}
LARGE = {"gmsh", "ifcopenshell", "matplotlib", "pyvista", "vtk", "vtkmodules", "distributed"}

# Rooms that know each other both ways, and why.
MUTUAL = {}

# Public for the sake of those who build on these packages, or of proofs; everything else has to be used.
FOR_OTHERS = {
    "beam_inside": "results within an element; the proofs of beams read them",
    "beam_end_forces": "results of beams in any structure",
    "chance_of_failure": "plain sampling, which the jobs of `risk` are compared with",
    "fill_outline": "triangles in any outline, for irregular pans",
    "no_strips": "virtual tests of rows alone",
    "on_files": "called by mkdocs",
    "read_results": "reads what the other solver made of a deck",
    "study_seam": "one action on one clamp, for closed forms",
}


@cache
def modules():
    """Every module of the packages by its dotted name."""
    found = {}
    for floor in FLOORS:
        for path in sorted((ROOT / floor).rglob("*.py")):
            parts = path.relative_to(ROOT).with_suffix("").parts
            found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


@cache
def tree(path):
    return ast.parse(path.read_text(encoding="utf-8"))


def imports(node, *, inside=True, types=False):
    """Names imported below a node; those for type checkers, and those within functions, if asked for."""
    left = [node]
    while left:
        for child in ast.iter_child_nodes(left.pop()):
            if isinstance(child, ast.expr):
                continue
            if not types and isinstance(child, ast.If) and "TYPE_CHECKING" in ast.dump(child.test):
                continue
            if isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef) and not inside:
                continue
            if isinstance(child, ast.Import):
                yield from (alias.name for alias in child.names)
            elif isinstance(child, ast.ImportFrom):
                assert not child.level, "imports are written in full"
                for alias in child.names:
                    whole = f"{child.module}.{alias.name}"
                    yield whole if whole in modules() else child.module
            left.append(child)


@cache
def graph(types=False):
    """Which modules each module imports, wherever it does; for type checkers too if asked for."""
    known = modules()
    return {
        name: {one for one in imports(tree(path), types=types) if one in known and one != name}
        for name, path in known.items()
    }


def room(name):
    """Folder of a module within its floor, or the module itself where it stands beside the folders."""
    parts = name.split(".")
    return ".".join(parts[:2]) if len(parts) > 2 else name


def test_the_graph_is_read():
    assert len(modules()) > 300
    assert "roofmodel.project.load" in graph()["fea.analysis"]
    assert "viewer.terminal" in graph()["viewer.cli"], "imports within functions count"


def test_low_floors_know_nothing_of_high_ones():
    floor = {name: FLOORS.index(name.split(".")[0]) for name in graph()}
    up = [f"{a} imports {b}" for a, below in graph().items() for b in below if floor[b] > floor[a]]
    assert not up


def test_no_module_imports_itself_around_a_corner():
    try:
        tuple(graphlib.TopologicalSorter(graph(types=True)).static_order())
    except graphlib.CycleError as error:
        pytest.fail(" <- ".join(error.args[1]))


def test_rooms_know_one_another_in_one_direction():
    pairs = {(room(a), room(b)): a for a, below in graph(types=True).items() for b in below}
    mutual = {f"{pairs[pair]} reaches back" for pair in pairs if pair[0] != pair[1] and pair[::-1] in pairs}
    assert not mutual


def test_modules_fit_a_head():
    lines = {str(p.relative_to(ROOT)): p.read_text(encoding="utf-8").count("\n") for p in modules().values()}
    assert {name: count for name, count in lines.items() if count > LONGEST} == {}


def test_large_libraries_are_imported_where_they_are_used():
    at_once = {
        f"{name}: {one}"
        for name, path in modules().items()
        for one in imports(tree(path), inside=False)
        if one.split(".")[0] in LARGE and name.split(".")[1] not in ("docs",)
    }
    assert at_once == set()


def test_help_of_every_command_is_light():
    code = (
        "import sys\n"
        "from viewer.cli import commands\n"
        "for name in ['', *commands.commands]:\n"
        "    commands.main([*name.split(), '--help'], prog_name='eavewright', standalone_mode=False)\n"
        f"print('loaded:', sorted(set({HEAVY!r}) & set(sys.modules)))\n"
    )
    told = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert told.stdout.splitlines()[-1:] == ["loaded: []"], told.stdout[-300:] + told.stderr[-2000:]


def public(node):
    """Functions and classes that a module shows, and the methods of such classes."""
    for one in node.body:
        if isinstance(one, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef) and one.name[0] != "_":
            yield one
            if isinstance(one, ast.ClassDef):
                yield from public(one)


def test_what_is_public_says_what_it_does():
    silent = [
        f"{name}.{one.name}"
        for name, path in modules().items()
        for one in public(tree(path))
        if not ast.get_docstring(one)
    ]
    assert silent == []


def named(node):
    """Every word with which a tree may call something: names, attributes, keywords, short texts."""
    for one in ast.walk(node):
        if isinstance(one, ast.Name) and isinstance(one.ctx, ast.Load):
            yield one.id
        elif isinstance(one, ast.Attribute):
            yield one.attr
        elif isinstance(one, ast.keyword) and one.arg:
            yield one.arg
        elif isinstance(one, ast.Constant) and isinstance(one.value, str) and one.value.isidentifier():
            yield one.value


def defined(node):
    """Functions, classes and constants of a module; commands are called by their decorator."""
    for one in node.body:
        if isinstance(one, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            if not any("command" in ast.dump(mark) for mark in one.decorator_list):
                yield one.name
        elif isinstance(one, ast.Assign | ast.AnnAssign):
            for target in one.targets if isinstance(one, ast.Assign) else [one.target]:
                names = target.elts if isinstance(target, ast.Tuple) else [target]
                yield from (name.id for name in names if isinstance(name, ast.Name))


def test_nothing_stands_unused():
    paths = [*modules().values(), *(ROOT / "benchmarks").rglob("*.py")]
    used = Counter(word for path in paths for word in named(tree(path)))
    unused = {
        word: name
        for name, path in modules().items()
        for word in defined(tree(path))
        if not used[word] and not word.startswith("__")
    }
    assert {word: name for word, name in unused.items() if word not in FOR_OTHERS} == {}
    assert set(FOR_OTHERS) <= set(unused), "used by now, or gone: strike it from the list"


def test_the_map_shows_every_room_and_nothing_that_is_gone():
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rooms = {str(path.parent.relative_to(ROOT)) for path in modules().values()} - set(FLOORS)
    shown = set(re.findall(r"`([a-z_/]+?)/?`", text))
    assert rooms - shown == set()
    named_paths = re.findall(r"`((?:roofmodel|fea|viewer|tests|benchmarks)/[\w./]*)`", text)
    assert len(named_paths) > 50
    assert [path for path in named_paths if not (ROOT / path).exists() and "NAME" not in path] == []


def test_files_of_tests_have_names_of_their_own():
    """Pytest refuses one of two that share a name, wherever they lie."""
    names = Counter(path.name for path in (ROOT / "tests").rglob("test_*.py"))
    assert len(names) > 100
    assert {name for name, count in names.items() if count > 1} == set()
