"""A faster BLAS under CHOLMOD, out of the same package.

The wheels of cvxopt bring CHOLMOD linked to one BLAS and, for another of their solvers, a second one that is
about twice as fast in the kernels of a supernodal factorization. Symbols of a library that is loaded for the
whole process are found first, so loading the second one that way before CHOLMOD lets CHOLMOD use it. Where
any of this is not as expected nothing changes but the speed.

Source: the order in which the dynamic linker looks symbols up: ELF System V ABI, dynamic linking; dlopen(3).
"""

from __future__ import annotations

import ctypes
import os
import sys
from functools import cache
from pathlib import Path

KERNEL = "OPENBLAS_CORETYPE"  # environment variable of OpenBLAS


def _newer_processor() -> bool:
    """Whether this is a processor that an old OpenBLAS may not know, though it has the usual vector units."""
    try:
        words = Path("/proc/cpuinfo").read_text(encoding="ascii", errors="ignore").split("\n\n", 1)[0]
    except OSError:
        return False
    return "AuthenticAMD" in words and {"avx2", "fma"} <= set(words.split())


@cache
def prefer_fast_blas() -> bool:
    """Let CHOLMOD, when it is loaded from now on, use the faster BLAS of its own package.

    Returns
    -------
    bool
        Whether that BLAS is loaded.
    """
    if "cvxopt.cholmod" in sys.modules or not sys.platform.startswith("linux"):
        return False
    guess = KERNEL not in os.environ and _newer_processor()
    if guess:
        os.environ[KERNEL] = "Haswell"
    try:
        import cvxopt

        folder = Path(cvxopt.__file__).parent.parent / "cvxopt.libs"
        found = sorted(folder.glob("libopenblas*"))
        if not found:
            return False
        ctypes.CDLL(str(found[0]), mode=ctypes.RTLD_GLOBAL)
    except OSError:
        return False
    finally:
        if guess:
            os.environ.pop(KERNEL, None)
    return True
