"""All right-hand sides in one pass through a CHOLMOD factor.

cvxopt passes columns to CHOLMOD one by one, each of which reads the whole factor. The library itself solves
for many with matrix products; it is called here as cvxopt has loaded it. Where it cannot be reached the
caller keeps to cvxopt.
"""

from __future__ import annotations

import ctypes
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

COMMON_BYTES = 1 << 16  # generous room for CHOLMOD's workspace record, about 3 kB
SOLVE_ALL = 0  # CHOLMOD_A: solve A x = b
REAL = 1  # CHOLMOD_REAL


class _Dense(ctypes.Structure):
    """`cholmod_dense` of CHOLMOD's user guide."""

    _fields_ = (
        ("nrow", ctypes.c_size_t),
        ("ncol", ctypes.c_size_t),
        ("nzmax", ctypes.c_size_t),
        ("d", ctypes.c_size_t),
        ("x", ctypes.c_void_p),
        ("z", ctypes.c_void_p),
        ("xtype", ctypes.c_int),
        ("dtype", ctypes.c_int),
    )


def _pointer(capsule: Any) -> int:
    name, pointer = ctypes.pythonapi.PyCapsule_GetName, ctypes.pythonapi.PyCapsule_GetPointer
    name.restype, name.argtypes = ctypes.c_char_p, [ctypes.py_object]
    pointer.restype, pointer.argtypes = ctypes.c_void_p, [ctypes.py_object, ctypes.c_char_p]
    return int(pointer(capsule, name(capsule)))


def column_solver(capsule: Any) -> Callable[[Array], Array] | None:
    """Solver (n, q) to (n, q) for a factor of cvxopt, None where the library cannot be reached."""
    from cvxopt import cholmod

    try:
        library = ctypes.CDLL(cholmod.__file__)
        start, solve, free = library.cholmod_l_start, library.cholmod_l_solve, library.cholmod_l_free_dense
        factor = _pointer(capsule)
    except (AttributeError, OSError, ValueError):
        return None
    common = ctypes.create_string_buffer(COMMON_BYTES)
    start.argtypes, start.restype = [ctypes.c_void_p], ctypes.c_int
    solve.argtypes = [ctypes.c_int, ctypes.c_void_p, ctypes.POINTER(_Dense), ctypes.c_void_p]
    solve.restype = ctypes.POINTER(_Dense)
    free.argtypes, free.restype = [ctypes.POINTER(ctypes.POINTER(_Dense)), ctypes.c_void_p], ctypes.c_int
    if not start(common):
        return None

    def columns(F: Array) -> Array:
        B = np.asfortranarray(F, dtype=np.float64)
        n, q = B.shape
        dense = _Dense(n, q, B.size, n, B.ctypes.data, None, REAL, 0)
        found = solve(SOLVE_ALL, factor, ctypes.byref(dense), common)
        if not found:
            message = "CHOLMOD could not solve"
            raise MemoryError(message)
        values = (ctypes.c_double * B.size).from_address(found.contents.x)
        U = np.ctypeslib.as_array(values).reshape((n, q), order="F").copy(order="F")
        free(ctypes.byref(found), common)
        return U

    return columns
