"""CHOLMOD on the faster BLAS of its package: same answers, and never a reason to fail."""

import json
import os
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

from fea.solvers.fast_blas import prefer_fast_blas

SOLVE = """
import os
import numpy as np
from scipy import sparse
from fea.solvers import direct, fast_blas
if {slow}:
    direct.prefer_fast_blas = lambda: False
n = 24
line = sparse.diags_array([-np.ones(n - 1), 2.001 * np.ones(n), -np.ones(n - 1)], offsets=[-1, 0, 1])
K = sparse.csr_array(sparse.kronsum(line, sparse.kronsum(line, line)))
F = np.random.default_rng(1).normal(size=(K.shape[0], 3))
u = direct.factorize(K, direct.Solver.CHOLMOD)(F)
print(repr(float(np.abs(K @ u - F).max())), repr(u[::997].ravel().tolist()))
print(fast_blas.prefer_fast_blas(), os.environ.get(fast_blas.KERNEL))
"""


@cache
def solve(*, slow):
    root = Path(__file__).parents[2]
    done = subprocess.run(
        [sys.executable, "-c", SOLVE.format(slow=slow)],
        cwd=root,
        env={key: value for key, value in os.environ.items() if key != "OPENBLAS_CORETYPE"},
        capture_output=True,
        text=True,
        check=True,
    )
    first, second = done.stdout.strip().splitlines()
    residual, values = first.split(" ", 1)
    return float(residual), json.loads(values), second


def test_both_blas_give_the_same_answer():
    fast, slow = solve(slow=False), solve(slow=True)
    assert max(fast[0], slow[0]) < 1e-10
    assert fast[1] == pytest.approx(slow[1], rel=1e-10)


def test_the_environment_is_as_it_was():
    assert solve(slow=False)[2].endswith("None")


def test_nothing_happens_once_cholmod_is_there():
    import cvxopt.cholmod  # noqa: F401

    prefer_fast_blas.cache_clear()
    assert prefer_fast_blas() is False
