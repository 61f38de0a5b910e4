"""Rows that move: the kept parts never change the answer."""

import dataclasses
from enum import Enum
from pathlib import Path

import numpy as np
import pytest
import shapely
from plan_projects import gable
from scipy import sparse

from fea.analysis import analyze
from fea.moving import moved_rows, prepare, resolve
from fea.panel import support
from roofmodel.errors import InputError
from roofmodel.memory import Memory
from roofmodel.project.load import load_project, with_rows

MODELS = Path(__file__).parents[2] / "models"
TIMES = {"seconds"}


def differences(a, b, path="analysis"):
    """Paths of everything that is not alike to 1e-9, walked through dataclasses, tuples and arrays."""
    if isinstance(a, np.ndarray) and a.dtype != object:
        alike = a.shape == b.shape
        scale = 1.0 if not alike or not a.size else max(1e-12, np.nanmax(np.abs(np.nan_to_num(a))))
        if not alike or not np.allclose(a, b, rtol=0.0, atol=1e-9 * scale, equal_nan=True):
            yield path
    elif sparse.issparse(a):
        yield from differences(a.toarray(), b.toarray(), path)
    elif isinstance(a, np.ndarray):
        if not all(shapely.equals_exact(x, y, 1e-9) for x, y in zip(a, b, strict=True)):
            yield path
    elif dataclasses.is_dataclass(a) and not isinstance(a, (type, Enum)):
        for field in dataclasses.fields(a):
            if field.name not in TIMES:
                yield from differences(getattr(a, field.name), getattr(b, field.name), f"{path}.{field.name}")
    elif isinstance(a, (tuple, list)):
        if len(a) != len(b):
            yield path
        for i, (x, y) in enumerate(zip(a, b, strict=False)):
            yield from differences(x, y, f"{path}[{i}]")
    elif isinstance(a, float):
        if a != pytest.approx(b, rel=1e-9, abs=1e-12, nan_ok=True):
            yield path
    elif a != b:
        yield path


def compare(project, prepared, changes):
    rows = moved_rows(project.table.row, changes)
    full = analyze(with_rows(project, rows))
    moved = resolve(prepared, changes)
    assert list(differences(full, moved)) == []
    return moved


@pytest.mark.parametrize(
    ("model", "steps"),
    [
        (
            "cedar-hollow",
            [
                {},
                {"E": {"up": 0.9}},
                {"E": {"up": 0.9}, "N": {"every": 2}},  # the clamps of all later rows change their numbers
                {"N": {"every": 2}},
                {"S-low": {"up": 1.1, "start": 0.5, "end": 15.0}},
                {},
            ],
        ),
        (
            "granary-door",
            [
                {},
                {"door": {"start": 6.0}},
                {"door": {"cantilever": 0.03}},
                {"door": {"cantilever": None}},
                {"door": {"end": 13.0, "first": 2, "every": 3}},
            ],
        ),
    ],
)
def test_a_moved_row_is_answered_like_a_new_project(model, steps):
    project = load_project(MODELS / model / "project.toml")
    prepared = prepare(project)
    for changes in steps:
        compare(project, prepared, changes)


def test_panels_that_give_way_are_found_again(tmp_path, monkeypatch):
    """Fields of a plane are made once for its clamps, also when earlier rows change their number."""
    path = tmp_path / "project.toml"
    path.write_text(gable(FLEX="true", FOOTPRINT="0 0, 3 0, 3 3, 0 3 m"))
    project = load_project(path)
    assert project.layout.row_plane.tolist() != [0, 0]
    made, own = [], support.plane_field
    monkeypatch.setattr(support, "plane_field", lambda *a, **k: made.append(a[1]) or own(*a, **k))
    prepared = prepare(project)
    resolve(prepared, {})
    assert len(made) == 4  # two planes, with bearing and without
    resolve(prepared, {"E": {"first": 2}})
    assert len(made) == 6
    compare(project, prepared, {})
    rows = moved_rows(prepared.rows, {"E": {"first": 2}})[::-1]
    assert list(differences(analyze(with_rows(project, rows)), resolve(prepared, rows))) == []


def test_the_length_of_the_memory_is_bounded():
    memory = Memory(most=3)
    for key in range(10):
        assert memory.recall(key, lambda key=key: key * key) == key * key
    assert memory.recall(9, lambda: "made anew") == 81
    assert memory.recall(0, lambda: "made anew") == "made anew"


def test_rows_may_go_and_come():
    """Without its first rows a plane's rows have other numbers, though they stand where they stood."""
    project = load_project(MODELS / "cedar-hollow" / "project.toml")
    prepared = prepare(project)
    resolve(prepared, {})
    for rows in (prepared.rows[2:], prepared.rows[::-1], prepared.rows[:4]):
        full = analyze(with_rows(project, rows))
        assert list(differences(full, resolve(prepared, rows))) == []


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"nowhere": {"up": 1.0}}, 'no row "nowhere"'),
        ({"door": {"plane": "N1"}}, 'row "door".plane: cannot be changed here'),
        ({"door": {"up": -1.0}}, 'row "door".up: -1.0 must be a length in m, not negative'),
        ({"door": {"up": float("nan")}}, "must be a length in m"),
        ({"door": {"every": 0}}, "whole number from 1 to 50"),
        ({"door": {"every": 1.5}}, "whole number from 1 to 50"),
        ({"door": {"up": 50.0}}, "is off plane S1"),
    ],
)
def test_what_cannot_be_is_refused(change, words):
    prepared = prepare(load_project(MODELS / "granary-door" / "project.toml"))
    with pytest.raises(InputError, match=words):
        resolve(prepared, change)


def test_rows_must_have_names_of_their_own():
    prepared = prepare(load_project(MODELS / "granary-door" / "project.toml"))
    with pytest.raises(InputError, match='"door" is used twice'):
        resolve(prepared, prepared.rows * 2)
    with pytest.raises(InputError, match="give at least one"):
        resolve(prepared, ())
