"""The compiled walk of one sample after another; see `fea.failure.cascade` for what goes in and comes out.

The rules are those of `fea.solvers.walk` for links that hold both ways, one sample in some 50 microseconds:
the links that flow are kept in a Cholesky factor that grows with them, and only links of the same row feel
one another. Added to them: a row that lets go leaves its snow to other rows, what a sudden loss does by
inertia, and seams that unzip. These rules touch the same few arrays at each event, so they stand in one
function.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from fea.failure.factors import append, backward, forward, left_over, remove
from fea.failure.pieces import (
    HINGED,
    PARTED,
    alive,
    drop_piece,
    hand_on_rest,
    moving,
    of_snow,
    part_more,
    seam_opens,
    snow_leaves,
)

SAME, TOGETHER, SUSPECT = 1e-10, 1e-7, 1e-3  # as in `fea.solvers.walk`
HOLDS, UP, DOWN, STUCK, LOST, GONE = 0, 2, 3, 4, 5, 7  # as `LinkState`; GONE: its whole row let go
COMPLETE, COLLAPSED, CYCLING, STOPPED = 0, 1, 2, 3


@njit(cache=True, nogil=True, no_cpython_wrapper=True)
def _rates(Z, first, A, m, L, U, state, rate, dtarget, x, df, dp, row):
    """Rates of all forces and jumps for rates of the loads and of the prescribed forces."""
    c = len(rate)
    for i in range(c):
        dp[i] = 0.0
        df[i] = rate[i]
    for i in range(m):
        x[i] = rate[A[i]] - dtarget[A[i]]
    forward(U, m, x)
    backward(L, m, x)
    for i in range(m):
        k = A[i]
        t = x[i]
        if t != 0.0:
            dp[k] = t
            for j in range(first[row[k]], first[row[k] + 1]):
                df[j] -= t * Z[k, j]
    for i in range(m):
        df[A[i]] = dtarget[A[i]]
    for i in range(c):
        if state[i] == GONE:
            df[i] = 0.0


@njit(cache=True, nogil=True, no_cpython_wrapper=True)
def _place(A, m, k):
    for i in range(m):
        if A[i] == k:
            return i
    return -1


@njit(cache=True, nogil=True, no_cpython_wrapper=True)
def _clamps(order, splice):
    """Clamps that have given way."""
    count = 0
    for k in range(len(order)):
        if order[k] >= 0 and splice[k] < 0:
            count += 1
    return count


@njit(cache=True, nogil=True, no_cpython_wrapper=True)
def _floats(Z, A, m, L, U, own, floor, k, d, x):
    """Whether nothing resists link k and those that flow, moving together (Rayleigh quotient)."""
    if d >= SUSPECT * own[k]:
        return False
    for i in range(m):
        x[i] = -Z[A[i], k]
    forward(U, m, x)
    backward(L, m, x)
    size = own[k]
    for i in range(m):
        size += own[A[i]] * x[i] * x[i]
    return d <= floor * size


@njit(cache=True, nogil=True, no_cpython_wrapper=True)
def _stops(Z, A, m, L, U, state, target, aim, k, up, x):
    """Place of the link that flows against its own direction if link k lets go too; -1 for none."""
    for i in range(m):
        x[i] = -Z[A[i], k]
    forward(U, m, x)
    backward(L, m, x)
    most = 1.0
    for i in range(m):
        most = max(most, abs(x[i]))
    found = -1
    for i in range(m):
        way = x[i] if up else -x[i]
        j = A[i]
        if abs(way) < 1e-9 * most or target[j] != aim[j]:
            continue
        if ((state[j] == UP and way < 0.0) or (state[j] == DOWN and way > 0.0)) and (
            found < 0 or j < A[found]
        ):
            found = i
    return found


@njit(cache=True, nogil=True, no_cpython_wrapper=True)
def _one(
    Z, first, row, own, floor, loads, targets, capacity, residual, missing,
    release, carry, lands, piece, seam, unzip, relief, freed, lies, splice, takes, bends, most,
    at, order, let_go, state, force, jump, level,
    A, L, U, w, x, q, target, aim, df, dp, dtarget, rate, pending, start, grown, eased,
):  # fmt: skip
    """Follow one sample through the held load and what comes on it; returns outcome, events, last factor."""
    c, rows = len(q), len(first) - 1
    m = np.int64(0)  # a plain 0 is a type of its own, for which all below would be compiled too
    for i in range(c):
        at[i] = np.inf
        order[i] = -1
        state[i] = HOLDS
        force[i] = jump[i] = q[i] = target[i] = aim[i] = pending[i] = eased[i] = 0.0
    for r in range(rows):
        let_go[r] = np.inf
    cutting = False  # splices that have given way and still hold by some of their parts
    for i in range(c):
        if missing[i]:
            at[i] = -1.0
            if splice[i] >= 0:
                level[splice[i]] = PARTED
                cutting = True
    size = 0.0
    events = np.int64(0)
    factor = 0.0
    for stage in range(len(targets)):
        for i in range(c):
            grown[i] = 0.0 if state[i] == GONE else loads[stage, i]
        if stage > 0:
            for k in range(c):
                if relief > 0.0 and state[k] == LOST and not missing[k] and splice[k] < 0:
                    of_snow(Z, first, row, own, k, relief * loads[stage, k], state, grown)
            for r in range(rows):
                if let_go[r] < np.inf and not lies:
                    hand_on_rest(
                        first[r], first[r + 1], loads[stage], freed[r], splice, piece, state, lands, carry,
                        grown,
                    )  # fmt: skip
        factor = 0.0
        still = 0
        shaken = False
        cut = stage == 0
        while True:
            shown = factor + (stage - 1) if stage > 0 else 0.0
            if events > most and _clamps(order, splice) > most:
                return STOPPED, events, shown
            gone, lo, hi = False, 0, 0
            if cut:  # clamps that are not there, and rows without any
                cut = False
                for k in range(c):
                    if missing[k] and state[k] == HOLDS and splice[k] < 0:
                        d = left_over(Z, A, m, U, k, w)
                        if _floats(Z, A, m, L, U, own, floor, k, d, x):
                            lo, hi = moving(k, first, row, A, m, x, splice, level, bends)
                            m, events = drop_piece(
                                lo, hi, first, row, piece, A, m, L, U, Z, w, state, q, grown, pending, eased,
                                force, jump, target, aim, carry, lands, freed, lies, loads, targets, stage,
                                factor, at, order, events, -1.0, let_go, seam, unzip, capacity, residual,
                                splice, level,
                            )  # fmt: skip
                            cutting = cutting or len(bends) > 0
                        else:
                            append(L, U, A, m, k, d, w)
                            m += 1
                            state[k] = LOST
                if not alive(state, splice):
                    return COLLAPSED, events, 0.0
            if cutting:
                cutting = False
                for k in range(c):
                    g = splice[k]
                    if g < 0 or state[k] == GONE or state[k] == LOST:
                        continue
                    if not (level[g] == PARTED or (level[g] == HINGED and takes[k] == HINGED)):
                        continue
                    if state[k] == UP or state[k] == DOWN:
                        state[k] = LOST
                        aim[k] = 0.0
                        continue
                    d = left_over(Z, A, m, U, k, w)
                    if _floats(Z, A, m, L, U, own, floor, k, d, x):
                        lo, hi = moving(k, first, row, A, m, x, splice, level, bends)
                        gone = cutting = True
                        break
                    append(L, U, A, m, k, d, w)
                    m += 1
                    state[k] = LOST
                    target[k] = force[k]
                    aim[k] = 0.0
            falling = False
            coming = False
            for i in range(c):
                falling = falling or target[i] != aim[i]
                coming = coming or pending[i] != 0.0
            left = 1.0
            if gone:
                pass
            elif falling:
                for i in range(c):
                    rate[i] = eased[i]
                    dtarget[i] = aim[i] - target[i]
            else:
                if shaken:
                    more = False
                    for k in range(c):
                        if state[k] == HOLDS and residual[k] < capacity[k]:
                            peak = start[k] + release * (force[k] - start[k])
                            if abs(peak) >= capacity[k] > 0.0:
                                more = True
                                kept = residual[k] if peak > 0.0 else -residual[k]
                                more_parts = part_more(k, splice, level, takes)
                                cutting = cutting or more_parts
                                if more_parts or splice[k] < 0 or takes[k] == 0:
                                    at[k] = shown
                                    order[k] = events
                                    events += 1
                                if abs(force[k]) <= residual[k]:
                                    state[k] = STUCK
                                    continue
                                d = left_over(Z, A, m, U, k, w)
                                if _floats(Z, A, m, L, U, own, floor, k, d, x):
                                    lo, hi = moving(k, first, row, A, m, x, splice, level, bends)
                                    gone = True
                                    break
                                append(L, U, A, m, k, d, w)
                                m += 1
                                target[k] = force[k]
                                aim[k] = kept
                                state[k] = LOST if residual[k] == 0.0 else (UP if peak > 0.0 else DOWN)
                                if state[k] == LOST and splice[k] < 0:
                                    seam_opens(k, seam, unzip, state, capacity, residual)
                                    snow_leaves(
                                        Z, first, row, own, k, relief, loads, stage, factor, state, eased,
                                        grown,
                                    )  # fmt: skip
                    shaken = more
                    if more and not gone:
                        continue
                if not gone:
                    if coming:
                        for i in range(c):
                            rate[i] = pending[i]
                            dtarget[i] = 0.0
                    else:
                        left = targets[stage] - factor
                        if left <= 0.0:
                            break
                        for i in range(c):
                            rate[i] = grown[i]
                            dtarget[i] = 0.0
            if not gone:
                _rates(Z, first, A, m, L, U, state, rate, dtarget, x, df, dp, row)
                scale = 0.0
                for i in range(c):
                    scale = max(scale, abs(rate[i]), abs(dtarget[i]))
                near, out = SAME * max(size, 1e-300), SAME * scale
                calm = -1
                falls = False
                enters = False
                for k in range(c):  # who must move on
                    s = state[k]
                    if s == GONE:
                        continue
                    if s in (HOLDS, STUCK):
                        high = residual[k] if s == STUCK else capacity[k]
                        f = force[k]
                        leaves = (
                            (f >= high - near and df[k] > out)
                            or (f <= near - high and df[k] < -out)
                            or abs(f) > high * (1.0 + 1e-9) + near
                        )
                        if leaves:
                            if s == HOLDS and residual[k] < capacity[k]:
                                falls = True
                            elif calm < 0:
                                calm = k
                                enters = False
                    elif target[k] == aim[k] and calm < 0:
                        push = dp[k] * own[k]
                        if (s == UP and push < -out) or (s == DOWN and push > out):
                            calm = k
                            enters = True
                if calm >= 0 or falls:
                    still += 1
                    if still > 20 * c + 50:
                        return CYCLING, events, shown
                    began = falling
                    for k in range(c):
                        if calm >= 0 and k != calm:
                            continue
                        s = state[k]
                        if calm >= 0 and enters:
                            m = remove(Z, A, m, L, U, _place(A, m, k), w)
                            state[k] = STUCK
                            break
                        if s != HOLDS and s != STUCK:
                            continue
                        f = force[k]
                        high = residual[k] if s == STUCK else capacity[k]
                        over = abs(f) > high * (1.0 + 1e-9) + near
                        up = f > 0.0 if over else df[k] > 0.0
                        if calm < 0:
                            if residual[k] >= high or s != HOLDS:
                                continue
                            by = f if up else -f
                            near_it = by >= high * (1.0 - TOGETHER) and df[k] != 0.0
                            meets = by >= high - near and abs(df[k]) > out
                            if not (near_it or meets or over):
                                continue
                        d = left_over(Z, A, m, U, k, w)
                        while _floats(Z, A, m, L, U, own, floor, k, d, x):
                            stop = _stops(Z, A, m, L, U, state, target, aim, k, up, x)
                            if stop < 0:
                                gone = True
                                break
                            state[A[stop]] = STUCK
                            m = remove(Z, A, m, L, U, stop, w)
                            d = left_over(Z, A, m, U, k, w)
                        if s == HOLDS:
                            more_parts = part_more(k, splice, level, takes)
                            cutting = cutting or more_parts
                            if more_parts or splice[k] < 0 or takes[k] == 0:
                                at[k] = shown
                                order[k] = events
                                events += 1
                        if gone:
                            lo, hi = moving(k, first, row, A, m, x, splice, level, bends)
                            break
                        append(L, U, A, m, k, d, w)
                        m += 1
                        kept = residual[k]
                        state[k] = LOST if kept == 0.0 else (UP if up else DOWN)
                        kept = kept if up else -kept
                        aim[k] = kept
                        if abs(kept) < abs(force[k]) * (1.0 - 1e-12):
                            target[k] = force[k]
                            if not began and not shaken:
                                began = True
                                for i in range(c):
                                    start[i] = force[i]
                                shaken = release > 1.0
                        else:
                            target[k] = kept
                            force[k] = kept
                        if state[k] == LOST and splice[k] < 0:
                            seam_opens(k, seam, unzip, state, capacity, residual)
                            snow_leaves(
                                Z, first, row, own, k, relief, loads, stage, factor, state, eased, grown
                            )
                    if not gone:
                        continue
            if gone:
                still = 0
                m, events = drop_piece(
                    lo, hi, first, row, piece, A, m, L, U, Z, w, state, q, grown, pending, eased, force, jump,
                    target, aim, carry, lands, freed, lies, loads, targets, stage, factor, at, order, events,
                    shown, let_go, seam, unzip, capacity, residual, splice, level,
                )  # fmt: skip
                cutting = cutting or len(bends) > 0
                if not alive(state, splice):
                    return COLLAPSED, events, shown
                continue
            step = left
            for k in range(c):  # way to the next limit
                s = state[k]
                if s in (HOLDS, STUCK):
                    high = residual[k] if s == STUCK else capacity[k]
                    if df[k] > out:
                        step = min(step, (high - force[k]) / df[k])
                    elif df[k] < -out:
                        step = min(step, (-high - force[k]) / df[k])
            step = max(step, 0.0)
            whole = step == left
            for i in range(c):
                force[i] += step * df[i]
                jump[i] += step * dp[i]
                q[i] += step * rate[i]
                size = max(size, abs(force[i]))
                if falling:
                    eased[i] = 0.0 if whole else eased[i] * (1.0 - step)
                if falling and target[i] != aim[i]:
                    target[i] = aim[i] if whole else target[i] + step * dtarget[i]
                    force[i] = target[i]
                elif coming and not falling:
                    pending[i] = 0.0 if whole else pending[i] * (1.0 - step)
            if not falling and not coming:
                factor = targets[stage] if whole else factor + step
            if step > SAME * left:
                still = 0
    return COMPLETE, events, factor + (len(targets) - 2)


@njit(cache=True, nogil=True)
def walk_all(
    Z, first, row, own, floor, held, load, path, target, capacity, residual, missing,
    release, carry, lands, piece, seam, unzip, relief, freed, lies, splice, takes, bends, most,
    at, order, let_go, outcome, events, last, end_state, end_force, end_jump, level,
):  # fmt: skip
    """Follow every sample, each with its own release and relief; the last line's arrays are filled in."""
    n, c = load.shape
    A = np.zeros(c, dtype=np.int64)
    L, U = np.zeros((c, c)), np.zeros((c, c))
    vectors = np.zeros((13, c))
    loads, targets = np.zeros((1 + len(path), c)), np.ones(1 + len(path))
    targets[-1] = target
    for s in range(n):
        loads[0] = held[s]
        for part in range(len(path)):
            for k in range(c):
                loads[1 + part, k] = path[part, k] * load[s, k]
        outcome[s], events[s], last[s] = _one(
            Z, first, row, own, floor, loads, targets, capacity[s].copy(), residual[s].copy(), missing[s],
            release[s], carry, lands, piece, seam, unzip, relief[s], freed[s], lies, splice, takes,
            bends, most, at[s], order[s], let_go[s], end_state[s], end_force[s], end_jump[s], level[s],
            A, L, U, vectors[0], vectors[1], vectors[2], vectors[3], vectors[4], vectors[5], vectors[6],
            vectors[7], vectors[8], vectors[9], vectors[10], vectors[11], vectors[12],
        )  # fmt: skip
