"""The layer of snow against closed forms."""

from __future__ import annotations

import numpy as np

from benchmarks.verification.findings import Finding
from tests.blanket.layers import face, layer, line, plug, settle, snow, strip

PULL, DEPTH, YOUNG = 600.0, 0.5, 1e7  # [Pa], [m], [Pa]


def _lag() -> list[Finding]:
    """An elastic layer on an elastic bond, held at its lower end."""
    length, k = 6.0, 2e6
    lag = np.sqrt(YOUNG * DEPTH / k)
    exact = float(PULL * lag * np.tanh(length / lag))
    found = []
    for step, bar in ((0.2, 0.008), (0.1, 0.002), (0.05, 0.0005)):
        of = layer(strip(1.0, length), step, PULL, DEPTH)
        stop = line(of, (0.0, 0.0), (1.0, 0.0), 1e12, round(1.0 / step))
        state = settle(of, snow(len(of.corner), YOUNG), [stop], face(of, k))[1]
        value = float(state.contact.sum())
        source = "shear lag, g l tanh(L/l) (Volkersen 1938)"
        found.append(
            Finding("bonded layer, force on its stop", source, f"{step} m", "N/m", value, exact, bar)
        )
    return found


def _block() -> list[Finding]:
    """Friction that a slope overcomes."""
    found = []
    for friction, share in ((0.2, 0.5), (0.3, 0.25)):
        press = PULL / 0.4
        of = layer(strip(2.0, 3.0), 0.25, PULL, DEPTH, press)
        stop = line(of, (0.0, 0.0), (2.0, 0.0), 1e4, 16)
        state = settle(of, snow(len(of.corner), 1e9), [stop], face(of, 1e8, friction * press), reach=1.0)[1]
        words = f"block on a slope of 0.4, friction {friction}: force on the stop"
        value, exact = float(state.contact.sum()), share * PULL * 6.0
        found.append(Finding(words, "Coulomb, W (sin - mu cos)", "0.25 m", "N", value, exact, 4e-3))
    of = layer(strip(4.0, 5.0), 0.25, PULL, DEPTH)
    gone = settle(of, snow(len(of.corner)), None, face(of, 1e7, 0.7 * PULL))[1]
    found.append(
        Finding(
            "slope without ends: what friction lacks leaves",
            "infinite slope (Terzaghi 1943)",
            "0.25 m",
            "N",
            float(-gone.left[:, 1].sum()),
            0.3 * PULL * 20.0,
            1e-9,
        )
    )
    return found


def _shared() -> list[Finding]:
    """Two elastic rows under one layer."""
    of = layer(strip(1.0, 4.0), 0.25, PULL, DEPTH)
    low, high = (line(of, (0.0, v), (1.0, v), 1e7, 8) for v in (0.0, 2.0))
    state = settle(of, snow(len(of.corner), YOUNG), [low, high])[1]
    k, ed = 1e7, YOUNG * DEPTH
    exact = (4 * PULL / k + 2 * PULL / ed) / (2 / k + 2 / ed)
    value = float(state.contact[:8].sum())
    words = "two rows under one layer, the lower"
    return [Finding(words, "bar on two springs, statics", "0.25 m", "N", value, exact, 2e-3)]


def _plug() -> list[Finding]:
    """Snow that shears out between two single stops."""
    state, excess = plug(2.2, PULL, 800.0)
    source = "slab between anchors, trap door with cohesion (Terzaghi 1943, art. 19; from memory)"
    value = float(-state.left[:, 1].sum())
    return [
        Finding(
            "plug between single stops 2.2 m apart, what leaves", source, "0.1 m", "N", value, excess, 0.1
        )
    ]


def layer_findings() -> list[Finding]:
    """All of this module."""
    return [*_lag(), *_block(), *_shared(), *_plug()]
