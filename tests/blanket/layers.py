"""Plain layers of snow for the tests: one plane, even snow, given supports."""

from __future__ import annotations

import numpy as np
from scipy import sparse
from shapely import Polygon, box

from fea.blanket.data import ROW, Contacts, Interface, Layer, Snow, Structure
from fea.blanket.equilibrium import Problem, make_pattern, solve
from fea.blanket.holding import join, locate, no_contacts
from fea.blanket.mesh import corner_shares, cover, grid_lines
from fea.blanket.yielding import Strength


def layer(outline: Polygon, step: float, pull: float, depth: float = 0.5, press: float = 1500.0) -> Layer:
    """A layer that is pulled down its plane by `pull` and pressed on it by `press`. [Pa]."""
    low_u, low_v, high_u, high_v = outline.bounds
    u, v = grid_lines(low_u, high_u, [], step), grid_lines(low_v, high_v, [], step)
    cell, share, middle = cover(outline, u, v)
    low = np.stack([u[cell[:, 0]], v[cell[:, 1]]], axis=1)
    size = np.stack([u[cell[:, 0] + 1], v[cell[:, 1] + 1]], axis=1) - low
    grid = (cell[:, None] + np.array([[0, 0], [1, 0], [1, 1], [0, 1]])) @ np.array([len(v), 1])
    known, corner = np.unique(grid, return_inverse=True)
    corner = corner.reshape(-1, 4)
    n, m = len(known), len(cell)
    part = corner_shares((middle - low) / size) * (size.prod(axis=1) * share)[:, None]
    area = np.bincount(corner.ravel(), part.ravel(), n)
    return Layer(
        node=np.stack([u[known // len(v)], v[known % len(v)]], axis=1),
        node_plane=np.zeros(n, dtype=np.int64),
        corner=corner,
        plane=np.zeros(m, dtype=np.int64),
        low=low,
        size=size,
        share=share,
        depth=np.full(m, depth),
        weight=np.ones(m),
        force=np.stack([0.0 * area, -pull * area], axis=1),
        pressing=press * area,
        area=area,
    )


def snow(cells: int, young: float = 1e7, poisson: float = 0.0, **strength: float | np.ndarray) -> Snow:
    """Snow that never fails, unless a strength says so."""
    values = {"tension": 1e9, "shear": 1e9, "compression": 1e9, "slope": 0.0} | strength
    limits = Strength(**{name: np.full(cells, value) for name, value in values.items()})
    return Snow(np.full(cells, young), poisson, limits, np.full(cells, 300.0))


def line(of: Layer, start: tuple, end: tuple, per_length: float, count: int) -> Contacts:
    """Springs along a line that the snow leans on, going down. [N/m^2]."""
    a, b = np.array(start), np.array(end)
    t = (np.arange(count) + 0.5) / count
    uv = a + t[:, None] * (b - a)
    way = np.array([(b - a)[1], -(b - a)[0]]) / np.linalg.norm(b - a)
    point, share, cell = locate(of, np.zeros(count, dtype=np.int64), uv)
    k = len(point)
    each = per_length * np.linalg.norm(b - a) / count
    return Contacts(
        corner=of.corner[cell], share=share, way=np.tile(way, (k, 1)), stiffness=np.full(k, each),
        cap=np.full(k, np.inf), dof=np.full(k, -1), lever=np.zeros(k), kind=np.full(k, ROW),
        item=np.zeros(k, dtype=np.int64),
    )  # fmt: skip


def nothing() -> Structure:
    none = np.zeros(0, dtype=np.int64)
    return Structure(sparse.csr_array((0, 0)), np.zeros(0), none, np.zeros((0, 2)), none)


def face(of: Layer, stiffness: float = 0.0, limit: float = 1e9) -> Interface:
    """Spring and limit per area. [N/m^3], [Pa]."""
    held = of.area * (limit if stiffness else 0.0)
    return Interface(stiffness * of.area, held, 0.0 * held)


def settle(of: Layer, made: Snow, contacts=None, interface=None, bed: float = 1e5, reach: float = 0.05):
    """Problem and its state."""
    parts = no_contacts() if contacts is None else join(contacts)
    problem = Problem(of, made, face(of) if interface is None else interface, parts, nothing(), bed, reach)
    return problem, solve(problem, make_pattern(problem))


def strip(width: float, length: float) -> Polygon:
    return box(0.0, 0.0, width, length)


def plug(
    gap: float, pull: float, cohesion: float, length: float = 4.0, wide: float = 0.8, depth: float = 0.5
):
    """A slab that leans on half a stop at each side; its flanks, one cell wide, are weak: state and excess.

    The excess is what the flanks cannot hold of the driving force between them. [N]
    """
    wide, depth = 0.8, 0.5
    of = layer(strip(gap + wide, length), 0.1, pull, depth)
    half = wide / 2.0
    stops = [
        line(of, (0.0, 0.0), (half, 0.0), 1e8, 8),
        line(of, (gap + half, 0.0), (gap + wide, 0.0), 1e8, 8),
    ]
    x = of.center[:, 0]
    flank = (np.abs(x - half - 0.05) < 0.04) | (np.abs(x - gap - half + 0.05) < 0.04)
    made = snow(len(of.corner), 1e8, 0.0, shear=np.where(flank, cohesion, 1e9))
    _, state = settle(of, made, stops)
    return state, (pull * (gap - 0.1) - 2.0 * cohesion * depth) * length
