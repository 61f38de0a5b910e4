"""What a row that lets go, or a piece of it, leaves behind; compiled, for `fea.failure.kernel`.

Links stand row after row and from left to right: clamps, and the parts of splices between them. A splice that
has parted ends a piece of rail; so does a hinge about which the rail beyond it swings free.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from fea.failure.factors import append, left_over

HOLDS, LOST, GONE = 0, 5, 7  # as `LinkState`; GONE: its piece of rail let go
WHOLE, HINGED, PARTED = 0, 1, 2  # splices
STILL = 1e-6  # motion of a clamp over the largest that is none


@njit(cache=True, nogil=True, no_cpython_wrapper=True)
def hand_on(p, total, piece, state, lands, carry, onto):
    """What piece p held comes onto what it lands on, past pieces that have let go already.

    `carry` (p, c) is how hard: it goes with where the snow came from.
    """
    pieces = len(lands)
    ahead, next_ = np.zeros(pieces), np.zeros(pieces)
    ahead[p] = total
    more = total != 0.0
    for _ in range(pieces):
        if not more:
            break
        more = False
        next_[:] = 0.0
        for i in range(pieces):
            if ahead[i] != 0.0:
                for j in range(len(onto)):
                    share = ahead[i] * lands[i, j]
                    if share == 0.0:
                        continue
                    if state[j] != GONE:
                        onto[j] += carry[p, j] * share
                    elif piece[j] != i:
                        next_[piece[j]] += share
                        more = True
        ahead[:] = next_


@njit(cache=True, nogil=True, no_cpython_wrapper=True)
def hand_on_rest(lo, hi, load, freed, splice, piece, state, lands, carry, onto):
    """What still comes to links lo to hi that have let go is handed on, piece by piece."""
    total = 0.0
    for j in range(lo, hi):
        if state[j] == GONE and splice[j] < 0:
            total += load[j]
        if j == hi - 1 or piece[j + 1] != piece[j]:
            hand_on(piece[j], total * freed, piece, state, lands, carry, onto)
            total = 0.0


@njit(cache=True, nogil=True, no_cpython_wrapper=True)
def moving(k, first, row, A, m, x, splice, level, bends):
    """Links lo to hi that go with a mechanism: link k moves by one, the links A by x.

    They are the piece of rail between splices that have parted, cut also at hinges beyond which no clamp
    moves.
    """
    r = row[k]
    lo, hi = first[r], first[r + 1]
    for j in range(k - 1, first[r] - 1, -1):
        if splice[j] >= 0 and splice[j] != splice[k] and level[splice[j]] == PARTED:
            lo = j + 1
            break
    for j in range(k + 1, first[r + 1]):
        if splice[j] >= 0 and splice[j] != splice[k] and level[splice[j]] == PARTED:
            hi = j
            break
    most = 1.0 if splice[k] < 0 else 0.0
    for i in range(m):
        if lo <= A[i] < hi and splice[A[i]] < 0:
            most = max(most, abs(x[i]))
    left, right = hi, lo
    if splice[k] < 0:
        left = right = k
    for i in range(m):
        if lo <= A[i] < hi and splice[A[i]] < 0 and abs(x[i]) > STILL * most:
            left, right = min(left, A[i]), max(right, A[i])
    if left > right:
        return lo, hi
    for j in range(left - 1, lo - 1, -1):
        if splice[j] >= 0 and (level[splice[j]] != WHOLE or not bends[splice[j]]):
            lo = j + 1
            break
    for j in range(right + 1, hi):
        if splice[j] >= 0 and (level[splice[j]] != WHOLE or not bends[splice[j]]):
            hi = j
            break
    return lo, hi


@njit(cache=True, nogil=True, no_cpython_wrapper=True)
def drop_piece(
    lo, hi, first, row, piece, A, m, L, U, Z, w, state, q, load, pending, eased, force, jump, target, aim,
    carry, lands, freed, still, loads, targets, stage, factor, at, order, events, shown, let_go, seam, unzip,
    capacity, residual, splice, level,
):  # fmt: skip
    """Links lo to hi let go: they hold nothing more, the snow of each piece comes onto what is below it.

    Snow that slides has no bond: what its bond held comes on too, at once what it would still have given up.
    Returns the links that flow, and the events.
    """
    r = row[lo]
    if shown >= 0.0:
        for j in range(lo, hi):
            if splice[j] < 0 and state[j] == HOLDS and at[j] == np.inf:
                at[j] = shown
                order[j] = events
                events += 1
        for j in range(lo, hi):
            if splice[j] < 0 and state[j] != LOST:
                state[j] = LOST
                seam_opens(j, seam, unzip, state, capacity, residual)
    for j in (lo - 1, hi):  # hinges that the piece swung about
        if first[r] <= j < first[r + 1] and splice[j] >= 0 and level[splice[j]] != PARTED:
            level[splice[j]] = PARTED
            at[j] = shown
            if shown >= 0.0:
                order[j] = events
                events += 1
    if let_go[r] == np.inf:
        let_go[r] = shown
    keep = 0
    for i in range(m):
        k = A[i]
        if k < lo or k >= hi:
            d = left_over(Z, A, keep, U, k, w)
            append(L, U, A, keep, k, d, w)
            keep += 1
    held, grows = np.zeros(len(lands)), np.zeros(len(lands))
    for j in range(lo, hi):
        if splice[j] < 0:
            held[piece[j]] += q[j] + pending[j] + eased[j]
            grows[piece[j]] += load[j]
            if still:
                for later in range(max(stage, 1), len(targets)):
                    held[piece[j]] += loads[later, j] * (targets[later] - (factor if later == stage else 0.0))
        state[j] = GONE
        q[j] = load[j] = pending[j] = eased[j] = force[j] = jump[j] = target[j] = aim[j] = 0.0
    for p in range(piece[lo], piece[hi - 1] + 1):
        hand_on(p, held[p] * freed[r], piece, state, lands, carry, pending)
        if not still:
            hand_on(p, grows[p] * freed[r], piece, state, lands, carry, load)
    return keep, events


@njit(cache=True, nogil=True, no_cpython_wrapper=True)
def of_snow(Z, first, row, own, k, force, state, onto):
    """The snow over clamp k leaves through the gap: its force is taken off all links of the row."""
    for j in range(first[row[k]], first[row[k] + 1]):
        if state[j] != GONE:
            onto[j] += force * Z[j, k] / own[k]
    onto[k] -= force


@njit(cache=True, nogil=True, no_cpython_wrapper=True)
def snow_leaves(Z, first, row, own, k, relief, loads, stage, factor, state, eased, grown):
    """What of clamp k's snow leaves with it: of the load that is there, and of what still grows."""
    if stage > 0 and relief > 0.0:
        snow = relief * loads[stage, k]
        there = snow * factor
        for before in range(1, stage):
            there += relief * loads[before, k]
        of_snow(Z, first, row, own, k, there, state, eased)
        of_snow(Z, first, row, own, k, snow, state, grown)


@njit(cache=True, nogil=True, no_cpython_wrapper=True)
def seam_opens(k, seam, unzip, state, capacity, residual):
    """Clamps that share the seam of a broken one lose their share of strength."""
    if unzip[k] > 0.0 and seam[k] >= 0:
        for j in range(len(state)):
            if j != k and seam[j] == seam[k] and state[j] == HOLDS:
                capacity[j] *= 1.0 - unzip[k]
                residual[j] *= 1.0 - unzip[k]


@njit(cache=True, nogil=True, no_cpython_wrapper=True)
def alive(state, splice):
    """Whether any clamp still stands on a row that did not let go."""
    for j in range(len(state)):  # noqa: SIM110 - compiled
        if state[j] != GONE and splice[j] < 0:
            return True
    return False


@njit(cache=True, nogil=True, no_cpython_wrapper=True)
def part_more(k, splice, level, takes):
    """Whether link k, a part of a splice that gives way, takes others of its splice along."""
    g = splice[k]
    if g < 0 or takes[k] <= level[g]:
        return False
    level[g] = takes[k]
    return True
