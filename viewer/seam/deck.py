"""The model of a seam as a deck for CalculiX: the very loads, springs and one-way bearing of the study."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fea.model.calculix import Deck, calculix_deck
from fea.model.loads import gravity, nodal, traction
from fea.panel.study import SeamStudy
from roofmodel.units import STANDARD_GRAVITY

Array = NDArray[np.float64]

CASES = ("snow and own weight", "with the clamp's force")


def seam_loads(study: SeamStudy) -> Array:
    """Nodal loads (d, 2): snow on the pan and the sheet's own weight, and both with the force at the grip."""
    model, action = study.field.model, study.action
    snow = traction(model, 0, np.array([[0.0], [0.0], [-action.pressure]]))
    own = gravity(model, STANDARD_GRAVITY * action.weight[:, None])
    nodes = study.field.clamp_node
    grip = nodal(model, nodes, np.tile(action.grip, (len(nodes), 1)))
    return np.concatenate([snow + own, snow + own + grip], axis=1)


def seam_deck(study: SeamStudy) -> Deck:
    """Deck with the two load cases."""
    return calculix_deck(study.field.model, seam_loads(study), CASES)
