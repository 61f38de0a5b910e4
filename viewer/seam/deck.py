"""The model of a seam as a deck for CalculiX: the very loads, springs and one-way bearing of the study."""

from __future__ import annotations

from fea.model.calculix import Deck, calculix_deck
from fea.panel.study import SeamStudy, seam_loads


def case_names(study: SeamStudy) -> tuple[str, str]:
    """Names of the two load cases of a state."""
    before = "snow and own weight" if study.action.pressure else "own weight, no snow on the pan"
    return before, "with the clamp's force"


def seam_deck(study: SeamStudy) -> Deck:
    """Deck with the two load cases."""
    loads = seam_loads(study.field, study.action)
    return calculix_deck(study.field.model, loads, case_names(study))
