"""Property-based tests take the same examples in every run, new ones with EAVEWRIGHT_FUZZ=1."""

from __future__ import annotations

import os

if "PYTEST_XDIST_WORKER" in os.environ:  # each worker has a core: more threads only wait for one another
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from hypothesis import settings

settings.register_profile("repeatable", derandomize=True, deadline=None)  # machines are slow at times
if not os.environ.get("EAVEWRIGHT_FUZZ"):
    settings.load_profile("repeatable")
