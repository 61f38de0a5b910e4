"""Small city tiles for the tests of screening."""

import copy
import json

import numpy as np


def house(number, run=5.0, rise=2.5, length=12.0, eave=4.0):
    """Vertices and surfaces of a gable with walls, set out on a grid of 30 m."""
    x, y = length, 2.0 * run
    points = [
        [0, 0, eave], [x, 0, eave], [x, run, eave + rise], [0, run, eave + rise], [0, y, eave], [x, y, eave],
        [0, 0, 0], [x, 0, 0], [x, y, 0], [0, y, 0],
    ]  # fmt: skip
    at = np.array([30.0 * (number % 8), 30.0 * (number // 8), 400.0])
    surfaces = [[[0, 1, 2, 3]], [[3, 2, 5, 4]], [[6, 7, 1, 0]], [[6, 9, 8, 7]]]
    return (np.array(points) + at).tolist(), surfaces, [0, 0, 1, 2]


def city(count=12, seed=1):
    """CityJSON of gables of different sizes."""
    random = np.random.default_rng(seed)
    objects, vertices = {}, []
    for number in range(count):
        run, rise, eave = random.uniform([3.0, 1.0, 3.0], [7.0, 5.0, 9.0])
        points, surfaces, values = house(number, run, rise, eave=eave)
        base = len(vertices)
        vertices += points
        objects[f"house-{number + 1}"] = {
            "type": "Building",
            "geometry": [
                {
                    "type": "MultiSurface",
                    "lod": "2",
                    "boundaries": [[[base + i for i in ring] for ring in one] for one in surfaces],
                    "semantics": {
                        "surfaces": [
                            {"type": "RoofSurface"},
                            {"type": "WallSurface"},
                            {"type": "GroundSurface"},
                        ],
                        "values": values,
                    },
                }
            ],
        }
    return {"type": "CityJSON", "version": "1.1", "CityObjects": objects, "vertices": vertices}


def broken_city():
    """The tile of `city`, with a dozen things wrong, each with one building; the good ones stay good."""
    tile = copy.deepcopy(city())
    objects, vertices = tile["CityObjects"], tile["vertices"]
    vertices[0] = [1e300, 0.0, 0.0]  # house 1
    vertices[10] = ["left", 0.0, 0.0]  # house 2
    vertices[20] = [9e6, 0.0, 0.0]  # house 3 reaches over half the map
    objects["house-4"]["geometry"][0]["boundaries"] = 7
    objects["house-5"]["geometry"] = []
    objects["house-6"]["geometry"][0]["boundaries"][0][0][0] = 10**6
    objects["house-7"]["geometry"][0]["boundaries"] = [[[60, 60, 60]]]
    objects["house-7"]["geometry"][0]["semantics"]["values"] = [0]
    objects["house-8"]["geometry"] = "none"
    objects["odd"] = 3  # no building at all
    objects["house-9"]["children"] = ["odd"]
    vertices[90] = [None, 0.0, 0.0]  # house 10
    return tile


def write(folder, tile, name="tile.city.json"):
    path = folder / name
    path.write_text(tile if isinstance(tile, str) else json.dumps(tile), encoding="utf-8")
    return path
