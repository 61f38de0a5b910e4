"""Version of the program, as every file and page it writes names it."""

from __future__ import annotations

from importlib import metadata


def version() -> str:
    """Version of the installed package."""
    try:
        return metadata.version("eavewright")
    except metadata.PackageNotFoundError:
        return "unknown"
