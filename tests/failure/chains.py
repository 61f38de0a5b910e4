"""Rows of springs under a beam, a string or a rigid bar, in plain numbers."""

from __future__ import annotations

import numpy as np

from fea.failure.assembled import assembly
from fea.solvers.links import link_form


def beam_row(n: int, k: np.ndarray | float = 1.0, EI: float = 1.0, turn: float = 0.1):
    """Z and H of a beam on springs `k` a unit apart: f = H load - Z p; `turn` resists turning at each."""
    k = np.broadcast_to(np.asarray(k, dtype=float), (n,))
    K = np.zeros((2 * n, 2 * n))
    beam = EI * np.array([[12.0, 6, -12, 6], [6, 4, -6, 2], [-12, -6, 12, -6], [6, 2, -6, 4]])
    for i in range(n - 1):
        K[2 * i : 2 * i + 4, 2 * i : 2 * i + 4] += beam
    K[1::2, 1::2] += turn * np.eye(n)
    B = np.zeros((n, 2 * n))
    B[np.arange(n), 2 * np.arange(n)] = 1.0
    F = B @ np.linalg.solve(K + (B.T * k) @ B, B.T)
    return np.diag(k) - k[:, None] * F * k, k[:, None] * F


def string_row(n: int, k: float):
    """The same for a string with unit tension: losses go to the nearest that hold, by the lever rule."""
    T = 2.0 * np.eye(n) - np.eye(n, k=1) - np.eye(n, k=-1)
    T[0, 0] = T[-1, -1] = 1.0
    F = np.linalg.inv(T + k * np.eye(n))
    return k * np.eye(n) - k * k * F, k * F


def rigid_row(n: int):
    """The same for a rigid bar that stays level: equal sharing."""
    return np.eye(n) - 1.0 / n, np.full((n, n), 1.0 / n)


def one_row(Z: np.ndarray, k: float = 1.0):
    """Links of stiffness `k` under one bar, as the cascade takes them."""
    n = len(Z)
    form = link_form(Z, np.full(n, k))
    return assembly(form.Z, np.zeros(n, dtype=int), np.full(n, k), form.floor)
