"""Structure: beams on clamps, solving, checks and audit."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fea.analysis import Analysis, analyze
    from fea.rails.frame import build_frame, solve_frame

_HOMES = {
    "Analysis": "analysis",
    "analyze": "analysis",
    "build_frame": "rails.frame",
    "solve_frame": "rails.frame",
}

__all__ = ["Analysis", "analyze", "build_frame", "solve_frame"]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(importlib.import_module(f"fea.{_HOMES[name]}"), name)
    message = f"module 'fea' has no attribute {name!r}"
    raise AttributeError(message)
