"""Run decks in CalculiX, and small models to run there."""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest

from fea.elements.beam_data import Beams, BeamStiffness
from fea.model.assembly import build_system
from fea.model.calculix import Deck
from fea.model.calculix_results import DeckResult, read_results
from fea.model.data import Model, Shells
from fea.model.solution import solve_model
from roofmodel.hardware import Material

STEEL = Material("steel", E=210e9, G=210e9 / 2.6, alpha=12e-6, density=7850.0, yield_strength=250e6)
needs_ccx = pytest.mark.skipif(shutil.which("ccx") is None, reason="CalculiX (ccx) is not installed")


def run_deck(deck: Deck, folder: Path) -> DeckResult:
    (folder / "model.inp").write_text(deck.text)
    done = subprocess.run(
        ["ccx", "model"],
        cwd=folder,
        env=os.environ | {"OMP_NUM_THREADS": "1"},  # on two, iterations have ended early once
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-500:]
    return read_results(deck, (folder / "model.dat").read_text())


def solve_here(model: Model, load: np.ndarray):
    return solve_model(build_system(model), load)


def rail_beams(node, stiffness: BeamStiffness, axis_y=(0.0, 1.0, 0.0), warp=None) -> Beams:
    node = np.asarray(node)
    m = len(node)
    return Beams(
        name="rail",
        node=node,
        stiffness=stiffness,
        axis_y=np.tile(np.asarray(axis_y, dtype=float), (m, 1)),
        offset=np.zeros((m, 2, 3)),
        release=np.zeros((m, 2, 7), dtype=bool),
        warp=np.full((m, 2), -1) if warp is None else np.asarray(warp),
    )


def grid(corners, n: int, m: int, first: int = 0) -> tuple[np.ndarray, np.ndarray]:
    """Points and quads of an n x m mesh between four corners."""
    a, b, c, d = np.asarray(corners, dtype=float)
    s, t = np.meshgrid(np.linspace(0, 1, n + 1), np.linspace(0, 1, m + 1), indexing="ij")
    s, t = s[..., None], t[..., None]
    xyz = (1 - s) * (1 - t) * a + s * (1 - t) * b + s * t * c + (1 - s) * t * d
    number = first + np.arange((n + 1) * (m + 1)).reshape(n + 1, m + 1)
    quad = np.stack([number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]], axis=-1)
    return xyz.reshape(-1, 3), quad.reshape(-1, 4)


def sheet(node, thickness: float, name: str = "sheet", material: Material = STEEL) -> Shells:
    return Shells(name, np.asarray(node), np.full(len(node), thickness), material)


def merged(parts):
    """Points and quads of several grids with coincident points joined."""
    xyz = np.concatenate([p for p, _ in parts])
    base = np.cumsum([0] + [len(p) for p, _ in parts[:-1]])
    _, first, back = np.unique(np.round(xyz, 9), axis=0, return_index=True, return_inverse=True)
    return xyz[first], [back.ravel()[quad + b] for (_, quad), b in zip(parts, base, strict=True)]
