"""Roof geometry, snow, sliding force and layout: everything before the structure.

The names below are the public steps; each is loaded when it is first used.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from roofmodel.errors import InputError
    from roofmodel.project.load import load_project
    from roofmodel.project.placement import place_rows
    from roofmodel.shape.builders import RoofPart, build_roof
    from roofmodel.shape.importing import import_roof
    from roofmodel.shape.recognition import recognize
    from roofmodel.sliding.thrust import SlideOptions, slide
    from roofmodel.snow.registry import snow_cases

_HOMES = {
    "InputError": "errors",
    "RoofPart": "shape.builders",
    "SlideOptions": "sliding.thrust",
    "build_roof": "shape.builders",
    "import_roof": "shape.importing",
    "load_project": "project.load",
    "place_rows": "project.placement",
    "recognize": "shape.recognition",
    "slide": "sliding.thrust",
    "snow_cases": "snow.registry",
}

__all__ = [
    "InputError",
    "RoofPart",
    "SlideOptions",
    "build_roof",
    "import_roof",
    "load_project",
    "place_rows",
    "recognize",
    "slide",
    "snow_cases",
]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(importlib.import_module(f"roofmodel.{_HOMES[name]}"), name)
    message = f"module 'roofmodel' has no attribute {name!r}"
    raise AttributeError(message)
