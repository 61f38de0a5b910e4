"""A Cholesky factor that links join and leave, inside compiled code.

Both the factor and its transpose are kept, so that every inner loop runs along memory.
"""

from __future__ import annotations

from numba import njit


@njit(cache=True, nogil=True, no_cpython_wrapper=True)
def forward(U, m, x):
    """Solve L y = x in place; U holds the transpose of L."""
    for j in range(m):
        x[j] /= U[j, j]
        t = x[j]
        for i in range(j + 1, m):
            x[i] -= t * U[j, i]


@njit(cache=True, nogil=True, no_cpython_wrapper=True)
def backward(L, m, x):
    """Solve L' y = x in place."""
    for j in range(m - 1, -1, -1):
        x[j] /= L[j, j]
        t = x[j]
        for i in range(j):
            x[i] -= t * L[j, i]


@njit(cache=True, nogil=True, no_cpython_wrapper=True)
def left_over(Z, A, m, U, k, w):
    """Stiffness that link k meets while the links A[:m] flow; w becomes its row of the factor."""
    for i in range(m):
        w[i] = Z[A[i], k]
    forward(U, m, w)
    d = Z[k, k]
    for i in range(m):
        d -= w[i] * w[i]
    return d


@njit(cache=True, nogil=True, no_cpython_wrapper=True)
def append(L, U, A, m, k, d, w):
    """Link k joins the factor, with what `left_over` found."""
    for i in range(m):
        L[m, i] = w[i]
        U[i, m] = w[i]
    L[m, m] = d**0.5
    U[m, m] = L[m, m]
    A[m] = k


@njit(cache=True, nogil=True, no_cpython_wrapper=True)
def remove(Z, A, m, L, U, at, w):
    """The link at place `at` leaves; the others are factored anew from there on. Returns their number."""
    for i in range(at, m - 1):
        A[i] = A[i + 1]
    for i in range(at, m - 1):
        k = A[i]
        d = left_over(Z, A, i, U, k, w)
        append(L, U, A, i, k, max(d, 1e-300), w)
    return m - 1
