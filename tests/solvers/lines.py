"""Plane beams cut at hinges, for tests of contacts and events: dense, with nodes in a line."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Line:
    """Stiffness, kinks of hinges, and unknowns of nodes: deflection, rotations left and right."""

    x: np.ndarray
    K: np.ndarray
    kink: np.ndarray
    w: np.ndarray
    left: np.ndarray
    right: np.ndarray

    def uniform(self, q: float, start: float = -np.inf, end: float = np.inf) -> np.ndarray:
        F = np.zeros(len(self.K))
        mid = (self.x[1:] + self.x[:-1]) / 2.0
        for e in np.flatnonzero((mid > start) & (mid < end)):
            L = self.x[e + 1] - self.x[e]
            dof = [self.w[e], self.right[e], self.w[e + 1], self.left[e + 1]]
            F[dof] += q * np.array([L / 2, L * L / 12, L / 2, -L * L / 12])
        return F

    def point(self, P: float, x: float) -> np.ndarray:
        F = np.zeros(len(self.K))
        F[self.w[np.argmin(np.abs(self.x - x))]] = P
        return F


def line(x, EI: float, hinges=()) -> Line:
    """Exact Euler beams between nodes at x, cut at the hinges (node numbers)."""
    x = np.asarray(x, dtype=float)
    n, cut = len(x), np.zeros(len(x), dtype=int)
    cut[list(hinges)] = 1
    w = np.cumsum(2 + cut) - 2 - cut
    left, right = w + 1, w + 1 + cut
    K = np.zeros((w[-1] + 2 + cut[-1],) * 2)
    for e in range(n - 1):
        L = x[e + 1] - x[e]
        k = np.array(
            [[12, 6 * L, -12, 6 * L], [6 * L, 4 * L * L, -6 * L, 2 * L * L],
             [-12, -6 * L, 12, -6 * L], [6 * L, 2 * L * L, -6 * L, 4 * L * L]]
        )  # fmt: skip
        dof = np.array([w[e], right[e], w[e + 1], left[e + 1]])
        K[np.ix_(dof, dof)] += EI / L**3 * k
    kink = np.zeros((len(hinges), len(K)))
    for i, h in enumerate(hinges):
        kink[i, right[h]], kink[i, left[h]] = 1.0, -1.0
    return Line(x, K, kink, w, left, right)


def table_line(inputs: dict) -> tuple[Line, np.ndarray, np.ndarray]:
    """Line, stretch (c, n) of its supports and load of a table of beams on one-way supports."""
    at = [inputs["x_start_mm"], inputs["x_end_mm"], *inputs["support_x_mm"]]
    for load in inputs["loads"]:
        at += [load["x_mm"]] if load["type"] == "point" else [load["x_a_mm"], load["x_b_mm"]]
    beam = line(np.unique(at), inputs["EI_Nmm2"])
    F = np.zeros(len(beam.K))
    for load in inputs["loads"]:
        if load["type"] == "point":
            F += beam.point(load["P_N"], load["x_mm"])
        else:
            assert load["q_a_N_per_mm"] == load["q_b_N_per_mm"]
            F += beam.uniform(load["q_a_N_per_mm"], load["x_a_mm"], load["x_b_mm"])
    B = np.zeros((len(inputs["support_x_mm"]), len(beam.K)))
    B[np.arange(len(B)), beam.w[np.searchsorted(beam.x, inputs["support_x_mm"])]] = 1.0
    return beam, B, F


def enumerate_sets(K, B, k, gap, F) -> list[np.ndarray]:
    """Link forces of every closed set that contradicts neither itself nor the open links."""
    found = []
    for number in range(1 << len(k)):
        closed = (number >> np.arange(len(k))) & 1
        total = K + (B.T * (k * closed)) @ B
        if np.linalg.cond(total) > 1e9:
            continue
        u = np.linalg.solve(total, F + B.T @ (k * closed * gap))
        push = k * (B @ u - gap)
        if ((push > 0.0) == (closed == 1)).all():
            found.append(closed * push)
    return found
