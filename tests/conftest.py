"""Property-based tests take the same examples in every run, new ones with EAVEWRIGHT_FUZZ=1."""

from __future__ import annotations

import os

from hypothesis import settings

settings.register_profile("repeatable", derandomize=True)
if not os.environ.get("EAVEWRIGHT_FUZZ"):
    settings.load_profile("repeatable")
