"""Single shells of any shape and meshes of distorted ones, for the tests beside this file."""

import numpy as np
from scipy.spatial.transform import Rotation

from benchmarks.verification.shell_problems import QUADS, Grid, grid

SHAPE = {
    QUADS: np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]], dtype=float),
    "triangles": np.array([[0, 0, 0], [1, 0, 0], [0.4, 0.9, 0]], dtype=float),
}


def elements(kind: str, seed: int, count: int = 6) -> tuple[np.ndarray, np.ndarray]:
    """Distorted elements, quads warped, of side ratios up to 10, anywhere in space, thick to thin."""
    rng = np.random.default_rng(seed)
    corners = SHAPE[kind] + rng.uniform(-0.18, 0.18, (count, *SHAPE[kind].shape))
    corners[..., 0] *= 10.0 ** rng.uniform(-1.0, 1.0, (count, 1))
    turn = Rotation.random(count, random_state=rng).as_matrix()
    return corners @ turn + rng.normal(size=(count, 1, 3)), 10.0 ** rng.uniform(-3.0, -0.5, count)


def distorted(n: int) -> Grid:
    """A unit square whose inner nodes are off their places by a sixth of the mesh."""
    mesh = grid(n, n, lambda u, v: (u, v, 0.0))
    x, y, _ = mesh.xyz.T
    shift = np.stack([np.sin(9.0 * n * x + 5.0 * y), np.cos(7.0 * n * y - 3.0 * x), 0.0 * x], axis=1) / (
        6.0 * n
    )
    inner = (np.abs(x - 0.5) < 0.499) & (np.abs(y - 0.5) < 0.499)
    return Grid(mesh.xyz + shift * inner[:, None] / (6.0 * n), mesh.number)
