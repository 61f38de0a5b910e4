"""Modules of libraries that others import without need: loaded when something is asked of them."""

from __future__ import annotations

import importlib.util
import sys

ALONG = ("numpy.f2py", "numpy.testing")  # scipy copies every name of numpy, and so imports both


def put_off(names: tuple[str, ...] = ALONG) -> None:
    """Load modules at the first use of one of their names; to be called before scipy is imported.

    Parameters
    ----------
    names : tuple of str
        Modules within packages; those that are loaded or not there stay as they are.
    """
    for name in names:
        parent, _, child = name.rpartition(".")
        spec = None if name in sys.modules else importlib.util.find_spec(name)  # imports the parent
        if spec is None or spec.loader is None:
            continue
        spec.loader = importlib.util.LazyLoader(spec.loader)
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        setattr(sys.modules[parent], child, module)
        spec.loader.exec_module(module)
