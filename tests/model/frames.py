"""Small models of springs and plates with known answers."""

import numpy as np

from fea.model.data import GROUND, Model, Shells, Springs, Ties, node_dof
from roofmodel.hardware import Material

STEEL = Material(name="steel", E=210e9, G=80.8e9, alpha=12e-6, density=7850.0, yield_strength=320e6)


def springs(name, node, stiffness):
    """Springs with diagonal stiffness (m, 6) in global axes."""
    node = np.asarray(node)
    values = np.broadcast_to(stiffness, (len(node), 6))
    matrices = values[:, :, None] * np.eye(6)
    return Springs(name, node, matrices, np.tile(np.eye(3), (len(node), 1, 1)))


def chain(count, stiffness=1000.0):
    """Nodes at one place in a row of springs that starts at the ground."""
    node = np.stack([np.arange(count), np.arange(count) - 1], axis=1)
    node[0, 1] = GROUND
    return Model(np.zeros((count, 3)), springs=(springs("chain", node, stiffness),))


def fix(nodes, value=0.0):
    dof = node_dof(np.asarray(nodes)).ravel()
    return Ties(fixed_dof=dof, fixed_value=np.full(len(dof), value))


def plate(nx=4, ny=3, thickness=0.01, name="sheet", lift=0.0):
    """Flat plate 2 x 1 m, and the nodes at x = 0."""
    x, y = np.meshgrid(np.linspace(0.0, 2.0, nx + 1), np.linspace(0.0, 1.0, ny + 1), indexing="ij")
    xyz = np.stack([x.ravel(), y.ravel(), np.full(x.size, lift)], axis=1)
    i, j = np.meshgrid(np.arange(nx), np.arange(ny), indexing="ij")
    a = (i * (ny + 1) + j).ravel()
    node = np.stack([a, a + ny + 1, a + ny + 2, a + 1], axis=1)
    shells = Shells(name, node, np.full(len(node), thickness), STEEL)
    return Model(xyz, shells=(shells,)), np.flatnonzero(xyz[:, 0] == 0.0)
