"""The model of a seam as a deck for CalculiX: the very loads, springs and one-way bearing of the study."""

from __future__ import annotations

from fea.model.calculix import Deck, calculix_deck
from fea.panel.study import SeamStudy, seam_loads

CASES = ("snow and own weight", "with the clamp's force")


def seam_deck(study: SeamStudy) -> Deck:
    """Deck with the two load cases."""
    return calculix_deck(study.field.model, seam_loads(study.field, study.action), CASES)
