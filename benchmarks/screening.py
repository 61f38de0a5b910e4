"""How long the screening of a city tile takes: real buildings, repeated and jittered, in the whole command.

`python benchmarks/screening.py` screens 1,000 buildings on all cores, `--quick` 80.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

from roofmodel.shape.surfaces import Building
from roofmodel.shape.tile import read_tile

ROOFS = Path(__file__).parents[1] / "tests" / "data" / "roofs"
REAL = (
    "zurich_3_buildings.city.json",
    "denhaag_4_buildings_lod2.city.json",
    "building_and_garage_lod2_citygml2.gml",
)
APART, ACROSS = 150.0, 40  # places of the tile [m], buildings in a row


def real_buildings() -> list[Building]:
    """Eight real buildings of 2 to 100 roof planes, and eight gables of the test case of CityGML 3."""
    tiles = [read_tile(ROOFS / name) for name in REAL]
    tiles.append(read_tile(ROOFS / "gable_ladder_100_citygml3.gml")[::13])
    return [one.building for found in tiles for one in found if one.building is not None]


def tile(count: int, seed: int = 7) -> dict[str, Any]:
    """CityJSON of buildings turned, stretched by up to 10 % and set out on a grid."""
    random = np.random.default_rng(seed)
    real = real_buildings()
    objects: dict[str, Any] = {}
    vertices: list[list[int]] = []
    for number in range(count):
        one = real[number % len(real)]
        middle = np.array([*one.points.mean(axis=0)[:2], one.points[:, 2].min()])
        turn = random.uniform(0.0, 2.0 * np.pi)
        spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        local = (one.points - middle) * [*np.full(2, random.uniform(0.9, 1.1)), random.uniform(0.9, 1.1)]
        local[:, :2] = local[:, :2] @ spin.T
        local += [APART * (number % ACROSS), APART * (number // ACROSS), random.uniform(400.0, 420.0)]
        base = len(vertices)
        vertices += np.rint(1000.0 * local).astype(int).tolist()
        kinds = list(dict.fromkeys(kind for _, kind in one.surfaces if kind is not None))
        geometry = {
            "type": "MultiSurface",
            "lod": "2",
            "boundaries": [[[base + i for i in ring] for ring in rings] for rings, _ in one.surfaces],
            "semantics": {
                "surfaces": [{"type": kind} for kind in kinds],
                "values": [None if kind is None else kinds.index(kind) for _, kind in one.surfaces],
            },
        }
        objects[f"building-{number + 1:05d}"] = {"type": "Building", "geometry": [geometry]}
    return {
        "type": "CityJSON",
        "version": "1.1",
        "transform": {"scale": [0.001] * 3, "translate": [2_680_000.0, 1_247_000.0, 0.0]},
        "CityObjects": objects,
        "vertices": vertices,
    }


def run(count: int, processes: int) -> tuple[float, float]:
    """Wall time and processor time of the command. [s]."""
    with tempfile.TemporaryDirectory() as name:
        file = Path(name) / "tile.city.json"
        file.write_text(json.dumps(tile(count)), encoding="utf-8")
        words = ("screen", str(file), "--ground-snow", "1.5 kN/m^2", "--out", f"{name}/out", "--quiet")
        code = "from viewer.cli import main; main()"
        before, begun = os.times(), time.perf_counter()
        command = [sys.executable, "-c", code, *words, "--processes", str(processes)]
        subprocess.run(command, check=True, cwd=Path(__file__).parents[1])
        after = os.times()
        used = after.children_user + after.children_system - before.children_user - before.children_system
        return time.perf_counter() - begun, used


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="80 buildings in place of 1,000")
    parser.add_argument("--processes", type=int, default=len(os.sched_getaffinity(0)))
    given = parser.parse_args()
    count = 80 if given.quick else 1000
    wall, used = run(count, given.processes)
    print(f"{count} buildings, {given.processes} processes: {wall:.1f} s, processor time {used:.1f} s")
    print(f"{1000.0 * used / count:.0f} ms of a processor for each building")


if __name__ == "__main__":
    main()
