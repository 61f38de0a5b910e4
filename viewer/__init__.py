"""What a person sees: command line, pictures, tables, report."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from viewer.clamp_table import write_attachments
    from viewer.export import write_meshes, write_results
    from viewer.picture.draw import draw_utilization
    from viewer.report.page import write_report

_HOMES = {
    "draw_utilization": "picture.draw",
    "write_attachments": "clamp_table",
    "write_meshes": "export",
    "write_report": "report.page",
    "write_results": "export",
}

__all__ = ["draw_utilization", "write_attachments", "write_meshes", "write_report", "write_results"]


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(importlib.import_module(f"viewer.{_HOMES[name]}"), name)
    message = f"module 'viewer' has no attribute {name!r}"
    raise AttributeError(message)
